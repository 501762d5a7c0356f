"""Colours of a drawing: their names, their order in the palette, and fewer of them.

Order: the background first; then from dark to light (brightness as in ITU-R BT.601: 0.299 red,
0.587 green, 0.114 blue), equally bright ones by their hex number. It depends only on which
colours there are, so mending a few stitches of a drawing does not make its yarns change places.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt

from latchline.chart.model import COLOURS_MAX, Cells, Chart, Colour
from latchline.counted import counted
from latchline.errors import ChartError
from latchline.mend import Mend

COLOURS_ASKED_MIN = 2
COMPARED_MAX = 256
"""Among how many colours, the most common ones, the nearest two are looked for."""

STOCK_NAMES = (
    "white",
    "midnightblue",
    "firebrick",
    "goldenrod",
    "seagreen",
    "darkorange",
    "steelblue",
    "mediumpurple",
    "saddlebrown",
    "palevioletred",
    "yellowgreen",
    "teal",
    "lightskyblue",
    "black",
    "gray",
    "khaki",
)
"""CSS colours that stand in where a chart says which stitches are alike but not what colour."""

Codes = npt.NDArray[np.uint32]
"""Colours as numbers, 0xrrggbb."""

_HEX = re.compile(r"^#([0-9a-fA-F]{6}|[0-9a-fA-F]{3})$")


def parse_colour(text: str) -> Colour | None:
    """`#rrggbb`, `#rgb` or a name of CSS Color Module Level 4; None for anything else."""
    text = text.strip()
    if match := _HEX.match(text):
        digits = match[1] if len(match[1]) == 6 else "".join(digit * 2 for digit in match[1])
        return colour_of(int(digits, 16))
    from PIL import ImageColor

    known = ImageColor.colormap.get(text.lower())
    if known is None:
        return None
    red, green, blue = ImageColor.getrgb(text.lower())[:3]
    return Colour(red, green, blue, text.lower())


def stock_colour(index: int) -> Colour:
    """A colour to show palette index 0 to 15 in, without a name."""
    known = parse_colour(STOCK_NAMES[index])
    assert known is not None
    return Colour(known.red, known.green, known.blue)


def colour_of(code: int, name: str = "") -> Colour:
    return Colour(code >> 16 & 255, code >> 8 & 255, code & 255, name)


def code_of(colour: Colour) -> int:
    return colour.red << 16 | colour.green << 8 | colour.blue


@cache
def _names() -> dict[str, str]:
    from PIL import ImageColor

    names: dict[str, str] = {}
    for name in ImageColor.colormap:
        red, green, blue = ImageColor.getrgb(name)[:3]
        names.setdefault(Colour(red, green, blue).hex, name)
    return names


def said(text: str) -> str:
    """A colour given as #rrggbb by its CSS name, where it has one."""
    return _names().get(text.lower(), text)


def label(colour: Colour) -> str:
    """What a complaint calls a colour: `navy (#1f3a5f)`, or the number alone."""
    return f"{colour.name} ({colour.hex})" if colour.name else colour.hex


def _channels(codes: Codes) -> npt.NDArray[np.int64]:
    """Red, green and blue of each, shape (…, 3)."""
    return np.stack([codes >> 16 & 255, codes >> 8 & 255, codes & 255], axis=-1).astype(np.int64)


def nearest_pair(colours: Sequence[Colour]) -> tuple[Colour, Colour]:
    """The two colours with the smallest difference in red, green and blue (sum of squares); needs two."""
    channels = _channels(np.array([code_of(colour) for colour in colours], np.uint32))
    squares = ((channels[:, None] - channels[None]) ** 2).sum(axis=2)
    np.fill_diagonal(squares, np.iinfo(np.int64).max)
    one, other = divmod(int(squares.argmin()), len(colours))
    return colours[one], colours[other]


def check_asked(colours: int | None, where: str) -> None:
    """Raises ChartError when `colours` asks for a number that no chart can have."""
    if colours is not None and not COLOURS_ASKED_MIN <= colours <= COLOURS_MAX:
        raise ChartError(
            f"a chart cannot be reduced to {counted(colours, 'colour')}",
            where=where,
            hint=f"ask for {COLOURS_ASKED_MIN} to {COLOURS_MAX}",
        )


def require_few(codes: Codes, counts: npt.NDArray[np.int64], where: str) -> None:
    """Raises ChartError when there are more than 16 colours: how many, the nearest two, how to reduce."""
    if len(codes) <= COLOURS_MAX:
        return
    common = codes[np.argsort(-counts, kind="stable")[:COMPARED_MAX]]
    one, other = nearest_pair([colour_of(int(code)) for code in common])
    raise ChartError(
        f"the drawing has {len(codes)} colours and a chart takes {COLOURS_MAX} at most; "
        f"the nearest two are {label(one)} and {label(other)}",
        where=where,
        hint="draw with fewer",
        mends=[Mend("reduce them", "colours", COLOURS_MAX)],
    )


def reduce_codes(codes: Codes, counts: npt.NDArray[np.int64], most: int) -> Codes:
    """For each colour, the one of at most `most` colours of the same drawing that stands for it.

    Median cut (Heckbert 1982, as Pillow does it, without dither) sorts the colours into groups; the
    most common colour of a group stands for all of it, so that blurred edges leave pure colours.
    """
    if len(codes) <= most:
        return codes
    from PIL import Image

    pixels = _channels(codes).astype(np.uint8).repeat(counts, axis=0)[None]
    grouped = Image.fromarray(pixels).quantize(colors=most, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    starts = np.cumsum(counts) - counts
    groups = np.asarray(grouped)[0][starts]
    kept = codes.copy()
    for group in np.unique(groups):
        members = np.flatnonzero(groups == group)
        kept[members] = codes[members[counts[members].argmax()]]
    return kept


def _nearest_code(codes: Codes, wanted: int) -> int:
    squares = ((_channels(codes) - _channels(np.array([wanted], np.uint32))) ** 2).sum(axis=1)
    return int(codes[squares.argmin()])


def no_such_background(background: str, present: Sequence[Colour], where: str) -> ChartError:
    shown = ", ".join(label(colour) for colour in present)
    return ChartError(f'no stitch has the background colour "{background}"', where=where, hint=f"there are {shown}")


def background_code(background: str | None, where: str) -> int | None:
    """The colour asked for as background. Raises ChartError when the words name none."""
    if background is None:
        return None
    colour = parse_colour(background)
    if colour is None:
        raise ChartError(
            f'"{background}" is no colour that can be looked for in this drawing',
            where=where,
            hint="write #rrggbb or a CSS colour name, as #f4ead8 or navy",
        )
    return code_of(colour)


def chart_from_codes(
    codes: Codes,
    where: str,
    *,
    colours: int | None,
    background: str | None,
    always: Sequence[int] = (),
    names: dict[int, str] | None = None,
) -> Chart:
    """A chart from the colour of every cell, shape (rows, stitches), row 0 at the bottom.

    `always` are colours that stand in the palette even where no cell has them.
    Raises ChartError for too many colours or a background that is not there.
    """
    check_asked(colours, where)
    wanted = background_code(background, where)
    used, places, counts = np.unique(codes, return_inverse=True, return_counts=True)
    if colours is None:
        require_few(used, counts, where)
        kept = used
    else:
        kept = reduce_codes(used, counts, colours)
    # stable on top of np.unique's order, so equally bright colours stand by their hex number
    palette = np.unique(np.concatenate([kept, np.array(always, np.uint32)]))
    palette = palette[np.argsort(_channels(palette) @ np.array([299, 587, 114]), kind="stable")]
    if wanted is None:
        first = int(palette[-1])
    elif colours is not None:
        first = _nearest_code(palette, wanted)
    else:
        first = wanted
    if first not in palette:
        raise no_such_background(background or "", [colour_of(int(code)) for code in palette], where)
    order = [first, *(int(code) for code in palette if code != first)]
    position = {code: index for index, code in enumerate(order)}
    lookup = np.array([position[int(code)] for code in kept], np.uint8)
    cells: Cells = lookup[places.reshape(codes.shape)]
    named = names or {}
    return Chart(cells, tuple(colour_of(code, named.get(code, "")) for code in order), where)
