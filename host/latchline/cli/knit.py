"""`latchline knit`: knit a chart or a piece on a board."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from latchline.cli import chatter, print_json
from latchline.cli.common import piece_from, takes_chart
from latchline.errors import InputError, JournalError, LatchlineError, LinkError, NotKnittable
from latchline.tables import read_text

if TYPE_CHECKING:
    from latchline.knit.events import Summary
    from latchline.knit.journal import Journal
    from latchline.link.port import Port
    from latchline.machine.profile import Profile
    from latchline.plan.limits import Limits
    from latchline.plan.model import Plan

Command = TypeVar("Command", bound=Callable[..., Any])


def takes_session(command: Command) -> Command:
    """The options that `knit` and `resume` share."""
    command = click.option("--json", "as_json", is_flag=True, help="Print the summary for machines.")(command)
    command = click.option(
        "--no-wait", is_flag=True, help="Do not hold the first pass of a band back until you say go on."
    )(command)
    return click.option(
        "--yes", "agrees", is_flag=True, help="Take whatever is to be done as done; only a doubtful row is asked for."
    )(command)


@click.command("knit")
@takes_chart
@click.option("--port", metavar="PORT", default="auto", help="As /dev/ttyUSB0 or sim://standard-200.  [the one on USB]")
@click.option("--journal", "journal_file", type=click.Path(path_type=Path), help="Where to keep the journal.")
@click.option("--resume", "resumes", is_flag=True, help="Go on with an interrupted piece; the same as `resume`.")
@click.option("--regardless", is_flag=True, help="Knit even what `latchline check` says cannot be knitted.")
@takes_session
def command(
    source: str | None,
    port: str,
    journal_file: Path | None,
    resumes: bool,
    regardless: bool,
    agrees: bool,
    no_wait: bool,
    as_json: bool,
    **given: Any,
) -> int:
    """Knit a chart or a piece on a board, or on the simulated one.

    Passes are loaded ahead, followed one by one, compared with the plan and written to a journal, so
    that `latchline resume` goes on at the right pass after whatever happens. Keys while knitting:
    space go on, p pause, r plain rows, b back after un-knitting, n note, s stop.

    \b
      latchline knit harbour-blanket.toml
      latchline knit waves.png --needles L24-R24 --port /dev/ttyUSB0
      latchline knit tide-lines.txt --port sim://standard-200 --yes
    """
    from latchline.knit.journal import Journal, journal_folder, new_path, unfinished

    if resumes:
        from latchline.cli.resume import go_on

        return go_on(source, None if port == "auto" else port, agrees, no_wait, as_json)
    piece = piece_from(source, given)
    plan = piece.plan()
    if not regardless:
        _refuse_unknittable(plan, piece.limits)
    text = read_text(source) if source and source.lower().endswith(".toml") else ""
    with closing(connect(port, plan.profile)) as line:
        with suppress(JournalError):  # one that another run is using is no concern of ours
            for path in unfinished(journal_folder(), plan.fingerprint)[:1]:
                chatter(f"This piece was begun before ({path.name}); `latchline resume` would go on with it.")
        path = journal_file or new_path(journal_folder(), plan, time.time())
        with Journal.create(path, plan, source_name=source or "", source=text, port=str(line.port)) as journal:
            return run(line, journal, agrees, no_wait, as_json)


def _refuse_unknittable(plan: Plan, limits: Limits) -> None:
    """Raises NotKnittable with the worst finding."""
    from latchline.checks.find import can_be_knitted, findings

    found = findings(plan, limits)
    if not can_be_knitted(found):
        worst = found[0]
        raise NotKnittable(
            worst.what.rstrip("."),
            where=plan.name,
            hint="`latchline check` shows all of it; --regardless knits it all the same",
        )


def connect(port: str, machine: Profile | None = None) -> Port:
    """Open a port, with the cautions the first time. machine: what `sim://` simulates when it names none."""
    from latchline.cli.terminal import cautions_for
    from latchline.link.port import find_port, open_port
    from latchline.link.setup import bed_message
    from latchline.sim.port import SimPort, register

    register()
    name = find_port() if port == "auto" else port

    def prepare(opening: Any) -> None:
        if machine is not None and isinstance(opening, SimPort) and name.split("?")[0] == "sim://":
            opening.machine = machine

    line = open_port(name, prepare)
    if machine is not None and isinstance(line, SimPort) and bed_message(line.world.profile) != bed_message(machine):
        simulated = line.world.profile.name
        line.close()
        raise InputError(
            f'this port simulates the machine "{simulated}", but the piece is for "{machine.name}"',
            where=name,
            hint="leave the name out, as in sim://?seed=1, or knit for that machine",
        )
    for caution in cautions_for(name):
        chatter(f"! {caution}")
    return line


def run(line: Port, journal: Journal, agrees: bool, no_wait: bool, as_json: bool) -> int:
    """Knit what the journal holds, print the summary, and tell the exit status."""
    from latchline.cli.terminal import knit

    try:
        summary = knit(line, journal.plan(), journal, say=chatter, agrees=agrees, waits_at_bands=not no_wait)
    except LatchlineError as error:
        if isinstance(error, LinkError) and journal.known.board is not None:
            chatter(f"{journal.known.done} passes are in the journal; `latchline resume` goes on from there.")
        journal.discard_unused()
        raise
    if as_json:
        print_json(as_values(summary, journal))
    else:
        for text in sentences(summary, journal):
            click.echo(text)
    return 1 if summary.wrong else 0


def as_values(summary: Summary, journal: Journal) -> dict[str, Any]:
    return vars(summary) | {
        "faults": [{"fault": fault, "pass": number} for fault, number in summary.faults],
        "seconds": round(summary.seconds, 3),
        "journal": str(journal.path),
    }


def sentences(summary: Summary, journal: Journal) -> list[str]:
    """The summary for people."""
    from latchline.link.faults import fault_text

    how = "finished" if summary.finished else "stopped on the way"
    lines = [
        f"{summary.name}: {how}, {summary.done} of {summary.passes} passes knitted, {summary.knitted} of them now."
    ]
    if summary.wrong:
        lines.append("Not as planned: pass " + ", ".join(str(number) for number in summary.wrong) + ".")
    if summary.faults:
        told = ", ".join(f"{fault_text(fault).name} (pass {number})" for fault, number in summary.faults)
        lines.append(f"The board stopped {len(summary.faults)} times: {told}.")
    if summary.restarts:
        lines.append(f"The board was restarted {summary.restarts} times.")
    lines.append(f"{summary.resent} passes sent again, {summary.bad_frames} damaged frames. Journal: {journal.path}")
    return lines
