"""The journal of one piece: which passes are knitted, durable at a loss of power, and everything to go on with.

An SQLite file. Why these settings (SQLite's documentation of its PRAGMA statements and of write-ahead logging):

- `journal_mode=WAL` with `synchronous=FULL`: each commit is one append and one sync, after which it
  outlives a loss of power. (In the rollback modes FULL leaves the deletion of the rollback journal
  unsynced, so that the last commit may come undone; EXTRA would need three syncs a pass.)
- `locking_mode=EXCLUSIVE`: the file belongs to one run, by the system's own file lock, which a killed
  program lets go of; and WAL needs no shared memory beside it.
- `fullfsync`: where a plain sync only reaches the disk's own cache, ask for more.

One transaction a pass. `docs/reference/journal.md` lists the tables.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any

from latchline.errors import JournalError, file_trouble
from latchline.knit.keep import kept, restored
from latchline.knit.settle import Known
from latchline.link.messages import BoardInfo, Done, pack, unpack
from latchline.plan.model import Plan
from latchline.timing.passes import PassRecord

SUFFIX = ".latchline"
APPLICATION = 0x4C61_7463
FORM = 1
IN_USE = "journal-in-use"

_TABLES = """
CREATE TABLE piece (
    name TEXT NOT NULL, fingerprint INTEGER NOT NULL, passes INTEGER NOT NULL,
    machine TEXT NOT NULL, profile TEXT NOT NULL, plan TEXT NOT NULL, arrays BLOB NOT NULL,
    source_name TEXT NOT NULL, source TEXT NOT NULL, created_s REAL NOT NULL
) STRICT;
CREATE TABLE state (
    done INTEGER NOT NULL, resting INTEGER NOT NULL, board INTEGER, boots INTEGER, sequence INTEGER, back INTEGER,
    finished INTEGER NOT NULL, port TEXT NOT NULL
) STRICT;
CREATE TABLE pass (
    entry INTEGER PRIMARY KEY, number INTEGER NOT NULL, arrived_s REAL NOT NULL, boots INTEGER,
    as_planned INTEGER, report BLOB, undone INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE event (
    entry INTEGER PRIMARY KEY, at_s REAL NOT NULL, done INTEGER NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL
) STRICT;
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
    """An open journal: a `Record` (see `knit/record.py`) that this run alone may use.

    Raises JournalError from every method when the file cannot be used.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, now: Callable[[], float]) -> None:
        self.path = path
        self._db = connection
        self._now = now
        with _complaints(path):
            done, resting, board, boots, sequence, back, finished, port = self._row(
                "SELECT done, resting, board, boots, sequence, back, finished, port FROM state"
            )
            (self.fingerprint,) = self._row("SELECT fingerprint FROM piece")
        self.known = Known(done, bool(resting), board, boots, sequence, back)
        self.finished = bool(finished)
        self.port: str = port

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
        now: Callable[[], float] = time.time,
    ) -> Journal:
        """A new journal for a plan. It appears under its name only when it is whole.

        lost: it takes the place of one that was lost, so that passes may be knitted already.
        """
        half = path.with_name(f".{path.name}.{os.getpid()}")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            half.unlink(missing_ok=True)
        except OSError as error:
            raise file_trouble(path, error, JournalError) from None
        words, arrays = kept(plan)
        profile = plan.profile
        piece = (plan.name, plan.fingerprint, plan.passes, profile.name, profile.source, words, arrays)
        with _complaints(path), contextlib.closing(sqlite3.connect(half, isolation_level=None)) as db:
            db.executescript(f"PRAGMA application_id={APPLICATION}; PRAGMA user_version={FORM}; BEGIN; {_TABLES}")
            db.execute("INSERT INTO piece VALUES (?,?,?,?,?,?,?,?,?,?)", (*piece, source_name, source, now()))
            db.execute("INSERT INTO state VALUES (0,?,NULL,NULL,NULL,NULL,0,?)", (int(not lost), port))
            db.execute("COMMIT")
        try:
            os.link(half, path)  # unlike a renaming, this never replaces another journal
            half.unlink()
            _sync_folder(path.parent)
        except FileExistsError:
            half.unlink()
            raise JournalError("there is a journal of that name already", where=str(path)) from None
        except OSError as error:
            raise file_trouble(path, error, JournalError) from None
        return cls.open(path, now=now)

    @classmethod
    def open(cls, path: Path, *, now: Callable[[], float] = time.time) -> Journal:
        """Open a journal for this run alone. Raises JournalError when there is none or another run has it."""
        if not path.is_file():
            raise JournalError("there is no such journal", where=str(path))
        with _complaints(path):
            db = sqlite3.connect(path, timeout=0.3, isolation_level=None, check_same_thread=False)
            try:
                db.execute("PRAGMA locking_mode=EXCLUSIVE")
                if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
                    raise JournalError("this file is no Latchline journal", where=str(path))
                form = db.execute("PRAGMA user_version").fetchone()[0]
                if form != FORM:
                    raise JournalError(
                        f"the journal has form {form}, this program reads {FORM}",
                        where=str(path),
                        hint="update Latchline",
                    )
                db.execute("PRAGMA journal_mode=WAL")
                db.execute("PRAGMA synchronous=FULL")
                db.execute("PRAGMA fullfsync=1")
                db.execute("BEGIN EXCLUSIVE")
                db.execute("COMMIT")
                return cls(path, db, now)
            except BaseException:
                db.close()
                raise

    def close(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            self._db.close()

    def discard_unused(self) -> None:
        """Close, and take the file away if it never came to a board."""
        self.close()
        if self.known.board is None and not self.known.done:
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
            words, arrays, machine, profile = self._row("SELECT plan, arrays, machine, profile FROM piece")
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
        values = (report.pass_number, self._now(), self.known.boots, int(as_planned), pack(report))
        statement = "INSERT INTO pass (number, arrived_s, boots, as_planned, report) VALUES (?,?,?,?,?)"
        self._write(replace(self.known, done=report.pass_number), (statement, values))

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
        missing = "INSERT INTO pass (number, arrived_s) VALUES (?,?)"
        statements += [(missing, (number, self._now())) for number in range(before + 1, done + 1)]
        self._write(replace(self.known, done=done, resting=True, sequence=sequence, back=None), *statements)

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
        with _complaints(self.path):
            self._db.execute("BEGIN")
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

    def _row(self, query: str) -> tuple[Any, ...]:
        row: tuple[Any, ...] | None = self._db.execute(query).fetchone()
        if row is None:
            raise JournalError("the journal is damaged", where=str(self.path))
        return row


def _entry(
    number: int, arrived_s: float, boots: int | None, as_planned: int | None, report: bytes | None, undone: int
) -> Entry:
    told = unpack(report)
    assert told is None or isinstance(told, Done)
    return Entry(number, arrived_s, boots, None if as_planned is None else bool(as_planned), told, bool(undone))


@contextlib.contextmanager
def _complaints(path: Path) -> Iterator[None]:
    """SQLite's complaints as one of ours."""
    try:
        yield
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise JournalError(
                "another run is using this journal",
                where=str(path),
                hint="end that one first, or choose another journal",
                name=IN_USE,
            ) from None
        raise JournalError(
            f"the journal cannot be used ({error})", where=str(path), hint="is the disk full, or not to be written to?"
        ) from None
    except sqlite3.Error as error:
        raise JournalError(f"this file is no journal, or a damaged one ({error})", where=str(path)) from None


def _sync_folder(folder: Path) -> None:
    """Make a new name in a folder outlive a loss of power, where the system has a way to."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# Which journals there are


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


def unfinished(folder: Path, fingerprint: int | None = None) -> list[Path]:
    """Journals of pieces that are not finished, of this plan or of any, the one last written to first.

    Raises JournalError when there are none but another run is using one.
    """
    found: list[tuple[float, Path]] = []
    used: JournalError | None = None
    for path in sorted(folder.glob(f"*{SUFFIX}")):
        try:
            with Journal.open(path) as journal:
                if not journal.finished and fingerprint in (None, journal.fingerprint):
                    found.append((journal.last_s(), path))
        except JournalError as error:
            used = error if error.name == IN_USE else used
    if not found and used is not None:
        raise used
    return [path for _, path in sorted(found, reverse=True)]
