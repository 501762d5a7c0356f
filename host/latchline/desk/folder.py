"""The opened folder: the only place that the desk reads pieces and charts from, and writes them to."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from latchline.errors import InputError, PieceError
from latchline.tables import read_text

if TYPE_CHECKING:
    from latchline.machine.profile import Profile

PIECE = ".toml"
CHARTS = (".png", ".gif", ".bmp", ".pbm", ".pgm", ".ppm", ".pnm", ".xbm", ".txt", ".csv")
LISTED_MAX = 500
NAME_MAX = 120


@dataclass(frozen=True)
class Folder:
    """A folder, by its resolved path.

    said: files outside it that the piece named at the start uses; whoever named that piece said so.
    """

    path: Path
    said: frozenset[Path] = frozenset()

    @classmethod
    def of(cls, source: Path | None) -> tuple[Folder, str]:
        """The folder of a piece, a chart or a folder, and the file's name; empty where a folder was named.

        Raises InputError when there is none, and for a piece that no page can show.
        """
        named = Path() if source is None else source
        try:
            path = named.resolve(strict=True)
        except (OSError, ValueError, RuntimeError):
            hint = "check the name; without one, the desk opens this folder"
            raise InputError("there is no such file or folder", where=str(named), hint=hint) from None
        if path.is_dir():
            return cls(path), ""
        if path.suffix.lower() != PIECE:
            return cls(path.parent), path.name
        _require_piece(path)
        used = _named_in(path)
        return cls(path.parent, frozenset(file for file in used if not file.is_relative_to(path.parent))), path.name

    def file(self, name: str) -> Path:
        """The path of a file in this folder or below. Raises InputError for anything else."""
        if not name or len(name) > NAME_MAX:
            raise _outside(name)
        path = _resolved(self.path / name)
        if path is None or not path.is_relative_to(self.path) or path == self.path:
            raise _outside(name)
        return path

    def require(self, file: Path) -> None:
        """Raises InputError for a file that nothing on the page may have read."""
        path = _resolved(file)
        if path is None or not (path.is_relative_to(self.path) or path in self.said):
            raise _outside(str(file))

    def profile(self, machine: str) -> Profile:
        """A shipped profile, or one of this folder. Raises InputError."""
        from latchline.piece.file import Beside

        return Beside(self.path, require=self.require).profile(machine)

    def files(self) -> dict[str, list[str]]:
        """Names of the pieces and of the charts that lie in it, last changed first."""
        found: list[tuple[float, str]] = []
        with suppress(OSError):
            found = [(path.stat().st_mtime, path.name) for path in self.path.iterdir() if _usable(path)]
        names = [name for _, name in sorted(found, key=lambda item: (-item[0], item[1]))][:LISTED_MAX]
        return {
            "pieces": [name for name in names if name.lower().endswith(PIECE)],
            "charts": [name for name in names if not name.lower().endswith(PIECE)],
        }


def _usable(path: Path) -> bool:
    return path.suffix.lower() in (PIECE, *CHARTS) and not path.name.startswith(".") and path.is_file()


def _outside(name: str) -> InputError:
    return InputError("the desk uses files of its own folder only", where=name[:NAME_MAX], hint="copy it there")


def _resolved(path: Path) -> Path | None:
    """The path behind every link; None for what is no name of a file."""
    try:
        return path.resolve()
    except (OSError, ValueError, RuntimeError):
        return None


def _require_piece(path: Path) -> None:
    from latchline.piece.file import load_piece
    from latchline.piece.write import is_plain

    if not is_plain(read_text(path, PieceError)):
        load_piece(path)  # which tells what is wrong, and where


def _named_in(file: Path, deeper: int = 2) -> Iterator[Path]:
    """The files that a settings file names, and those that they name in turn, as a profile its driver."""
    from latchline.piece.write import values_of

    try:
        text = read_text(file)
    except InputError:  # the piece's own complaint tells what is wrong
        return
    for word in _texts(values_of(text)):
        path = _resolved(file.parent / word)
        if path is not None and len(word) <= NAME_MAX and path.is_file():
            yield path
            if deeper and path.suffix.lower() == PIECE:
                yield from _named_in(path, deeper - 1)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _texts(inner)
