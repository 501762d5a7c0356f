"""How many, how often: changes spread evenly over rows or stitches.

The rule of the two rates: with q = M div N and r = M mod N, N changes in M rows fall N − r times every
q rows and r times every q + 1 rows, and the intervals sum to M exactly (common hand-knitting
arithmetic; Righetti, Sweater Design in Plain English, p. 179, for two rates that lie two rows apart).
"""

from __future__ import annotations

from dataclasses import dataclass

from latchline.counted import counted
from latchline.errors import InputError


@dataclass(frozen=True)
class Rate:
    """A change every `every` rows (or stitches), `times` times."""

    times: int
    every: int


def two_rates(changes: int, rows: int, *, even: bool = False) -> tuple[Rate, ...]:
    """The one or two rates at which `changes` fall in `rows`, the quicker one first.

    even: only on even rows, so that the rates lie two rows apart; an odd last row is left over.
    Raises InputError when there are more changes than rows to make them in.
    """
    step = 2 if even else 1
    places = rows // step
    if changes < 0 or rows < 0 or changes > places:
        on = "even " if even else ""
        raise InputError(
            f"{counted(changes, 'change does', 'changes do')} not go into {counted(rows, 'row')}",
            hint=f"there {'is' if places == 1 else 'are'} {counted(max(places, 0), on + 'row')}: "
            "knit more rows, or change more stitches at a time",
        )
    if changes == 0:
        return ()
    every, left = divmod(places, changes)
    rates = (Rate(changes - left, every * step), Rate(left, (every + 1) * step))
    return tuple(rate for rate in rates if rate.times)


def spread(changes: int, rows: int, *, even: bool = False) -> tuple[int, ...]:
    """After how many rows each change falls, the two rates mixed as evenly as they go; the last one on the last row.

    Raises InputError as `two_rates` does.
    """
    two_rates(changes, rows, even=even)
    step = 2 if even else 1
    return tuple(step * (number * (rows // step) // changes) for number in range(1, changes + 1))


def in_turn(rates: tuple[Rate, ...]) -> tuple[int, ...]:
    """After how many rows each change falls when one rate follows the other."""
    rows: list[int] = []
    for rate in rates:
        for _ in range(rate.times):
            rows.append((rows[-1] if rows else 0) + rate.every)
    return tuple(rows)


def across(changes: int, stitches: int, *, in_the_round: bool = False) -> tuple[int, ...]:
    """After which stitch of a row each of some changes falls.

    Flat, half an interval lies before the first one and after the last. Raises InputError when there
    are more changes than stitches.
    """
    if changes < 0 or changes > stitches:
        raise InputError(
            f"{counted(changes, 'change does', 'changes do')} not go into {counted(stitches, 'stitch')}",
            hint="change fewer in one row",
        )
    if in_the_round:
        return tuple(-(-number * stitches // changes) for number in range(1, changes + 1))
    return tuple(round((2 * number - 1) * stitches / (2 * changes)) for number in range(1, changes + 1))
