"""`latchline resume`: go on with a piece that was interrupted."""

from __future__ import annotations

import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from latchline.cli import chatter
from latchline.cli.knit import connect, run, takes_session
from latchline.errors import JournalError
from latchline.tables import read_text

if TYPE_CHECKING:
    from latchline.knit.journal import Journal


@click.command("resume")
@click.argument("source", metavar="[JOURNAL|PIECE.toml]", required=False, type=click.Path())
@click.option("--port", metavar="PORT", help="Another port than the one used before.")
@takes_session
def command(source: str | None, port: str | None, agrees: bool, no_wait: bool, as_json: bool) -> int:
    """Go on with a piece that was interrupted, at the right pass.

    Without an argument: the unfinished piece that was knitted last. With a piece file: the unfinished
    run of that piece; or, if its journal is lost, what the board itself remembers. The plan comes
    from the journal, so edits made to the files meanwhile change nothing.
    """
    return go_on(source, port, agrees, no_wait, as_json)


def go_on(source: str | None, port: str | None, agrees: bool, no_wait: bool, as_json: bool) -> int:
    with _journal(source, port) as journal:
        if journal.finished:
            chatter(f"{journal.path}: all {journal.known.done} passes of this piece are knitted.")
            return 0
        with closing(connect(port or journal.port or "auto", journal.plan().profile)) as line:
            if str(line.port) != journal.port:
                journal.on_port(str(line.port))
            return run(line, journal, agrees, no_wait, as_json)


def _journal(source: str | None, port: str | None) -> Journal:
    from latchline.knit.journal import SUFFIX, Journal, journal_folder, new_path, unfinished

    if source is not None and not source.lower().endswith(".toml"):
        return Journal.open(Path(source))
    if source is None:
        paths = unfinished(journal_folder())
        if not paths:
            raise JournalError(
                "there is no unfinished piece",
                where=str(journal_folder()),
                hint=f"name a *{SUFFIX} file or a piece file",
            )
        return Journal.open(paths[0])
    from latchline.piece.file import load_piece

    plan = load_piece(source).plan()
    paths = unfinished(journal_folder(), plan.fingerprint)
    if paths:
        return Journal.open(paths[0])
    chatter("There is no journal of this piece as it is now; going by what the board remembers.")
    path = new_path(journal_folder(), plan, time.time())
    text = read_text(source)
    return Journal.create(path, plan, source_name=source, source=text, port=port or "", lost=True)
