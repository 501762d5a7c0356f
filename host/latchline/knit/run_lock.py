"""A lock that says which run has a journal; the system lets go of it when the program ends, however it ends.

It lies on a file of its own: SQLite's locks on the journal itself would keep readers out.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from latchline.errors import JournalError, JournalInUse, file_trouble


class RunLock:
    """Held from the start until `release`. Raises JournalError when another run holds it."""

    def __init__(self, journal: Path) -> None:
        self._path = lock_path(journal)
        self._handle: int | None = None
        while self._handle is None:
            try:
                handle = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
            except OSError as error:
                raise file_trouble(journal, error, JournalError) from None
            if not _lock(handle):
                os.close(handle)
                raise in_use(journal)
            if _same_file(handle, self._path):  # else the one who had it took the file away just now
                self._handle = handle
            else:
                os.close(handle)

    def release(self) -> None:
        if self._handle is not None:
            with contextlib.suppress(OSError):
                self._path.unlink()
            os.close(self._handle)
            self._handle = None


def lock_path(journal: Path) -> Path:
    return journal.with_name(f".{journal.name}.lock")


def in_use(journal: Path) -> JournalInUse:
    return JournalInUse(
        "another run is using this journal", where=str(journal), hint="end that one first, or choose another journal"
    )


def is_used(journal: Path) -> bool:
    """Whether a run holds the journal just now."""
    try:
        RunLock(journal).release()
    except JournalInUse:
        return True
    return False


def _same_file(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except OSError:
        return False


def _lock(handle: int) -> bool:
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
