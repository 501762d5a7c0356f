"""Needles and spans, named as the operator sees them: `L3 L2 L1 R1 R2 R3`, `L20-R20`.

Inside the program a needle is its index from the operator's left, 0 for the leftmost needle of
the bed. `centre` is the number of needles to the left of the centre mark.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from latchline.counted import counted
from latchline.errors import InputError

_NEEDLE = re.compile(r"^([LRlr])([1-9][0-9]{0,3})$")


def needle_name(index: int, centre: int) -> str:
    """`L1` for index centre − 1, `R1` for index centre; also past the ends of the bed."""
    return f"L{centre - index}" if index < centre else f"R{index - centre + 1}"


def needle_index(name: str, centre: int) -> int:
    """The index of a needle name. Raises InputError for anything but L or R and a number from 1."""
    match = _NEEDLE.match(name.strip())
    if match is None:
        raise InputError(f'"{name}" names no needle', hint="write L or R and a number from 1, as L20 or R1")
    number = int(match[2])
    return centre - number if match[1] in "Ll" else centre + number - 1


@dataclass(frozen=True)
class Span:
    """Needles `first` to `last`, both included, as indices from the operator's left."""

    first: int
    last: int

    @property
    def width(self) -> int:
        return self.last - self.first + 1

    def name(self, centre: int) -> str:
        return f"{needle_name(self.first, centre)}-{needle_name(self.last, centre)}"

    @classmethod
    def parse(cls, text: str, centre: int, needles: int) -> Span:
        """Read `L20-R20` on a bed of `needles` needles.

        Raises InputError when it is no span, stands the wrong way round or leaves the bed.
        """
        ends = [part for part in re.split(r"\s*(?:-|–|:|\.\.)\s*", text.strip()) if part]
        if len(ends) != 2:
            raise InputError(f'"{text}" is not a span of needles', hint="write it as L20-R20")
        first, last = (needle_index(end, centre) for end in ends)
        if first > last:
            raise InputError(
                f'the span "{text}" stands the wrong way round',
                hint=f"write {ends[1].upper()}-{ends[0].upper()}",
            )
        if first < 0 or last >= needles:
            whole = cls(0, needles - 1).name(centre)
            raise InputError(f'the span "{text}" leaves the bed', hint=f"this bed has the needles {whole}")
        return cls(first, last)

    @classmethod
    def centred(cls, width: int, centre: int, needles: int) -> Span:
        """A span of `width` needles about the centre; the odd needle goes to the right.

        Raises InputError when the bed is too narrow.
        """
        if not 1 <= width <= needles:
            raise InputError(
                f"{counted(width, 'stitch does', 'stitches do')} not fit on {needles} needles",
                hint="crop the chart, or choose a bed with more needles",
            )
        first = min(max(centre - width // 2, 0), needles - width)
        return cls(first, first + width - 1)
