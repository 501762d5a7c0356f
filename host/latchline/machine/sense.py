"""Volts and amperes as the board's converter counts them, and the limits between which it watches them.

The supply comes through a divider, the coils' return current over a shunt and an amplifier; `parts/board.toml`
holds the resistors, and a test holds those to the drawing.
"""

from __future__ import annotations

import numpy as np

from latchline.machine.demand import most_at_once
from latchline.machine.electrical import Electrical, read_electrical
from latchline.machine.parts import load_part
from latchline.machine.profile import Profile

COUNTS_MAX = 1023
STANDING_COUNTS = 4  # of current that are none yet: the converter's steps and the amplifier's offset
SAG_SHARE = 0.9  # of the lowest supply as read against 5.0 V: never a false alarm up to 5.5 V, USB's highest
BOARD_V_SHARE = 0.02  # of a 5 V that was measured: the meter and a day's drift (assumed)
OVER_SHARE = 1.5  # of the most that the coils may draw together, one coil added


def supply_pin_v(volts: float) -> float:
    """What the divider makes of a coil supply in volts."""
    board = load_part("board")
    bottom_ohm = board.value("divider_bottom_ohm")
    return volts * bottom_ohm / (bottom_ohm + board.value("divider_top_ohm"))


def current_pin_v(amperes: float) -> float:
    """What shunt and amplifier make of the coils' return current in amperes."""
    board = load_part("board")
    return amperes * board.value("shunt_ohm") * board.value("sense_back_ohm") / board.value("sense_in_ohm")


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


def least_seen_a() -> float:
    """Amperes of one coil from which the board tells it from none."""
    return (STANDING_COUNTS + 1) * (current_a(1) - current_a(0))


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
    board_v = electrical.board_v
    every = np.ones((1, profile.needles), dtype=np.bool_)
    one_a = electrical.high_v / electrical.resistance_ohm
    most_a = OVER_SHARE * (most_at_once(profile, every, profile.advance_max_edges) + 1) * one_a
    share = 5.0 / board_v  # counts are parts of the board's own 5 V, whatever that is
    return supply_counts(electrical.low_v * SAG_SHARE * share), current_counts(most_a * share)


def watch_low_v(electrical: Electrical) -> float:
    """The lowest true supply that the board's watch may let through, its 5 V at the lowest that it can be.

    Where `board_v` was measured that is within 2 %, else USB's own lowest.
    """
    low_v = load_part("board").value("usb_low_v")
    share = 1 - BOARD_V_SHARE if electrical.board_v_measured else low_v / 5.0
    return electrical.low_v * SAG_SHARE * share


def _counts(pin_v: float) -> int:
    board = load_part("board")
    return max(0, min(COUNTS_MAX, int(pin_v / board.value("reference_v") * board.value("steps"))))


def _pin_v(counts: int) -> float:
    board = load_part("board")
    return (counts + 0.5) * board.value("reference_v") / board.value("steps")
