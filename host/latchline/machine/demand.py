"""What a piece asks of the selectors: how many at once, and for what share of the time.

Takes masks (a boolean array, passes × needles of the span), so that it knows nothing of plans.
A selector acts from the profile's advance before its needle's selection point until `hold_edges`
after it, in edges of carriage travel. Its coil is on meanwhile for a needle that needs current: one that is
selected, or one that is not where the profile says that coils are active low.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, pi

import numpy as np
import numpy.typing as npt

from latchline.counted import counted
from latchline.errors import ProfileError
from latchline.machine.profile import Profile

Masks = npt.NDArray[np.bool_]
Shares = npt.NDArray[np.float64]
PEAK_OVER_MEAN = pi / 2  # a carriage swung to and fro like a pendulum; assumption, no source
PACE_MAX = 200.0


@dataclass(frozen=True)
class Demand:
    """What a piece asks.

    at_once, at_once_fastest: the most selectors energised at one time, at this pace and at the
    profile's highest speed. duty, duty_pass: share of the time that each selector is on, over the
    piece and in its busiest pass.
    """

    pace_rows_min: float
    passes: int
    pass_s: float
    mean_m_s: float
    peak_m_s: float
    on_ms: float
    at_once: int
    at_once_fastest: int
    duty: Shares
    duty_pass: Shares

    @property
    def mean_at_once(self) -> float:
        return float(self.duty.sum())


def measure_demand(
    profile: Profile, masks: Masks, first_needle: int, pace_rows_min: float, rightward: Masks | None = None
) -> Demand:
    """The demand of `masks`, whose column 0 is needle `first_needle`, at a pace in rows a minute.

    rightward: one bool a pass; without it passes go leftward and rightward in turn, leftward first.
    Each row travels the span and the turn clearance on both sides. Raises ProfileError for a pace or
    masks that cannot be.
    """
    if not 0 < pace_rows_min <= PACE_MAX:
        raise ProfileError(
            f"a pace of {pace_rows_min:g} rows a minute is out of range",
            hint=f"accepted: above 0, up to {PACE_MAX:g}",
        )
    passes, width = masks.shape
    if not passes or not width or first_needle < 0 or first_needle + width > profile.needles:
        raise ProfileError(
            f"masks of {counted(passes, 'pass')} and {counted(width, 'needle')} "
            f"from needle {first_needle} do not fit this bed",
            hint=f"the bed has {profile.needles} needles",
        )
    selectors = profile.selectors
    pass_s = 60 / pace_rows_min
    mean_m_s = (width + 2 * profile.turn_clearance_needles) * profile.pitch_mm / 1000 / pass_s
    peak_m_s = mean_m_s * PEAK_OVER_MEAN
    edge_ms = profile.edge_mm / mean_m_s
    room_ms = selector_share(profile) * profile.pitch_mm / mean_m_s
    # A selector is on from so many edges before its needle to so many after, at any speed.
    on_ms = min((profile.advance_max_edges + selectors.hold_edges) * edge_ms, room_ms)
    if rightward is None:
        rightward = np.arange(passes) % 2 == 1
    current = needing_current(profile, masks)
    counts = _counts(profile, current, first_needle, rightward)
    duty = np.minimum(counts * (on_ms / 1000 / pass_s), 1.0)
    at_once = most_at_once(profile, current, profile.advance_max_edges)
    return Demand(
        pace_rows_min=pace_rows_min,
        passes=passes,
        pass_s=pass_s,
        mean_m_s=mean_m_s,
        peak_m_s=peak_m_s,
        on_ms=on_ms,
        at_once=at_once,
        at_once_fastest=at_once,
        duty=duty.mean(axis=0),
        duty_pass=duty.max(axis=0),
    )


def needing_current(profile: Profile, masks: Masks) -> Masks:
    """Which needles need their coil on."""
    return ~masks if profile.selectors.active == "low" else masks


def most_at_once(profile: Profile, current: Masks, advance: int) -> int:
    """The most selectors energised at one time, with `advance` edges of advance throughout.

    current: the needles that need current. At edge p those are energised whose selection point s has
    s − advance ≤ p < s + hold: a window of advance + hold edges, ⌈window/edges a needle⌉ neighbours at most.
    """
    window = ceil((advance + profile.selectors.hold_edges) / profile.edges_per_needle)
    window = min(window, selector_share(profile), current.shape[1])
    sums = np.zeros((current.shape[0], current.shape[1] + 1), dtype=np.int32)
    np.cumsum(current, axis=1, out=sums[:, 1:])
    return int((sums[:, window:] - sums[:, :-window]).max())


def selector_share(profile: Profile) -> int:
    """Needles from one use of a selector to its next."""
    return 1 if profile.selectors.layout == "carriage" else profile.selectors.count


def _counts(profile: Profile, masks: Masks, first_needle: int, rightward: Masks) -> npt.NDArray[np.int64]:
    """How many of the needles in `masks` each selector serves in each pass: passes × selectors."""
    count = profile.selectors.count
    counts = np.zeros((masks.shape[0], count), dtype=np.int64)
    if profile.selectors.layout == "bank":
        for selector in range(count):
            counts[:, selector] = masks[:, (selector - first_needle) % count :: count].sum(axis=1)
    elif count == 1:
        counts[:, 0] = masks.sum(axis=1)
    else:  # selector 0 works rightward, 1 leftward
        counts[rightward, 0] = masks[rightward].sum(axis=1)
        counts[~rightward, 1] = masks[~rightward].sum(axis=1)
    return counts
