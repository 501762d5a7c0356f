"""What the operator does by hand before a pass, as data: the plan knows it, whoever shows it words it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from latchline.plan.model import Yarn


class Act(Enum):
    """What kind of step it is."""

    HAND = auto()  # a hand step of the plan (`plan/hand.py`)
    NOTE = auto()  # set the machine up for a band: what the carriage is set to, which yarn goes where
    THREAD = auto()  # put the first yarn of a band into the carriage
    CHANGE = auto()  # take one yarn out and another in
    SECOND_BED = auto()  # set what the second bed knits
    NEEDLES = auto()  # bring needles to a position, lay a yarn across them


@dataclass(frozen=True)
class Step:
    """One thing to do before a pass.

    text: the whole sentence, for kinds that have no better data, and for a change that puts none in. yarn: the
    one to put in; before: the one that is in the carriage until then. waits: whether the carriage must not go
    before a hand step is done; kind: that step's name in HAND_KINDS.
    """

    act: Act
    text: str = ""
    yarn: Yarn | None = None
    before: Yarn | None = None
    waits: bool = False
    kind: str = ""

    @property
    def line(self) -> str:
        """The step in words, one line."""
        if self.act is Act.THREAD and self.yarn is not None:
            return f"thread {self.yarn.name}"
        if self.act is Act.CHANGE and self.yarn is not None:
            return f"change to {self.yarn.name}"
        return self.text
