"""What the doctor saw: the board at each moment, the carriage's walks, the tries of the selectors."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from latchline.link.messages import Bed, BoardInfo, Counts, Fault, Probed, Status

LEFT, RIGHT, REST = "left", "right", "rest"


@dataclass(frozen=True)
class Sample:
    """The board at one moment."""

    at_s: float
    status: Status
    counts: Counts


@dataclass(frozen=True)
class Stretch:
    """The carriage being moved to one side, or left at rest; at least two samples."""

    wanted: str
    samples: tuple[Sample, ...]
    faults: tuple[Fault, ...] = ()

    def gained(self, counter: str) -> int:
        """By how much one of COUNTS grew."""
        first, last = self.samples[0].counts, self.samples[-1].counts
        return int(getattr(last, counter)) - int(getattr(first, counter))

    @property
    def steps(self) -> list[tuple[int, int, int]]:
        """For each pair of samples: net edges, edges in all, reversals.

        A place that was corrected at an end sensor is no step. Counts and place are asked for one after
        the other, so that a few edges come between.
        """
        found = []
        for one, other in pairwise(self.samples):
            edges = other.counts.edges - one.counts.edges
            net = other.status.position - one.status.position
            found.append(
                (net if abs(net) <= edges * 1.25 + 8 else 0, edges, other.counts.reversals - one.counts.reversals)
            )
        return found

    @property
    def net_edges(self) -> int:
        return sum(net for net, _, _ in self.steps)

    def on_at_end(self, pin: int) -> bool:
        return not self.samples[-1].status.pins & pin


@dataclass(frozen=True)
class Try:
    """A selector switched on by itself. idle: just before. probed: None where the board gave no answer.

    fault: the number of the one that ended it, 0 for none.
    """

    selector: int
    idle: Counts
    probed: Probed | None
    fault: int = 0

    @property
    def drawn(self) -> int:
        """Converter counts of current that this coil adds."""
        return 0 if self.probed is None else self.probed.current_on - self.probed.current_idle

    @property
    def sag(self) -> float:
        """Share of the supply that is lost meanwhile."""
        return 0.0 if self.probed is None else 1 - self.probed.supply_on / max(1, self.probed.supply_idle)


@dataclass(frozen=True)
class Observed:
    """All that was seen of one board.

    clock_error: the board's clock against the computer's, as a share; None when it was not taken.
    asked, unanswered: questions put to the board, and those that had to be repeated. bad_frames: damaged
    ones at either end. tries: one for each selector, in order. restarts: of the board meanwhile.
    was_knitting: a plan was in force, and was ended.
    """

    info: BoardInfo
    bed: Bed
    clock_error: float | None = None
    asked: int = 0
    unanswered: int = 0
    bad_frames: int = 0
    restarts: int = 0
    walk: tuple[Stretch, ...] = ()
    tries: tuple[Try, ...] = ()
    was_knitting: bool = False
