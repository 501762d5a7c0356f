"""How the knitting in a journal went, pass by pass, for `timing` and for the doctor's bundle."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from latchline.errors import JournalError
from latchline.knit.by_hand import BY_HAND
from latchline.knit.journal import Journal
from latchline.knit.journals import journals
from latchline.knit.record import WHOLE_LINES
from latchline.timing.by_hand import HandTiming, time_by_hand
from latchline.timing.passes import PassTiming, time_passes


def timings_of(path: Path) -> tuple[str, list[PassTiming]]:
    """The piece's name and its passes. Raises JournalError, also when the journal holds no report."""
    with Journal.read(path) as journal:
        plan, records, by_hand = journal.plan(), journal.pass_records(), journal.port == BY_HAND
        whole = any(remark.kind == WHOLE_LINES for remark in journal.remarks())
    if by_hand and not records:
        raise JournalError("these passes were knitted by hand, so no board has measured them", where=str(path))
    if not records:
        raise JournalError("no pass has been knitted yet", where=str(path), hint="knit a row first")
    spans = [plan.span if whole else plan.turn_span(record.report.pass_number) for record in records]
    return plan.name, time_passes(records, plan.profile, spans)


def hand_timing_of(path: Path) -> tuple[str, HandTiming] | None:
    """The piece's name and how it went; None where a board was there, or nothing is knitted. Raises JournalError."""
    with Journal.read(path) as journal:
        entries = journal.entries()
        if journal.port != BY_HAND or not entries:
            return None
        return journal.plan().name, time_by_hand([(entry.number, entry.arrived_s) for entry in entries])


def newest_journal() -> Path:
    """The journal last written to that holds a pass, or else the last. Raises JournalError when there is none."""
    paths = journals()
    if not paths:
        raise JournalError("there is no journal yet", hint="knit something first, or name a journal")
    paths.sort(key=lambda path: (path.stat().st_mtime, path.name), reverse=True)
    for path in paths:
        with suppress(JournalError), Journal.read(path) as journal:
            if journal.pass_records() or (journal.port == BY_HAND and journal.known.done):
                return path
    return paths[0]
