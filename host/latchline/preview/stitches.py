"""The shapes of stitches: strands of yarn as lines with a thickness, and tiles drawn from them.

Lengths are in stitch widths: x from 0 to 1 across the stitch, y upwards from the foot of the loop.
`rise` is how far up the loop is drawn through, `course` the height of a plain row. Both the bitmap
and the line drawing are made from these shapes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]

STEPS = 24
FINE = 3  # samples along each side of a pixel
EDGE = 1.22  # a strand's dark edge reaches this far, in radii
TWIST = 0.07  # how deep the ply's shading is

THICK = 0.17  # radius of a strand that lies in front
THIN = 0.125


@dataclass(frozen=True, eq=False)
class Strand:
    """A piece of yarn: its middle line (n, 2), its radius at each point, and how bright it lies (1 in front)."""

    line: Points
    radius: Points
    light: float = 1.0


def _curve(*corners: tuple[float, float]) -> Points:
    """A Bézier curve through the first and last corner."""
    t = np.linspace(0, 1, STEPS)[:, None]
    points = [np.broadcast_to(np.array(corner), (STEPS, 2)) for corner in corners]
    while len(points) > 1:
        points = [(1 - t) * one + t * other for one, other in pairwise(points)]
    result: Points = points[0]
    return result


def _taper(radius: float, ends: float = 0.45) -> Points:
    """A radius that swells from the ends to the middle."""
    t = np.linspace(0, 1, STEPS)
    return radius * (ends + (1 - ends) * np.sin(np.pi * t) ** 0.6)


def _even(radius: float) -> Points:
    return np.full(STEPS, radius)


def _mirrored(strand: Strand) -> Strand:
    return Strand(np.column_stack([1 - strand.line[:, 0], strand.line[:, 1]]), strand.radius, strand.light)


@lru_cache(maxsize=4096)
def knit_side_loop(rise: float, course: float, wide: bool, lean: int = 0) -> tuple[Strand, ...]:
    """The two legs of a loop, as the knit side shows it; wide where tuck loops push it open.

    lean: stitches to the right by which its head lies.
    """
    foot, head = 0.065, 0.36 if wide else 0.31
    bottom, height = -0.30 * course, rise + 0.22 * course
    left = Strand(
        _curve(
            (0.5 - foot, bottom),
            (0.5 - foot - 0.10, bottom + 0.30 * (height - bottom)),
            (0.5 - head - 0.03, bottom + 0.62 * (height - bottom)),
            (0.5 - head + 0.02, height),
        ),
        _taper(THICK),
    )
    return _leaning(left, lean), _leaning(_mirrored(left), lean)


def _leaning(strand: Strand, lean: int) -> Strand:
    """The strand with its upper end moved sideways, more and more towards the top."""
    if not lean:
        return strand
    x, y = strand.line.T
    share = np.clip((y - y.min()) / max(float(y.max() - y.min()), 1e-6), 0, 1)
    return Strand(np.column_stack([x + lean * share, y]), strand.radius, strand.light)


@lru_cache(maxsize=64)
def behind(course: float) -> tuple[Strand, ...]:
    """Yarn that passes behind a stitch, as it shows between the wales of the knit side."""
    return (Strand(_curve((-0.1, 0.12 * course), (0.5, 0.02), (1.1, 0.12 * course)), _even(0.11), 0.42),)


@lru_cache(maxsize=4096)
def tuck_behind(rise: float, course: float) -> tuple[Strand, ...]:
    """A tuck loop as the knit side shows it: beside and behind the loop that it is held with."""
    left = Strand(
        _curve((-0.12, -0.05 * course), (0.30, 0.15 * course), (0.40, 0.5 * rise), (0.43, rise)),
        _even(0.11),
        0.7,
    )
    return left, _mirrored(left)


@lru_cache(maxsize=4096)
def purl_legs(rise: float, course: float, lean: int = 0) -> tuple[Strand, ...]:
    """The legs of a loop behind the purl side; they show where the loop is stretched or leans."""
    left = Strand(
        _curve((0.22, -0.1 * course), (0.26, 0.3 * rise), (0.20, 0.7 * rise), (0.19, rise + 0.1 * course)),
        _even(THIN),
        0.60,
    )
    return _leaning(left, lean), _leaning(_mirrored(left), lean)


@lru_cache(maxsize=64)
def purl_head(course: float) -> tuple[Strand, ...]:
    """The head of a loop, lying over the one drawn through it. y = 0 is where it is drawn through."""
    low, high = -0.22 * course, 0.62 * course
    return (Strand(_curve((0.13, low), (0.14, high), (0.86, high), (0.87, low)), _taper(THIN + 0.02, 0.75)),)


@lru_cache(maxsize=64)
def purl_sinker(course: float) -> tuple[Strand, ...]:
    """The yarn between two neighbours, about x = 0; y = 0 is the foot of both."""
    high, low = 0.26 * course, -0.55 * course
    return (Strand(_curve((-0.30, high), (-0.27, low), (0.27, low), (0.30, high)), _taper(THIN + 0.02, 0.75)),)


@lru_cache(maxsize=64)
def float_past(course: float) -> tuple[Strand, ...]:
    """A float past one needle, straight in front of the purl side, from the edge of the stitch to its other edge."""
    return (Strand(_curve((-0.02, -0.1 * course), (1.02, -0.1 * course)), _even(THIN)),)


@lru_cache(maxsize=64)
def float_start(course: float) -> tuple[Strand, ...]:
    """From the loop on the left of x = 0 into a float on its right."""
    return (
        Strand(
            _curve((-0.30, 0.26 * course), (-0.28, -0.1 * course), (-0.12, -0.1 * course), (0.02, -0.1 * course)),
            _even(THIN),
        ),
    )


@lru_cache(maxsize=64)
def float_end(course: float) -> tuple[Strand, ...]:
    """From a float on the left of x = 0 into the loop on its right."""
    start = float_start(course)[0]
    return (Strand(start.line * np.array([-1.0, 1.0]), start.radius, start.light),)


@lru_cache(maxsize=4096)
def purl_tuck(rise: float, course: float) -> tuple[Strand, ...]:
    """A tuck loop in front of the purl side: up to the head of the loop that it is held with."""
    return (
        Strand(
            _curve(
                (-0.10, 0.0),
                (0.26, 0.2 * rise),
                (0.20, rise + 0.75 * course),
                (0.80, rise + 0.75 * course),
                (0.74, 0.2 * rise),
                (1.10, 0.0),
            ),
            _even(THIN),
            0.95,
        ),
    )


@dataclass(frozen=True, eq=False)
class Tile:
    """A drawn shape: brightness 1 to `shades` in each pixel, 0 where it is clear.

    pixels: uint8 (tall, wide), row 0 at the top. left, top: where its corner lies, in pixels from
    the left edge of the stitch and upwards from its foot.
    """

    pixels: npt.NDArray[np.uint8]
    left: int
    top: int

    @cached_property
    def drawn(self) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.uint8]]:
        """Row, column and brightness of each pixel that is not clear."""
        rows, columns = np.nonzero(self.pixels)
        return rows, columns, self.pixels[rows, columns]


def draw_tile(strands: tuple[Strand, ...], stitch_px: int, shades: int) -> Tile:
    """Draw strands at `stitch_px` pixels a stitch; the last one lies on top."""
    reach = max(float(strand.radius.max()) for strand in strands) * EDGE
    points = np.concatenate([strand.line for strand in strands])
    left, bottom = np.floor((points.min(axis=0) - reach) * stitch_px).astype(int)
    right, top = np.ceil((points.max(axis=0) + reach) * stitch_px).astype(int)
    across = (np.arange((right - left) * FINE) + 0.5) / FINE + left
    up = top - (np.arange((top - bottom) * FINE) + 0.5) / FINE
    light = np.zeros((len(up), len(across)))
    solid = np.zeros(light.shape, dtype=np.bool_)
    for strand in strands:
        shade, inside = _shade(strand, across / stitch_px, up / stitch_px)
        light = np.where(inside, shade, light)
        solid |= inside
    blocks = (top - bottom, FINE, right - left, FINE)
    cover = solid.reshape(blocks).sum(axis=(1, 3))
    mean = (light * solid).reshape(blocks).sum(axis=(1, 3)) / np.maximum(cover, 1)
    pixels = np.where(cover * 2 >= FINE * FINE, 1 + np.round(mean * (shades - 1)), 0)
    return Tile(pixels.astype(np.uint8), int(left), int(top))


def _shade(strand: Strand, x: Points, y: Points) -> tuple[Points, npt.NDArray[np.bool_]]:
    """Brightness 0 to 1 at each of y × x, and where the strand (its dark edge included) covers."""
    nearest = np.full((len(y), len(x)), np.inf)
    along, side = np.zeros_like(nearest), np.zeros_like(nearest)
    heading = np.gradient(strand.line, axis=0)
    heading /= np.hypot(heading[:, 0], heading[:, 1])[:, None] + 1e-12
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(strand.line, axis=0).T))])
    fine = np.linspace(0, STEPS - 1, 3 * STEPS)
    steps = np.arange(STEPS)
    middle = np.column_stack([np.interp(fine, steps, strand.line[:, axis]) for axis in (0, 1)])
    courses = np.column_stack([np.interp(fine, steps, heading[:, axis]) for axis in (0, 1)])
    for (px, py), (hx, hy), radius, at in zip(
        middle, courses, np.interp(fine, steps, strand.radius), np.interp(fine, steps, length), strict=True
    ):
        # y falls from top to bottom; only rows near this point can lie in the strand
        near = slice(*np.searchsorted(-y, [-(py + EDGE * radius), -(py - EDGE * radius)]))
        dx, dy = x[None] - px, y[near, None] - py
        ratio = np.hypot(dx, dy) / radius
        better = ratio < nearest[near]
        nearest[near] = np.where(better, ratio, nearest[near])
        along[near] = np.where(better, at + dx * hx + dy * hy, along[near])
        side[near] = np.where(better, (dx * -hy + dy * hx) / radius, side[near])
    inside = nearest < EDGE
    round_yarn = np.sqrt(np.clip(1 - nearest**2, 0, 1))
    ply = TWIST * np.sin(2 * np.pi * (along / 0.16 + 0.5 * side))
    light = np.where(nearest < 1, 0.30 + 0.62 * round_yarn + ply * round_yarn, 0.08)
    return np.clip(light * strand.light, 0, 1), inside


def outline(strand: Strand, grow: float) -> Points:
    """The strand's edge as a polygon (n, 2), its radius multiplied by `grow`, with rounded ends."""
    heading = np.gradient(strand.line, axis=0)
    heading /= np.hypot(heading[:, 0], heading[:, 1])[:, None] + 1e-12
    across = np.column_stack([-heading[:, 1], heading[:, 0]]) * (strand.radius * grow)[:, None]
    turn = np.linspace(0, np.pi, 7)[1:-1, None]
    last = strand.line[-1] + np.cos(turn) * across[-1] + np.sin(turn) * heading[-1] * strand.radius[-1] * grow
    first = strand.line[0] - np.cos(turn) * across[0] - np.sin(turn) * heading[0] * strand.radius[0] * grow
    return np.concatenate([strand.line + across, last, (strand.line - across)[::-1], first])
