"""A box with axes on a plot, and round numbers for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from latchline.drawing.plot import Plot
from latchline.drawing.scene import Point

TICK = 5


@dataclass(frozen=True, eq=False)
class Panel:
    """Places on the plot; `x` and `y` turn values into them. floor: where the horizontal axis lies."""

    plot: Plot
    left: float
    top: float
    right: float
    floor: float
    x_range: Point
    y_range: Point

    def x(self, value: float) -> float:
        low, high = self.x_range
        return self.left + (value - low) / (high - low) * (self.right - self.left)

    def y(self, value: float) -> float:
        low, high = self.y_range
        return self.floor - (value - low) / (high - low) * (self.floor - self.top)

    def axes(self, x_label: str, y_label: str, x_ticks: Sequence[float] = (), y_ticks: Sequence[float] = ()) -> None:
        """Both axes with their ticks and words; what they measure stands under the one and above the other."""
        plot = self.plot
        for value in x_ticks:
            plot.stroke([(self.x(value), self.floor), (self.x(value), self.floor + TICK)])
            plot.words(self.x(value), self.floor + 20, f"{value:g}", "middle")
        for value in y_ticks:
            plot.stroke([(self.left - TICK, self.y(value)), (self.left, self.y(value))])
            plot.words(self.left - 9, self.y(value) + 4, f"{value:g}", "end")
        plot.stroke([(self.left, self.top), (self.left, self.floor), (self.right, self.floor)])
        plot.words((self.left + self.right) / 2, self.floor + 38, x_label, "middle")
        plot.words(self.right, self.top - 12, y_label, "end")


def round_steps(low: float, high: float) -> list[float]:
    """Round numbers from `low` to the first one at or above `high`, at most about eight."""
    power = 10.0 ** floor(log10(max(high - low, 1e-9)))
    step = next(power * share for share in (0.2, 0.5, 1.0, 2.0) if (high - low) / (power * share) <= 8)
    return [round(low + step * n, 9) for n in range(ceil((high - low) / step - 1e-9) + 1)]
