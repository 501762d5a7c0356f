"""How the knitting in a journal went, pass by pass, for `timing` and for the doctor's bundle."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from latchline.errors import JournalError
from latchline.knit.journal import Journal
from latchline.knit.journals import journals
from latchline.timing.passes import PassTiming, time_passes


def timings_of(path: Path) -> tuple[str, list[PassTiming]]:
    """The piece's name and its passes. Raises JournalError, also when the journal holds no report."""
    with Journal.read(path) as journal:
        plan, records, done = journal.plan(), journal.pass_records(), journal.known.done
    if done and not records:
        raise JournalError("these passes were knitted by hand, so no board has measured them", where=str(path))
    if not records:
        raise JournalError("no pass has been knitted yet", where=str(path), hint="knit a row first")
    return plan.name, time_passes(records, plan.profile, plan.span)


def newest_journal() -> Path:
    """The journal last written to that holds a pass, or else the last. Raises JournalError when there is none."""
    paths = journals()
    if not paths:
        raise JournalError("there is no journal yet", hint="knit something first, or name a journal")
    paths.sort(key=lambda path: (path.stat().st_mtime, path.name), reverse=True)
    for path in paths:
        with suppress(JournalError), Journal.read(path) as journal:
            if journal.pass_records():
                return path
    return paths[0]
