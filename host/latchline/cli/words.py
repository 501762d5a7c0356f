"""How the command line says options and tasks: as they are typed."""

from __future__ import annotations

from typing import Any

from latchline.errors import LatchlineError
from latchline.mend import PIECE_FILE, Tongue
from latchline.plan.options import spoken_options

OF_CHART = frozenset(option.name for option in spoken_options())
OF_TASKS = frozenset(
    {"passes", "stitch_px", "port", "machine", "bundle", "regardless"}
)  # options of commands that others speak of


class Typed(Tongue):
    """in_file: the piece is read from a piece file, where its options are keys; else they are typed, too."""

    def __init__(self, *, in_file: bool = False) -> None:
        self._typed = OF_TASKS if in_file else OF_TASKS | OF_CHART

    def option(self, key: str) -> str:
        return "--" + key.replace("_", "-") if key in self._typed else key

    def setting(self, key: str, value: Any = None) -> str:
        if key not in self._typed:
            return PIECE_FILE.setting(key, value)
        if value is None or value is True:
            return self.option(key)
        words = ("x" if key == "enlarge" else "-").join(map(str, value)) if isinstance(value, list | tuple) else value
        return f"{self.option(key)} {words}"

    def task(self, name: str, key: str = "") -> str:
        return f"`latchline {name}{f' {self.option(key)}' if key else ''}`"


TYPED = Typed()


def sentence(error: LatchlineError, tongue: Tongue = TYPED) -> str:
    """An error as the command line says it."""
    return error.sentence(tongue)
