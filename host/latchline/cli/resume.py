"""`latchline resume`: go on with a piece that was interrupted."""

from __future__ import annotations

import click

from latchline.cli.knitting import How, go_on, takes_session


@click.command("resume")
@click.argument("source", metavar="[JOURNAL|PIECE.toml]", required=False, type=click.Path())
@click.option("--port", metavar="PORT", help="Another port than the one used before.")
@click.option(
    "--at",
    "at",
    type=click.IntRange(0),
    metavar="N",
    help="Pass N is the last whole one on the needles, whatever the journal says.",
)
@takes_session
def command(source: str | None, port: str | None, at: int | None, how: How) -> int:
    """Go on with a piece that was interrupted, at the right pass.

    Without an argument: the unfinished piece that was knitted last. With a piece file: the unfinished
    run of that piece; or, if its journal is lost, what the board itself remembers. The plan comes
    from the journal, so edits made to the files meanwhile change nothing. With --at a piece goes on after
    another pass than the journal has, also one that was taken for finished.
    """
    return go_on(source, port, how, at)
