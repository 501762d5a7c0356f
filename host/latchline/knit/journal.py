"""The journal of one piece: which passes are knitted, durable at a loss of power, and everything to go on with.

An SQLite file. Why these settings (SQLite's documentation of its PRAGMA statements and of write-ahead logging):

- `journal_mode=WAL` with `synchronous=FULL`: each commit is one append and one sync, after which it
  outlives a loss of power. (In the rollback modes FULL leaves the deletion of the rollback journal
  unsynced, so that the last commit may come undone; EXTRA would need three syncs a pass.) And whoever
  only reads neither waits for the one who writes nor makes it wait.
- `fullfsync`: where a plain sync only reaches the disk's own cache, ask for more.

That a journal belongs to one run is told by a lock on a file beside it, which the system lets go of when the
program is killed. A random number, the run's identity, stands in two tables and in each pass, so that the
leavings of another journal of the same name are found out. One transaction a pass.
`docs/reference/journal.md` lists the tables.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import sqlite3
import struct
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any
from urllib.parse import quote

from latchline.errors import JournalError, file_trouble
from latchline.knit.keep import kept, restored
from latchline.knit.run_lock import RunLock, in_use
from latchline.knit.settle import Known
from latchline.link.messages import BoardInfo, Done, pack, unpack
from latchline.plan.model import Plan
from latchline.timing.passes import PassRecord

APPLICATION = 0x4C61_7463
FORM = 2
SIDE_FILES = ("-wal", "-shm", "-journal")  # SQLite's own, beside the file

_TABLES = """
CREATE TABLE piece (
    name TEXT NOT NULL, fingerprint INTEGER NOT NULL, passes INTEGER NOT NULL,
    machine TEXT NOT NULL, profile TEXT NOT NULL, plan TEXT NOT NULL, arrays BLOB NOT NULL,
    source_name TEXT NOT NULL, source TEXT NOT NULL, created_s REAL NOT NULL,
    run INTEGER NOT NULL DEFAULT 0, sum INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE state (
    done INTEGER NOT NULL, resting INTEGER NOT NULL, board INTEGER, boots INTEGER, sequence INTEGER, back INTEGER,
    finished INTEGER NOT NULL, port TEXT NOT NULL, run INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE pass (
    entry INTEGER PRIMARY KEY, number INTEGER NOT NULL, arrived_s REAL NOT NULL, boots INTEGER,
    as_planned INTEGER, report BLOB, undone INTEGER NOT NULL DEFAULT 0, run INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE event (
    entry INTEGER PRIMARY KEY, at_s REAL NOT NULL, done INTEGER NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL
) STRICT;
"""

_FROM_FORM_1 = """
ALTER TABLE piece ADD COLUMN run INTEGER NOT NULL DEFAULT 0;
ALTER TABLE piece ADD COLUMN sum INTEGER NOT NULL DEFAULT 0;
ALTER TABLE state ADD COLUMN run INTEGER NOT NULL DEFAULT 0;
ALTER TABLE pass ADD COLUMN run INTEGER NOT NULL DEFAULT 0;
"""


@dataclass(frozen=True)
class Entry:
    """A pass in the journal.

    report: what the board told of it; None when only its count was found out, at a resume.
    as_planned: None then. undone: whether the knitter took it back later.
    """

    number: int
    arrived_s: float
    boots: int | None
    as_planned: bool | None
    report: Done | None
    undone: bool


@dataclass(frozen=True)
class Remark:
    """A note, a fault, a step back or the like, after pass `done`."""

    at_s: float
    done: int
    kind: str
    text: str


class Journal:
    """An open journal: a `Record` (see `knit/record.py`) that this run alone may write to.

    Raises JournalError from every method when the file cannot be used.
    """

    def __init__(
        self, path: Path, connection: sqlite3.Connection, now: Callable[[], float], lock: RunLock | None
    ) -> None:
        self.path = path
        self._db = connection
        self._now = now
        self._lock = lock
        with _complaints(path):
            done, resting, board, boots, sequence, back, finished, port = self._row(
                "SELECT done, resting, board, boots, sequence, back, finished, port FROM state"
            )
            self.fingerprint, self.passes, self.run = self._row("SELECT fingerprint, passes, run FROM piece")
            self._check(done)
        self.known = Known(done, bool(resting), board, boots, sequence, back, self.run)
        self.finished = bool(finished)
        self.port: str = port
        self._place = _place_of(path)

    def _check(self, done: int) -> None:
        """Raises JournalError when the parts of the file do not belong together."""
        if self._row("PRAGMA quick_check(1)")[0] != "ok":
            raise _damaged(self.path)
        strangers = self._row(
            "SELECT (SELECT count(*) FROM state WHERE run <> ?) + (SELECT count(*) FROM pass WHERE run <> ?)",
            self.run,
            self.run,
        )[0]
        standing, highest = self._row("SELECT count(*), max(number) FROM pass WHERE NOT undone")
        if strangers or not 0 <= done <= self.passes or (standing, highest or 0) != (done, done):
            raise _damaged(self.path)

    # Opening and closing

    @classmethod
    def create(
        cls,
        path: Path,
        plan: Plan,
        *,
        source_name: str = "",
        source: str = "",
        port: str = "",
        lost: bool = False,
        now: Callable[[], float] | None = None,
    ) -> Journal:
        """A new journal for a plan. It appears under its name only when it is whole.

        lost: it takes the place of one that was lost, so that passes may be knitted already. What SQLite
        left beside a journal of that name which is gone would be taken for this one's, and is removed.
        """
        now = now or steady_time()
        half = path.with_name(f".{path.name}.{os.getpid()}")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            for old in (half, *(half.with_name(half.name + ending) for ending in SIDE_FILES)):
                old.unlink(missing_ok=True)
        except OSError as error:
            raise file_trouble(path, error, JournalError) from None
        words, arrays = kept(plan)
        profile, run = plan.profile, secrets.randbelow(2**32 - 1) + 1
        piece = (plan.name, plan.fingerprint, plan.passes, profile.name, profile.source, words, arrays)
        checksum = _sum(words, arrays, profile.name, profile.source)
        with _complaints(path), contextlib.closing(sqlite3.connect(half, isolation_level=None)) as db:
            db.executescript(f"PRAGMA application_id={APPLICATION}; PRAGMA user_version={FORM}; BEGIN; {_TABLES}")
            values = (*piece, source_name, source, now(), run, checksum)
            db.execute("INSERT INTO piece VALUES (?,?,?,?,?,?,?,?,?,?,?,?)", values)
            db.execute("INSERT INTO state VALUES (0,?,NULL,NULL,NULL,NULL,0,?,?)", (int(not lost), port, run))
            db.execute("COMMIT")
        try:
            if not path.exists():
                for ending in SIDE_FILES:
                    path.with_name(path.name + ending).unlink(missing_ok=True)
            os.link(half, path)  # unlike a renaming, this never replaces another journal
            half.unlink()
            _sync_folder(path.parent)
        except FileExistsError:
            half.unlink()
            raise JournalError(
                "there is a journal of that name already",
                where=str(path),
                hint="resume that one, or choose another name",
            ) from None
        except OSError as error:
            raise file_trouble(path, error, JournalError) from None
        return cls.open(path, now=now)

    @classmethod
    def open(cls, path: Path, *, now: Callable[[], float] | None = None) -> Journal:
        """Open a journal for this run alone. Raises JournalError when there is none or another run has it."""
        _require(path)
        lock = RunLock(path)
        try:
            with _complaints(path):
                db = sqlite3.connect(path, timeout=2.0, isolation_level=None, check_same_thread=False)
                try:
                    form = _form(db, path)
                    db.execute("PRAGMA journal_mode=WAL")
                    db.execute("PRAGMA synchronous=FULL")
                    db.execute("PRAGMA fullfsync=1")
                    if form == 1:
                        db.executescript(f"BEGIN; {_FROM_FORM_1} PRAGMA user_version={FORM}; COMMIT")
                    return cls(path, db, now or steady_time(), lock)
                except BaseException:
                    db.close()
                    raise
        except BaseException:
            lock.release()
            raise

    @classmethod
    def read(cls, path: Path) -> Journal:
        """Open a journal for reading only, also while a run is writing to it. Raises JournalError."""
        _require(path)
        with _complaints(path):
            address = f"file:{quote(str(path.resolve()))}"
            # Without side files nothing is being written, and SQLite need not make any.
            quiet = not any(path.with_name(path.name + ending).exists() for ending in SIDE_FILES)
            db = sqlite3.connect(f"{address}?{'immutable=1' if quiet else 'mode=ro'}", timeout=2.0, uri=True)
            try:
                if _form(db, path) == 1:
                    memory = sqlite3.connect(":memory:", isolation_level=None)
                    db.backup(memory)
                    db.close()
                    db = memory
                    db.executescript(_FROM_FORM_1)
                return cls(path, db, time.time, None)
            except BaseException:
                db.close()
                raise

    def close(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            self._db.close()
        if self._lock is not None:
            self._lock.release()

    @property
    def unused(self) -> bool:
        """Whether it never came to a board: nothing of it is knitted."""
        return self.known.board is None and not self.known.done

    def discard_unused(self) -> None:
        """Close, and take the file away if it is unused: only for one that was made just now."""
        self.close()
        if self.unused:
            with contextlib.suppress(OSError):
                self.path.unlink()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    # What it holds

    def plan(self) -> Plan:
        """The plan as it was when the journal was made."""
        with _complaints(self.path):
            words, arrays, machine, profile, checksum = self._row(
                "SELECT plan, arrays, machine, profile, sum FROM piece"
            )
        if checksum and checksum != _sum(words, arrays, machine, profile):
            raise JournalError("the plan in the journal is damaged", where=str(self.path), hint=_COPY)
        return restored(words, arrays, machine, profile)

    def source(self) -> tuple[str, str]:
        """Name and text of the piece file; empty when there was none."""
        with _complaints(self.path):
            name, text = self._row("SELECT source_name, source FROM piece")
        return name, text

    def entries(self) -> list[Entry]:
        """Every pass in the order in which it was written down, undone ones included."""
        query = "SELECT number, arrived_s, boots, as_planned, report, undone FROM pass ORDER BY entry"
        with _complaints(self.path):
            rows = self._db.execute(query).fetchall()
        return [_entry(*row) for row in rows]

    def pass_records(self) -> list[PassRecord]:
        """The passes of which the board's report is there, as `timing/passes.py` reads them."""
        return [
            PassRecord(entry.report, entry.arrived_s, entry.boots or 0)
            for entry in self.entries()
            if entry.report is not None
        ]

    def remarks(self) -> list[Remark]:
        with _complaints(self.path):
            rows = self._db.execute("SELECT at_s, done, kind, text FROM event ORDER BY entry").fetchall()
        return [Remark(*row) for row in rows]

    def last_s(self) -> float:
        """When something was last written down, seconds since 1970."""
        query = """SELECT max(at) FROM (SELECT created_s AS at FROM piece UNION ALL
            SELECT max(arrived_s) FROM pass UNION ALL SELECT max(at_s) FROM event)"""
        with _complaints(self.path):
            return float(self._row(query)[0])

    # Writing

    def begin(self, info: BoardInfo, sequence: int | None) -> None:
        self._write(replace(self.known, resting=False, board=info.board, boots=info.boots, sequence=sequence))

    def passed(self, report: Done, as_planned: bool) -> None:
        values = (report.pass_number, self._now(), self.known.boots, int(as_planned), pack(report), self.run)
        statement = "INSERT INTO pass (number, arrived_s, boots, as_planned, report, run) VALUES (?,?,?,?,?,?)"
        self._write(replace(self.known, done=report.pass_number), (statement, values))

    def confirmed(self, number: int) -> None:
        statement = "INSERT INTO pass (number, arrived_s, run) VALUES (?,?,?)"
        self._write(replace(self.known, done=number, resting=True), (statement, (number, self._now(), self.run)))

    def rest(self) -> None:
        self._write(replace(self.known, resting=True))

    def move(self) -> None:
        self._write(replace(self.known, resting=False))

    def stepping(self, back: int) -> None:
        self._write(replace(self.known, back=back), self._remark("step back", f"from {self.known.done} to {back}"))

    def settled(self, done: int, sequence: int | None, why: str) -> None:
        before = self.known.done
        statements: list[tuple[str, tuple[Any, ...]]] = [
            ("UPDATE pass SET undone=1 WHERE number > ? AND NOT undone", (done,)),
            self._remark("settled", f"from {before} to {done}: {why}"),
        ]
        missing = "INSERT INTO pass (number, arrived_s, run) VALUES (?,?,?)"
        statements += [(missing, (number, self._now(), self.run)) for number in range(before + 1, done + 1)]
        self._write(replace(self.known, done=done, resting=True, sequence=sequence, back=None), *statements)

    def reopen(self, done: int) -> None:
        """The knitter says that `done` passes are knitted, whatever was written down; the piece is not finished."""
        self.finished = False
        self.settled(done, self.known.sequence, "told by the knitter")

    def event(self, kind: str, text: str) -> None:
        self._write(self.known, self._remark(kind, text))

    def finish(self) -> None:
        self.finished = True
        self._write(replace(self.known, resting=True))

    def on_port(self, port: str) -> None:
        self.port = port
        self._write(self.known, self._remark("port", port))

    def _remark(self, kind: str, text: str) -> tuple[str, tuple[Any, ...]]:
        return "INSERT INTO event (at_s, done, kind, text) VALUES (?,?,?,?)", (self._now(), self.known.done, kind, text)

    def _write(self, known: Known, *statements: tuple[str, tuple[Any, ...]]) -> None:
        """One transaction; `known` is taken over when it is safe on the disk."""
        values = (
            known.done,
            int(known.resting),
            known.board,
            known.boots,
            known.sequence,
            known.back,
            int(self.finished),
            self.port,
        )
        if _place_of(self.path) != self._place:
            raise JournalError(
                "the journal's file is not where it was", where=str(self.path), hint="put it back, then resume"
            )
        with _complaints(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                for statement, parameters in statements:
                    self._db.execute(statement, parameters)
                self._db.execute(
                    "UPDATE state SET done=?, resting=?, board=?, boots=?, sequence=?, back=?, finished=?, port=?",
                    values,
                )
                self._db.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
                raise
        self.known = known

    def _row(self, query: str, *values: Any) -> tuple[Any, ...]:
        row: tuple[Any, ...] | None = self._db.execute(query, values).fetchone()
        if row is None:
            raise _damaged(self.path)
        return row


def _entry(
    number: int, arrived_s: float, boots: int | None, as_planned: int | None, report: bytes | None, undone: int
) -> Entry:
    told = unpack(report)
    if report is not None and not isinstance(told, Done):
        raise sqlite3.DatabaseError("a report in it is none")
    assert told is None or isinstance(told, Done)
    return Entry(number, arrived_s, boots, None if as_planned is None else bool(as_planned), told, bool(undone))


_SQLITE = b"SQLite format 3\0"  # the first bytes of a database, https://www.sqlite.org/fileformat.html
_NAME = "name a journal (*.latchline) or a piece file (*.toml)"
_COPY = "go on from a copy of it, or from the piece file by what the board remembers"


def _damaged(path: Path) -> JournalError:
    return JournalError("the journal is damaged: its parts do not belong together", where=str(path), hint=_COPY)


def _sum(*parts: str | bytes) -> int:
    """CRC-32 of what the plan is restored from, never 0."""
    value = 0
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        value = zlib.crc32(struct.pack("<I", len(data)) + data, value)
    return value or 1


def _require(path: Path) -> None:
    if not path.is_file():
        raise JournalError("there is no such journal", where=str(path), hint=_NAME)
    try:
        with path.open("rb") as file:
            begins = file.read(len(_SQLITE))
    except OSError as error:
        raise file_trouble(path, error, JournalError) from None
    if not begins:
        raise JournalError("this file is empty, so it is no journal", where=str(path), hint=_NAME)
    if begins != _SQLITE:
        raise JournalError("this file is no Latchline journal", where=str(path), hint=_NAME)


def _form(db: sqlite3.Connection, path: Path) -> int:
    """The form of the tables, 1 or 2. Raises JournalError when this is none of ours."""
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        raise JournalError("this file is no Latchline journal", where=str(path), hint=_NAME)
    form = int(db.execute("PRAGMA user_version").fetchone()[0])
    if form not in (1, FORM):
        raise JournalError(
            f"the journal has form {form}, this program reads {FORM}", where=str(path), hint="update Latchline"
        )
    return form


def _place_of(path: Path) -> tuple[int, int] | None:
    """Which file stands under this name; None: none does."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def steady_time() -> Callable[[], float]:
    """Seconds since 1970 that never jump, however the system's clock is set meanwhile."""
    began, since = time.time(), time.monotonic()
    return lambda: began + time.monotonic() - since


@contextlib.contextmanager
def _complaints(path: Path) -> Iterator[None]:
    """SQLite's complaints as one of ours."""
    try:
        yield
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise in_use(path) from None
        raise JournalError(
            f"the journal cannot be used ({error})", where=str(path), hint="is the disk full, or not to be written to?"
        ) from None
    except (sqlite3.Error, UnicodeDecodeError, OverflowError, TypeError, ValueError, struct.error) as error:
        # The last ones: what a damaged file holds in place of a number or a text.
        raise JournalError(f"the journal is damaged ({error})", where=str(path), hint=_COPY) from None


def _sync_folder(folder: Path) -> None:
    """Make a new name in a folder outlive a loss of power, where the system has a way to."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
