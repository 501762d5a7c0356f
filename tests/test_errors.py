"""The tree of errors: each is one sentence with its own exit status, and the docstring lists them all."""

from __future__ import annotations

import builtins
import itertools
import re
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import serial
from PIL import Image, UnidentifiedImageError

from latchline import errors
from latchline.chart.read import read_chart
from latchline.errors import (
    BoardFault,
    ChartError,
    InputError,
    JournalError,
    LatchlineError,
    PieceError,
    PortError,
    ProfileError,
    file_trouble,
)
from latchline.knit.journal import Journal
from latchline.link.host import Host
from latchline.link.port import open_port
from latchline.machine.profile import load_profile
from latchline.piece.file import load_piece

KINDS = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, LatchlineError)]


def test_the_docstring_shows_the_whole_tree() -> None:
    shown = re.findall(r"^ *[│├└─ ]*([A-Z]\w+) {2,}", errors.__doc__ or "", re.MULTILINE)
    assert set(shown) == {kind.__name__ for kind in KINDS}


@pytest.mark.parametrize("kind", KINDS)
def test_each_error_is_one_sentence_and_knows_its_exit_status(kind: type[LatchlineError]) -> None:
    more: dict[str, Any] = {"number": 3} if issubclass(kind, BoardFault) else {}
    error = kind("the yarn is out", where="pass 7", hint="tie a new one in", **more)
    assert str(error) == "pass 7: the yarn is out; tie a new one in."
    assert error.exit_status in (1, 2)


@pytest.mark.parametrize(
    ("lower", "said"),
    [
        (FileNotFoundError(2, "No such file or directory"), "a.toml: there is no such file; check the name and the folder."),
        (IsADirectoryError(21, "Is a directory"), "a.toml: this is a folder, not a file; name a file in it."),
        (PermissionError(13, "Permission denied"), "a.toml: this may not be opened or written; check the permissions of file and folder."),
        (OSError(28, "No space left on device"), "a.toml: the file cannot be used (No space left on device)."),
    ],
)  # fmt: skip
def test_file_troubles_are_said_without_error_numbers(lower: OSError, said: str) -> None:
    error = file_trouble("a.toml", lower)
    assert isinstance(error, InputError)
    assert error.sentence() == said


def test_a_sentence_stays_on_one_line_whatever_a_file_is_called() -> None:
    name = "a\nb\x1b[31m\udcff\u2028.toml"
    assert file_trouble(name, FileNotFoundError()).sentence().startswith("a b [31m .toml: there is no such file")


# ---- lower layers: what raises, what reads or writes there, what comes of it ---------------------


def raising(error: BaseException) -> Callable[..., None]:
    def fail(*_: object, **__: object) -> None:
        raise error

    return fail


READERS: dict[str, tuple[Callable[[Path], object], type[LatchlineError]]] = {
    "piece.toml": (load_piece, PieceError),
    "bed.toml": (lambda path: load_profile(str(path)), ProfileError),
    "chart.txt": (read_chart, ChartError),
}


@pytest.mark.parametrize("name", READERS)
@pytest.mark.parametrize(
    "lower",
    [
        FileNotFoundError(2, "No such file or directory"),
        PermissionError(13, "Permission denied"),
        IsADirectoryError(21, "Is a directory"),
        OSError(5, "Input/output error"),
        ValueError("embedded null byte"),
    ],
)
def test_what_opening_a_file_raises_becomes_the_readers_own_error(
    name: str, lower: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read, kind = READERS[name]
    monkeypatch.setattr(builtins, "open", raising(lower))
    monkeypatch.setattr(Path, "open", raising(lower))
    with pytest.raises(kind) as caught:
        read(tmp_path / name)
    assert caught.value.sentence() == file_trouble(tmp_path / name, lower).sentence()  # type: ignore[arg-type]


@pytest.mark.parametrize("name", READERS)
@pytest.mark.parametrize(
    "content",
    [b"\xff\xfe not UTF-8", b"x = [" * 9000, b"x = " + b"9" * 5000, b"x = 0x" + b"f" * 5000, b'a,b\n"c', b"a\0b\nc"],
    ids=["UnicodeDecodeError", "RecursionError", "ValueError", "huge number", "csv.Error", "NUL"],
)
def test_what_a_files_content_raises_becomes_the_readers_own_error(name: str, content: bytes, tmp_path: Path) -> None:
    read, kind = READERS[name]
    (tmp_path / name).write_bytes(content)
    with pytest.raises(kind) as caught:
        read(tmp_path / name)
    assert str(tmp_path / name) in caught.value.where
    assert "\n" not in caught.value.sentence()


@pytest.mark.parametrize(
    "lower",
    [
        UnidentifiedImageError("cannot identify image file"),
        Image.DecompressionBombError("too large"),
        Image.DecompressionBombWarning("large"),
        OSError("image file is truncated"),
        SyntaxError("broken PNG file"),
        EOFError("no more images"),
        struct.error("unpack requires a buffer"),
        ValueError("tile cannot extend outside image"),
        OverflowError("too large"),
        IndexError("list index out of range"),
    ],
    ids=lambda lower: type(lower).__name__,
)
def test_whatever_the_picture_library_raises_is_a_chart_error(
    lower: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Image.new("1", (4, 4)).save(tmp_path / "chart.png")
    monkeypatch.setattr(Image, "open", raising(lower))
    with pytest.raises(ChartError, match="the picture is damaged"):
        read_chart(tmp_path / "chart.png")


@pytest.mark.parametrize(
    ("lower", "said"),
    [
        (serial.SerialException(2, "could not open port"), "there is no such port"),
        (serial.SerialException(16, "busy"), "the port is in use by another program"),
        (serial.SerialException("Could not configure port: (25, ...)"), "this is no serial port"),
        (PermissionError(13, "Permission denied"), "you may not open this port"),
        (OSError(5, "Input/output error"), "this port cannot be opened"),
        (ValueError("invalid URL"), "this port cannot be opened"),
    ],
)
def test_what_opening_a_port_raises_is_a_port_error(
    lower: Exception, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serial, "serial_for_url", raising(lower))
    with pytest.raises(PortError, match=said):
        open_port("/dev/nowhere")


@pytest.mark.parametrize(
    "lower", [serial.SerialException("device disconnected"), serial.SerialTimeoutException("Write timeout"), OSError(5)]
)
@pytest.mark.parametrize("way", ["read", "write"])
def test_what_a_port_raises_in_use_is_a_port_error(lower: Exception, way: str) -> None:
    class Broken:
        timeout: float | None = 0.0
        in_waiting = 0

        def read(self, size: int = 1) -> bytes:
            if way == "read":
                raise lower
            return b""

        def write(self, data: bytes) -> int:
            if way == "write":
                raise lower
            return len(data)

    ticks = itertools.count()
    with pytest.raises(PortError, match="the port does not work any more"):
        Host(Broken(), lambda: next(ticks) / 1000).greet()


@pytest.mark.parametrize(
    "lower",
    [sqlite3.OperationalError("database is locked"), sqlite3.DatabaseError("file is not a database")],
    ids=lambda lower: type(lower).__name__,
)
def test_what_the_journals_library_raises_is_a_journal_error(
    lower: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "blanket.latchline").write_bytes(b"SQLite format 3\0" + bytes(4080))
    monkeypatch.setattr(sqlite3, "connect", raising(lower))
    with pytest.raises(JournalError):
        Journal.open(tmp_path / "blanket.latchline")
