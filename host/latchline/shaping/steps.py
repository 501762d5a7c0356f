"""Steps of several stitches: shoulders, armholes, necks, buttonholes."""

from __future__ import annotations

import itertools

from latchline.counted import counted
from latchline.errors import InputError


def level_steps(stitches: int, steps: int) -> tuple[int, ...]:
    """A slope in steps that never differ by more than one stitch, the lower ones first.

    Raises InputError when a step would have no stitch.
    """
    if steps < 1 or stitches < steps:
        raise InputError(
            f"{counted(stitches, 'stitch does', 'stitches do')} not make {counted(steps, 'step')}",
            hint="make fewer steps",
        )
    every, left = divmod(stitches, steps)
    return (every,) * (steps - left) + (every + 1,) * left


def half_the_difference(wide: int, narrow: int, what: str) -> int:
    """Stitches that each side loses between two widths. Raises InputError when one would be left over."""
    if (wide - narrow) % 2:
        raise InputError(
            f"from {wide} to {counted(narrow, 'stitch')} one stitch is left over: "
            f"{what} on both sides takes an even number",
            hint=f"make it {narrow - 1} or {narrow + 1}",
        )
    return (wide - narrow) // 2


def armhole(wide: int, cross_back: int) -> tuple[int, ...]:
    """The stitches bound off for one armhole: half of them at once, the rest one at a time.

    Common hand-knitting rule. Raises InputError when the halves do not come out.
    """
    side = half_the_difference(wide, cross_back, "an armhole")
    if side < 1:
        raise InputError(
            f"an armhole from {wide} to {counted(cross_back, 'stitch')} takes none off", hint="check the widths"
        )
    at_once = (side + 1) // 2
    return (at_once,) + (1,) * (side - at_once)


def round_neck(width: int, *, back: bool = False) -> tuple[int, tuple[int, ...]]:
    """A round neck: stitches taken off in the centre, then on each side on every other row.

    Front: about a third in the centre, then 3, then twos, then a third of the side in ones. Back: about five
    eighths in the centre, then two thirds of the side and one third. Both as in the neck 32 stitches wide of a
    book on knitting. Raises InputError for fewer than 6 stitches.
    """
    if width < 6:
        raise InputError(
            f"a neck of {counted(width, 'stitch')} is too narrow to be rounded", hint="bind it off straight"
        )
    side = round(width * 3 / 16) if back else int(width * 5 / 16)
    if back:
        first = max(1, round(side * 2 / 3))
        sides: tuple[int, ...] = (first, side - first) if side > first else (side,)
    else:
        ones = max(1, side // 3)
        larger = side - ones
        threes = larger % 2 if larger >= 3 else 0
        sides = (3,) * threes + (2,) * ((larger - 3 * threes) // 2) + (1,) * (ones + (larger - 3 * threes) % 2)
    return width - 2 * side, sides


def gaps(holes: int, rows: int, *, hole_rows: int = 2, ends: int = 0) -> tuple[int, ...]:
    """The rows between buttonholes, so that their intervals differ by no more than one row.

    ends: rows before the first and after the last hole. Raises InputError when there is no room.
    """
    free = rows - holes * hole_rows - 2 * ends
    if holes < 1 or free < holes - 1:
        raise InputError(
            f"{counted(holes, 'hole does', 'holes do')} not go into {counted(rows, 'row')}",
            hint="make fewer, or a longer band",
        )
    marks = [round(number * free / (holes - 1)) for number in range(holes)] if holes > 1 else [0]
    return tuple(later - before for before, later in itertools.pairwise(marks))
