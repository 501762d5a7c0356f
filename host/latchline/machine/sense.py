"""Volts and amperes as the board's converter counts them, and the limits between which it watches them.

The supply comes through a divider, the coils' return current over a shunt; `parts/board.toml` holds
the resistors, and a test holds those to the drawing.
"""

from __future__ import annotations

import numpy as np

from latchline.machine.demand import most_at_once
from latchline.machine.electrical import read_electrical
from latchline.machine.parts import load_part
from latchline.machine.profile import Profile

COUNTS_MAX = 1023
SAG_SHARE = 0.85  # of the lowest supply: below this the coils can no longer be trusted
OVER_SHARE = 1.5  # of the most that the coils may draw together, one coil added


def supply_pin_v(volts: float) -> float:
    """What the divider makes of a coil supply in volts."""
    board = load_part("board")
    bottom_ohm = board.value("divider_bottom_ohm")
    return volts * bottom_ohm / (bottom_ohm + board.value("divider_top_ohm"))


def current_pin_v(amperes: float) -> float:
    """What the shunt makes of the coils' return current in amperes."""
    return amperes * load_part("board").value("shunt_ohm")


def supply_counts(volts: float) -> int:
    """Converter counts, 0 to 1023, of a coil supply in volts."""
    return _counts(supply_pin_v(volts))


def supply_v(counts: int) -> float:
    """Volts of the coil supply at this count, the middle of its step."""
    return _pin_v(counts) / supply_pin_v(1.0)


def current_counts(amperes: float) -> int:
    """Converter counts, 0 to 1023, of the coils' return current in amperes."""
    return _counts(current_pin_v(amperes))


def current_a(counts: int) -> float:
    """Amperes of return current at this count, the middle of its step."""
    return _pin_v(counts) / current_pin_v(1.0)


def coil_counts(profile: Profile, supply: int) -> float | None:
    """Counts of current of one healthy coil at this supply reading; None for a profile without [electrical].

    Of the coil at 20 °C behind a driver that drops nothing; one that is warm draws a fifth less.
    """
    if not profile.electrical:
        return None
    amperes = supply_v(supply) / read_electrical(profile).resistance_ohm
    board = load_part("board")
    return current_pin_v(amperes) / board.value("reference_v") * board.value("steps")


def watch_limits(profile: Profile) -> tuple[int, int]:
    """`supply_min` and `current_max` of the bed set-up, in counts; both 0, not watched, without [electrical].

    A supply below the first is too low to trust; a current above the second is a short, or more
    coils than can be on together. Raises ProfileError for a table that makes no sense.
    """
    if not profile.electrical:
        return 0, 0
    electrical = read_electrical(profile)
    every = np.ones((1, profile.needles), dtype=np.bool_)
    one_a = electrical.high_v / electrical.resistance_ohm
    most_a = OVER_SHARE * (most_at_once(profile, every, profile.advance_max_edges) + 1) * one_a
    return supply_counts(electrical.low_v * SAG_SHARE), current_counts(most_a)


def _counts(pin_v: float) -> int:
    board = load_part("board")
    return max(0, min(COUNTS_MAX, int(pin_v / board.value("reference_v") * board.value("steps"))))


def _pin_v(counts: int) -> float:
    board = load_part("board")
    return (counts + 0.5) * board.value("reference_v") / board.value("steps")
