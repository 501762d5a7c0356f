"""Ways out as data. A room says which option to set or which task to do; each face says it in its own words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Mend:
    """One way out, for the user to take.

    what: what it does, an order without a full stop, such as "reduce them".
    key: the option that does it, as a piece file calls it, or one of the task's own; value: what to set
        it to, as a piece file has it; None: as suits.
    task: the task that does it, by its command's name.
    changes: what that changes, where it has been tried.
    """

    what: str
    key: str = ""
    value: Any = None
    task: str = ""
    changes: str = ""


class Tongue:
    """How a reader writes options and tasks. This one writes as a piece file does, and names no task."""

    def option(self, key: str) -> str:
        """What the reader calls an option."""
        return key

    def setting(self, key: str, value: Any = None) -> str:
        """An option with its value, as the reader would write it."""
        return key if value is None else f"{key} = {as_toml(value)}"

    def task(self, name: str, key: str = "") -> str:
        """How the reader does a task; empty where there are no words for it."""
        return ""

    def mend(self, mend: Mend) -> str:
        """A way out in one clause: what it does, and with what."""
        means = self.task(mend.task, mend.key) if mend.task else self.setting(mend.key, mend.value) if mend.key else ""
        return f"{mend.what} with {means}" if means else mend.what

    def hint(self, hint: str, mends: Iterable[Mend]) -> str:
        """What to do, in one clause: the ways out are so many choices, a task is done besides."""
        mends = list(mends)
        ways = ", or ".join([*([hint] if hint else []), *(self.mend(mend) for mend in mends if not mend.task)])
        return "; ".join([*([ways] if ways else []), *(self.mend(mend) for mend in mends if mend.task)])


PIECE_FILE = Tongue()


def as_toml(value: Any) -> str:
    """A value as a piece file has it: text, number, yes or no, or a list of numbers."""
    if isinstance(value, list | tuple):
        return "[" + ", ".join(as_toml(item) for item in value) + "]"
    import json  # `latchline --help` is quicker without

    return json.dumps(value, ensure_ascii=False)
