"""Kinds of yarn: the standard weights by gauge, and the classes that a carriage's dial suits.

Yarn weights: Craft Yarn Council, Standard Yarn Weight System.
Source: Craft Yarn Council's www.YarnStandards.com
"""

from __future__ import annotations

from dataclasses import dataclass

from latchline.plan.limits import Limits
from latchline.shaping.gauge import Gauge
from latchline.technique.model import LAID_IN_ONLY

FOUR_INCHES_PER_10_CM = 1.016
CREDIT = "Source: Craft Yarn Council's www.YarnStandards.com"


@dataclass(frozen=True)
class WeightClass:
    """A standard yarn weight: number, name, and stockinette stitches to 4 inches, most and fewest."""

    number: int
    name: str
    most: int
    fewest: int


WEIGHT_CLASSES = (
    WeightClass(0, "lace", 40, 33),
    WeightClass(1, "super fine", 32, 27),
    WeightClass(2, "fine", 26, 23),
    WeightClass(3, "light", 24, 21),
    WeightClass(4, "medium", 20, 16),
    WeightClass(5, "bulky", 15, 12),
    WeightClass(6, "super bulky", 11, 7),
    WeightClass(7, "jumbo", 6, 1),
)

# Yarn class → highest stitch size on a dial up to 12. Common practice, no source.
STITCH_SIZE_MOST = {"fine": Limits.fine_size, "medium": Limits.medium_size, "heavy": Limits.heavy_size}


def weight_class(gauge: Gauge) -> WeightClass:
    """The standard weight whose range a gauge of plain fabric falls into, or the nearest.

    Where two ranges meet at the same number (24 and 23 stitches), the finer one is meant from 23 up.
    """
    stitches = gauge.stitches * FOUR_INCHES_PER_10_CM
    return next((item for item in WEIGHT_CLASSES if stitches > item.fewest - 0.5), WEIGHT_CLASSES[-1])


def yarn_class(stitch_size: float) -> str:
    """`fine`, `medium`, `heavy`, or `laid in only` for what is thicker than the dial takes."""
    return next((name for name, most in STITCH_SIZE_MOST.items() if stitch_size <= most), LAID_IN_ONLY)


def stitch_size_range(name: str) -> tuple[float, float]:
    """The lowest and highest stitch size that a yarn class takes on a dial up to 12. Raises KeyError for others."""
    sizes = Limits().stitch_sizes(name) if name in STITCH_SIZE_MOST else None
    if sizes is None:
        raise KeyError(name)
    return sizes
