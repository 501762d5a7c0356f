"""What `knit` and `resume` have in common: their options, the way to go on, and the summary."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from latchline.cli import chatter, print_json
from latchline.counted import counted, times
from latchline.errors import InputError, JournalError, LatchlineError
from latchline.tables import read_text

if TYPE_CHECKING:
    from latchline.knit.events import Question, Summary
    from latchline.knit.journal import Journal
    from latchline.link.port import Port
    from latchline.plan.model import Plan

Command = TypeVar("Command", bound=Callable[..., Any])

SO_FAR = "latchline.so_far"  # what a session that ends badly has knitted, for the summary of this call


@dataclass(frozen=True)
class How:
    """What `knit` and `resume` share: how a session is gone through with.

    agrees: whatever is to be done counts as done. no_wait: nothing is held back for a hand.
    wait_at_changes: a pass with another yarn is held back, also where a changer changes it.
    """

    agrees: bool
    no_wait: bool
    wait_at_changes: bool
    as_json: bool


def takes_session(command: Command) -> Command:
    """The options that `knit` and `resume` share; the command gets them as `how`."""

    @functools.wraps(command)
    def bundled(**given: Any) -> Any:
        how = How(**{name: given.pop(name) for name in ("agrees", "no_wait", "wait_at_changes", "as_json")})
        try:
            return command(how=how, **given)
        except (LatchlineError, KeyboardInterrupt, click.Abort) as error:
            if how.as_json:
                with suppress(OSError):  # whoever read it may be gone
                    print_json(_stopped(error))
            raise

    for option in (
        click.option("--json", "as_json", is_flag=True, help="Print the summary for machines."),
        click.option("--wait-at-changes", is_flag=True, help="Hold back passes with another yarn, with a changer too."),
        click.option("--no-wait", is_flag=True, help="Do not hold a pass back until you say go on."),
        click.option(
            "--yes",
            "agrees",
            is_flag=True,
            help="Take whatever is to be done as done; only a doubtful row is asked for.",
        ),
    ):
        bundled = option(bundled)
    return cast("Command", bundled)


def begun_of(plan: Plan) -> Path:
    """The unfinished journal of a plan, the one last written to first. Raises JournalError when there is none."""
    from latchline.knit.journals import unfinished

    for path in unfinished(fingerprint=plan.fingerprint):
        return path
    hint = "`latchline resume` goes on with the piece that was knitted last"
    raise JournalError(f"{plan.name} was not begun with these options, or is finished", hint=hint)


def go_on(source: str | None, port: str | None, how: How, at: int | None = None) -> int:
    """Go on with the piece that `source` names: a journal, a piece file, or None for the last unfinished one.

    at: the last whole pass on the needles, where the knitter knows better than the journal.
    """
    from latchline.connect import AUTO, connect
    from latchline.knit.by_hand import BY_HAND
    from latchline.knit.journal import Journal

    path = _begun(source)
    if path is None:
        assert source is not None
        return _go_by_board(source, port or AUTO, how)
    with Journal.open(path) as journal:
        if at is not None:
            _reopen(journal, at)
        if journal.finished:
            knitted = counted(journal.known.done, "pass of this piece is", "passes of this piece are")
            chatter(f"{journal.path}: all {knitted} knitted.")
            if how.as_json:
                print_json(_finished(journal))
            return 0
        if journal.port == BY_HAND and port is None:
            return run(None, journal, how, new=False)
        with closing(connect(port or journal.port or AUTO, journal.plan().profile)) as line:
            if str(line.port) != journal.port:
                journal.on_port(str(line.port))
            return run(line, journal, how, new=False)


def _reopen(journal: Journal, at: int) -> None:
    if at > journal.passes:
        raise InputError(
            f"this piece has {counted(journal.passes, 'pass')}, so there is no pass {at}", where=str(journal.path)
        )
    journal.reopen(at)


def _begun(source: str | None) -> Path | None:
    """The journal to go on with; None where a piece file has none."""
    from latchline.knit.journals import SUFFIX, journal_folder, unfinished
    from latchline.piece.file import load_piece

    if source is not None and not source.lower().endswith(".toml"):
        return Path(source)
    if source is not None:
        return next(iter(unfinished(fingerprint=load_piece(source).plan().fingerprint)), None)
    paths = unfinished()
    if not paths:
        raise JournalError(
            "there is no unfinished piece",
            where=str(journal_folder()),
            hint=f"name a *{SUFFIX} file or a piece file",
        )
    return paths[0]


def _go_by_board(source: str, port: str, how: How) -> int:
    """Go on with a piece whose journal is lost. A new one is made only when the port is open."""
    from latchline.connect import connect
    from latchline.knit.journal import Journal
    from latchline.knit.journals import journal_folder, new_path
    from latchline.piece.file import load_piece

    plan, text = load_piece(source).plan(), read_text(source)
    chatter("There is no journal of this piece as it is now; going by what the board remembers.")
    with closing(connect(port, plan.profile)) as line:
        path = new_path(journal_folder(), plan, time.time())
        with Journal.create(path, plan, source_name=source, source=text, port=str(line.port), lost=True) as journal:
            return run(line, journal, how)


def run(line: Port | None, journal: Journal, how: How, begun: Sequence[Question] = (), *, new: bool = True) -> int:
    """Knit what the journal holds, print the summary, and tell the exit status.

    line: None by hand. new: the journal was made for this run, and goes again if nothing comes of it.
    """
    from latchline.cli.terminal import knit, knit_by_hand

    plan = journal.plan()
    try:
        if line is None:
            summary = knit_by_hand(plan, journal, say=chatter, agrees=how.agrees, begun=begun)
        else:
            summary = knit(
                line,
                plan,
                journal,
                say=chatter,
                agrees=how.agrees,
                waits_at_bands=not how.no_wait,
                waits_at_changes=how.wait_at_changes or (False if how.no_wait else None),
                begun=begun,
            )
    except BaseException:
        if not journal.unused:
            done, where = journal.known.done, str(journal.path)
            so_far = {"name": plan.name, "passes": plan.passes, "done": done, "journal": where}
            click.get_current_context().meta[SO_FAR] = so_far
            with suppress(OSError):  # the terminal may be gone
                chatter(
                    f"{counted(done, 'pass is', 'passes are')} in the journal; `latchline resume` goes on from there."
                )
        _leave(journal, new)
        raise
    kept = _leave(journal, new)
    if how.as_json:
        print_json(as_values(summary, journal, kept=kept))
    else:
        for text in sentences(summary, journal, kept=kept):
            click.echo(text)
    return 1 if summary.wrong else 0


def _stopped(error: BaseException) -> dict[str, Any]:
    """The summary where an error or an interrupt has ended a session, or kept it from beginning."""
    from latchline.knit.plain import plain

    trouble = plain(error) if isinstance(error, LatchlineError) else plain(LatchlineError("interrupted"))
    so_far: dict[str, Any] = click.get_current_context().meta.get(SO_FAR, {})
    return so_far | {"finished": False, "trouble": trouble}


def _leave(journal: Journal, new: bool) -> bool:
    """Close the journal; whether it is kept."""
    if not (new and journal.unused):
        journal.close()
        return True
    journal.discard_unused()
    return False


def _finished(journal: Journal) -> dict[str, Any]:
    """The summary of a session that had nothing to do."""
    from latchline.knit.events import Summary

    name, done = journal.plan().name, journal.known.done
    return as_values(Summary(name, done, done, 0, True, (), (), 0, 0, 0, 0.0), journal)


def as_values(summary: Summary, journal: Journal, *, kept: bool = True) -> dict[str, Any]:
    return vars(summary) | {
        "faults": [{"fault": fault, "pass": number} for fault, number in summary.faults],
        "seconds": round(summary.seconds, 3),
        "journal": str(journal.path) if kept else None,
        "trouble": None,
    }


def sentences(summary: Summary, journal: Journal, *, kept: bool = True) -> list[str]:
    """The summary for people."""
    from latchline.link.faults import fault_text

    how = "finished" if summary.finished else "stopped on the way"
    lines = [
        f"{summary.name}: {how}, {summary.done} of {counted(summary.passes, 'pass')} knitted, "
        f"{summary.knitted} of them now."
    ]
    if summary.unsettled:
        lines = [f"{summary.name}: stopped before it was said which pass is the last; {summary.unsettled}."]
    if not kept:
        lines.append("Nothing was begun, so no journal was kept.")
    if summary.wrong:
        lines.append("Not as planned: pass " + ", ".join(str(number) for number in summary.wrong) + ".")
    if summary.faults:
        told = ", ".join(f"{fault_text(fault).name} (pass {number})" for fault, number in summary.faults)
        lines.append(f"The board stopped {times(len(summary.faults))}: {told}.")
    if summary.restarts:
        lines.append(f"The board was restarted {times(summary.restarts)}.")
    lines.append(f"{counted(summary.resent, 'pass')} sent again, {counted(summary.bad_frames, 'damaged frame')}.")
    if kept:
        lines[-1] += f" Journal: {journal.path}"
        if not summary.finished:
            lines.append("`latchline resume` goes on from here.")
    return lines
