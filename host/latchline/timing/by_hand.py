"""How a piece that was knitted by hand went: nothing is measured, but each pass was confirmed at some time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

from latchline.counted import counted
from latchline.timing.listing import clock
from latchline.timing.statistics import BREAK_S, Spread, spread


@dataclass(frozen=True)
class HandTiming:
    """Passes and when each was confirmed, in order, seconds since 1970.

    cycle_s: from one to the next, breaks of a minute and more left out; None where there is none.
    """

    confirmed: tuple[tuple[int, float], ...]
    cycle_s: Spread | None
    breaks: int
    pace_rows_min: float | None


def time_by_hand(confirmed: Sequence[tuple[int, float]]) -> HandTiming:
    """Of one pass or more."""
    cycles = [after - before for (_, before), (_, after) in pairwise(confirmed)]
    steady = [cycle for cycle in cycles if 0 < cycle < BREAK_S]
    return HandTiming(
        confirmed=tuple(confirmed),
        cycle_s=spread(steady) if steady else None,
        breaks=sum(cycle >= BREAK_S for cycle in cycles),
        pace_rows_min=60 * len(steady) / sum(steady) if steady else None,
    )


def as_csv(timing: HandTiming) -> str:
    lines = ["pass,confirmed_s", *(f"{number},{at_s:.3f}" for number, at_s in timing.confirmed)]
    return "".join(f"{line}\r\n" for line in lines)


def as_json(timing: HandTiming) -> dict[str, Any]:
    return {
        "by_hand": True,
        "passes": [{"pass": number, "confirmed_s": round(at_s, 3)} for number, at_s in timing.confirmed],
        "cycle_s": None if timing.cycle_s is None else asdict(timing.cycle_s),
        "breaks": timing.breaks,
        "pace_rows_min": timing.pace_rows_min,
    }


def as_text(timing: HandTiming) -> Iterator[str]:
    (_, first), (_, last) = timing.confirmed[0], timing.confirmed[-1]
    count = len(timing.confirmed)
    yield f"{counted(count, 'pass')} confirmed by hand in {clock(last - first)}, {counted(timing.breaks, 'break')}"
    if timing.cycle_s is not None and timing.pace_rows_min is not None:
        cycle = timing.cycle_s
        yield f"from one to the next {cycle.median:.1f} s ({cycle.lower_quartile:.1f} to {cycle.upper_quartile:.1f})"
        yield f"pace {timing.pace_rows_min:.1f} rows a minute, breaks of a minute and more left out"
    yield "No board was there, so nothing else was measured."
