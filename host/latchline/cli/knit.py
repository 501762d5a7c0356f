"""`latchline knit`: knit a chart or a piece on a board."""

from __future__ import annotations

import time
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from latchline.cli.common import piece_from, takes_chart
from latchline.cli.knitting import How, begun_of, go_on, run, takes_session
from latchline.errors import JournalError
from latchline.tables import read_text

if TYPE_CHECKING:
    from latchline.knit.events import Question
    from latchline.plan.model import Plan


@click.command("knit")
@takes_chart
@click.option("--port", metavar="PORT", default="auto", help="As /dev/ttyUSB0 or sim://standard-200.  [the one on USB]")
@click.option("--journal", "journal_file", type=click.Path(path_type=Path), help="Where to keep the journal.")
@click.option("--resume", "resumes", is_flag=True, help="Go on with this piece, as `latchline resume` does.")
@click.option("--by-hand", is_flag=True, help="Without a board: you bring the needles forward and confirm each pass.")
@click.option("--regardless", is_flag=True, help="Knit even what `latchline check` says cannot be knitted.")
@takes_session
def command(
    source: str | None,
    port: str,
    journal_file: Path | None,
    resumes: bool,
    by_hand: bool,
    regardless: bool,
    how: How,
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
      latchline knit tide-lines.txt --by-hand
    """
    from latchline.chart.read import ENDINGS
    from latchline.connect import connect
    from latchline.door import require_knittable
    from latchline.knit.by_hand import BY_HAND
    from latchline.knit.journal import Journal
    from latchline.knit.journals import journal_folder, new_path, remember

    if resumes:
        if source and Path(source).suffix.lower() in ENDINGS:
            source = str(begun_of(piece_from(source, given).plan()))
        return go_on(source, None if port == "auto" else port, how)
    piece = piece_from(source, given)
    plan = piece.plan()
    if not regardless:
        require_knittable(piece)
    text = read_text(source) if source and source.lower().endswith(".toml") else ""
    begun = _begun_before(plan)
    if by_hand:
        if port != "auto":
            raise click.UsageError("--by-hand knits without a board, so it takes no --port")
        path = journal_file or new_path(journal_folder(), plan, time.time())
        with Journal.create(path, plan, source_name=source or "", source=text, port=BY_HAND) as journal:
            remember(path)
            return run(None, journal, how, begun)
    with closing(connect(port, plan.profile)) as line:
        path = journal_file or new_path(journal_folder(), plan, time.time())
        with Journal.create(path, plan, source_name=source or "", source=text, port=str(line.port)) as journal:
            remember(path)
            return run(line, journal, how, begun)


def _begun_before(plan: Plan) -> list[Question]:
    """The question to be answered first where this piece was begun before and is not finished."""
    from latchline.knit.events import Kind, Question
    from latchline.knit.journal import Journal
    from latchline.knit.journals import unfinished
    from latchline.knit.prompts import Prompt, What

    with suppress(JournalError):  # one that another run is using is no concern of ours
        for path in unfinished(fingerprint=plan.fingerprint)[:1]:
            with Journal.read(path) as journal:
                done = journal.known.done
            return [Question(Kind.BEGUN, 1, (Prompt(What.BEGUN, 1, path.name, count=done),))] if done else []
    return []
