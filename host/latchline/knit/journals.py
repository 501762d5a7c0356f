"""Which journals there are: those in their folder, and those that were kept elsewhere by name."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path

from latchline.errors import JournalError
from latchline.knit.journal import Journal
from latchline.knit.run_lock import in_use, is_used
from latchline.plan.model import Plan

SUFFIX = ".latchline"
ELSEWHERE = "kept-elsewhere"  # one path a line
AHEAD_S = 60.0  # a journal written further in the future than this has a wrong clock behind it


def journal_folder() -> Path:
    """Where journals are kept unless one is named: the system's place for the state of programs."""
    state = os.environ.get("XDG_STATE_HOME") or os.environ.get("LOCALAPPDATA") or Path.home() / ".local" / "state"
    return Path(state) / "latchline"


def new_path(folder: Path, plan: Plan, at_s: float) -> Path:
    """A name that is not taken, from piece and time."""
    plain = "".join(letter if letter.isalnum() else "-" for letter in plan.name.lower()).strip("-")[:40] or "piece"
    stem = f"{plain}-{time.strftime('%Y%m%d-%H%M%S', time.localtime(at_s))}"
    paths = (folder / f"{stem}{f'-{n}' if n else ''}{SUFFIX}" for n in range(1000))
    return next(path for path in paths if not path.exists())


def remember(path: Path) -> None:
    """Let a journal that is kept elsewhere be found again. Where that cannot be written it is only not found."""
    path, folder = path.resolve(), journal_folder()
    if path.parent == folder.resolve():
        return
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        kept = [*(other for other in _elsewhere() if other != path and other.is_file()), path]
        part = folder / f"{ELSEWHERE}.part"
        part.write_text("".join(f"{other}\n" for other in kept), encoding="utf-8")
        part.replace(folder / ELSEWHERE)


def journals(folder: Path | None = None) -> list[Path]:
    """Every journal of a folder; without one those of the usual folder, and those kept elsewhere."""
    found = sorted((folder or journal_folder()).glob(f"*{SUFFIX}"))
    return found if folder is not None else [*found, *(path for path in _elsewhere() if path.is_file())]


def _elsewhere() -> list[Path]:
    try:
        lines = (journal_folder() / ELSEWHERE).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []
    return [Path(line) for line in lines if line]


def unfinished(folder: Path | None = None, fingerprint: int | None = None) -> list[Path]:
    """Journals of pieces that are not finished, of this plan or of any, the one last worked on first.

    Those of which nothing is knitted come after the others, and so do those from a clock that ran ahead.
    Raises JournalError when there are none but another run is using one.
    """
    found: list[tuple[bool, bool, float, Path]] = []
    used: JournalError | None = None
    for path in journals(folder):
        with contextlib.suppress(JournalError), Journal.read(path) as journal:
            if journal.finished or fingerprint not in (None, journal.fingerprint):
                continue
            if is_used(path):
                used = in_use(path)
                continue
            last_s = journal.last_s()
            found.append((journal.known.done > 0, last_s < time.time() + AHEAD_S, last_s, path))
    if not found and used is not None:
        raise used
    return [path for *_, path in sorted(found, reverse=True)]
