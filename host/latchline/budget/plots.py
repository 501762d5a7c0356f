"""The two plots of the budget's page, as SVG: lines, bars and words, black on white."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import floor, log10

from latchline.budget import coil
from latchline.budget.sums import Budget, Drive

_WIDTH, _HEIGHT = 460.0, 320.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 56.0, 18.0, 84.0, 76.0
_GREY = "#d8d8d8"


class _Plot:
    """Axes from 0 to `x_max` and `y_max`, and what is drawn on them in the units of the axes."""

    def __init__(self, title: str, x_max: float, y_max: float, x_label: str, y_label: str) -> None:
        self.x_max, self.y_max = x_max, y_max
        self.floor = _HEIGHT - _BOTTOM
        self.parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" '
            f'font-family="sans-serif" font-size="12" role="img" aria-label="{escape(title)}">',
            f'<text x="4" y="16" font-size="14" font-weight="bold">{escape(title)}</text>',
        ]
        self.x_label, self.y_label = x_label, y_label

    def x(self, value: float) -> float:
        return _LEFT + value / self.x_max * (_WIDTH - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        return self.floor - value / self.y_max * (self.floor - _TOP)

    def axes(self, x_ticks: Sequence[float]) -> None:
        """Drawn last, so that no box covers them."""
        for value in x_ticks:
            self.text(self.x(value), self.floor + 17, f"{value:g}", anchor="middle")
            self.rule(self.x(value), self.floor, self.x(value), self.floor + 4)
        for value in ticks(self.y_max):
            self.text(_LEFT - 8, self.y(value) + 4, f"{value:g}", anchor="end")
            self.rule(_LEFT - 4, self.y(value), _LEFT, self.y(value))
        self.rule(_LEFT, _TOP, _LEFT, self.floor)
        self.rule(_LEFT, self.floor, _WIDTH - _RIGHT, self.floor)
        self.text((_LEFT + _WIDTH - _RIGHT) / 2, self.floor + 34, self.x_label, anchor="middle")
        self.text(4, _TOP - 10, self.y_label)

    def rule(self, x1: float, y1: float, x2: float, y2: float, dash: str = "", width: float = 1.0) -> None:
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="#111" '
            f'stroke-width="{width:g}"{dashes}/>'
        )

    def text(self, x: float, y: float, words: str, anchor: str = "start") -> None:
        self.parts.append(f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>')

    def curve(self, points: Sequence[tuple[float, float]], dash: str = "") -> None:
        path = " ".join(f"{self.x(x):.1f},{self.y(y):.1f}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(f'<polyline points="{path}" fill="none" stroke="#111" stroke-width="1.8"{dashes}/>')

    def box(self, x1: float, x2: float, top: float, fill: str) -> None:
        """From the axis up to `top`."""
        left = self.x(x1)
        self.parts.append(
            f'<rect x="{left:.1f}" y="{self.y(top):.1f}" width="{self.x(x2) - left:.1f}" '
            f'height="{self.floor - self.y(top):.1f}" fill="{fill}" stroke="none"/>'
        )

    def key(self, place: int, words: str, dash: str = "", fill: str = "") -> None:
        """Entry 0 to 3 of the key under the axis, two a line."""
        x, y = 20 + 220 * (place % 2), _HEIGHT - 22 + 16 * (place // 2)
        if fill:
            self.parts.append(f'<rect x="{x}" y="{y - 9}" width="26" height="10" fill="{fill}"/>')
        else:
            self.rule(x, y - 4, x + 26, y - 4, dash, 1.8)
        self.text(x + 32, y, words)

    def svg(self) -> str:
        return "\n".join([*self.parts, "</svg>"])


def ticks(highest: float) -> list[float]:
    """Round numbers from 0 to `highest`, at most eight of them."""
    power = 10.0 ** floor(log10(highest))
    step = next(power * share for share in (0.1, 0.2, 0.5, 1, 2) if highest / (power * share) < 8)
    return [round(step * n, 9) for n in range(int(highest / step + 1e-9) + 1)]


def current_plot(budget: Budget) -> str:
    """Current from switching on until after the needle, cold and at its worst, with the needle intervals above."""
    electrical, profile = budget.electrical, budget.profile
    advance_ms = profile.advance_us / 1000
    off_ms = advance_ms + profile.selectors.hold_edges * profile.edge_mm / budget.demand.peak_m_s
    fastest_ms = coil.needle_interval_ms(profile.pitch_mm, profile.speed_max_m_s)
    last_ms = max(off_ms, budget.interval_ms) * 1.15
    cold, worst = (_pulse(budget, drive, off_ms, last_ms) for drive in (budget.cold, budget.worst))
    top_a = 1.12 * max(max(current for _, current in cold), electrical.pull_in_a)

    plot = _Plot("Coil current against the needle's time slot", last_ms, top_a, "ms after switching on", "A")
    plot.box(advance_ms, off_ms, top_a, _GREY)
    _interval(plot, 36, budget.interval_ms, "at this pace")
    _interval(plot, 54, fastest_ms, "at the highest speed")
    pull_y = plot.y(electrical.pull_in_a)
    plot.rule(plot.x(0), pull_y, plot.x(last_ms), pull_y, "2 3", 1.4)
    plot.curve(cold)
    plot.curve(worst, "7 4")
    plot.axes(ticks(last_ms))
    plot.key(0, "cold, full supply")
    plot.key(1, "hot, low supply", "7 4")
    plot.key(2, "pull-in current", "2 3")
    plot.key(3, "needle at the selector", fill=_GREY)
    return plot.svg()


def _interval(plot: _Plot, y: float, interval_ms: float, words: str) -> None:
    """A dimension line above the axes, its words beside it, or on it where they would leave the page."""
    words = f"needle interval {words}: {interval_ms:.1f} ms"
    start, end = plot.x(0), plot.x(interval_ms)
    for x in (start, end):
        plot.rule(x, y - 4, x, y + 6, width=1.4)
    plot.rule(start, y + 5, end, y + 5, width=1.4)
    beside = end + 6 + 6.3 * len(words) < _WIDTH
    plot.text(end + 6 if beside else start + 5, y + (5 if beside else 0), words)


def _pulse(budget: Budget, drive: Drive, off_ms: float, last_ms: float) -> list[tuple[float, float]]:
    """One pulse: the rise until `off_ms`, then the fall against the clamp."""
    inductance_h = budget.electrical.inductance_h
    peak_a = coil.current_a(off_ms, drive.steady_a, drive.loop_ohm, inductance_h)
    against_a = budget.net_clamp_v / drive.coil_ohm

    def at(time_ms: float) -> float:
        if time_ms <= off_ms:
            return coil.current_a(time_ms, drive.steady_a, drive.loop_ohm, inductance_h)
        fallen_a = coil.current_a(time_ms - off_ms, peak_a + against_a, drive.coil_ohm, inductance_h)
        return max(0.0, peak_a - fallen_a)

    return [(last_ms * n / 400, at(last_ms * n / 400)) for n in range(401)]


def duty_plot(budget: Budget) -> str:
    """Share of the time that each selector is on: its busiest pass in grey, the whole piece in black."""
    top = max(1.15 * max(100 * one.duty_pass for one in budget.selectors), 1.0)
    count = len(budget.selectors)
    plot = _Plot("How long each selector is on", count, top, "selector", "% of the time")
    for one in budget.selectors:
        middle = one.selector + 0.5
        plot.box(middle - 0.36, middle + 0.36, 100 * one.duty_pass, _GREY)
        plot.box(middle - 0.16, middle + 0.16, 100 * one.duty, "#111")
    plot.axes(())
    for one in budget.selectors:
        plot.text(plot.x(one.selector + 0.5), plot.floor + 17, str(one.selector), anchor="middle")
    plot.key(0, "busiest pass", fill=_GREY)
    plot.key(1, "whole piece", fill="#111")
    return plot.svg()
