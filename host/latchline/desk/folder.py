"""The opened folder: the only place that the desk reads pieces and charts from, and writes them to."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from latchline.errors import InputError

PIECE = ".toml"
CHARTS = (".png", ".gif", ".bmp", ".pbm", ".pgm", ".ppm", ".pnm", ".xbm", ".txt", ".csv")
LISTED_MAX = 500
NAME_MAX = 120


@dataclass(frozen=True)
class Folder:
    """A folder, by its resolved path."""

    path: Path

    @classmethod
    def of(cls, source: Path | None) -> tuple[Folder, str]:
        """The folder of a piece, a chart or a folder, and the file's name; empty where a folder was named.

        Raises InputError when there is none.
        """
        named = Path() if source is None else source
        try:
            path = named.resolve(strict=True)
        except (OSError, ValueError, RuntimeError):
            hint = "check the name; without one, the desk opens this folder"
            raise InputError("there is no such file or folder", where=str(named), hint=hint) from None
        return (cls(path), "") if path.is_dir() else (cls(path.parent), path.name)

    def file(self, name: str) -> Path:
        """The path of a file in this folder or below. Raises InputError for anything else."""
        outside = InputError("the desk uses files of its own folder only", where=name[:NAME_MAX], hint="copy it there")
        if not name or len(name) > NAME_MAX or "\0" in name:
            raise outside
        try:
            path = (self.path / name).resolve()
        except (OSError, ValueError, RuntimeError):
            raise outside from None
        if not path.is_relative_to(self.path) or path == self.path:
            raise outside
        return path

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
