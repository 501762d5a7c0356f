"""The two plots of the budget's page: lines, bars and words, black on white."""

from __future__ import annotations

from latchline.budget import coil
from latchline.budget.sums import Budget, Drive
from latchline.drawing.panel import Panel, round_steps
from latchline.drawing.plot import INK, Plot

_WIDTH, _HEIGHT = 460, 320
_LEFT, _RIGHT, _TOP, _FLOOR = 56, 442, 84, 242
_GREY = "#d8d8d8"
_LONG_DASH, _DOTS = (7.0, 4.0), (2.0, 3.0)


def _panel(title: str, x_max: float, y_max: float) -> Panel:
    plot = Plot(_WIDTH, _HEIGHT, title)
    plot.words(4, 16, title, bold=True)
    return Panel(plot, _LEFT, _TOP, _RIGHT, _FLOOR, (0, x_max), (0, y_max))


def _column(panel: Panel, first: float, last: float, top: float, colour: str) -> None:
    """From the axis up to `top`."""
    panel.plot.box(panel.x(first), panel.y(top), panel.x(last), panel.floor, colour)


def _key(plot: Plot, place: int, words: str, dash: tuple[float, ...] = (), fill: str = "") -> None:
    """Entry 0 to 3 of the key under the axis, two a line."""
    x, y = 20 + 220 * (place % 2), _HEIGHT - 22 + 16 * (place // 2)
    if fill:
        plot.box(x, y - 9, x + 26, y + 1, fill)
    else:
        plot.stroke([(x, y - 4), (x + 26, y - 4)], INK, 1.8, dash)
    plot.words(x + 32, y, words)


def _ticks(highest: float) -> list[float]:
    return [value for value in round_steps(0, highest) if value <= highest]


def current_plot(budget: Budget) -> str:
    """Current from switching on until after the needle, cold and at its worst, with the needle intervals above."""
    electrical, profile = budget.electrical, budget.profile
    advance_ms = profile.advance_us / 1000
    off_ms = advance_ms + profile.selectors.hold_edges * profile.edge_mm / budget.demand.peak_m_s
    fastest_ms = coil.needle_interval_ms(profile.pitch_mm, profile.speed_max_m_s)
    last_ms = max(off_ms, budget.interval_ms) * 1.15
    cold, worst = (_pulse(budget, drive, off_ms, last_ms) for drive in (budget.cold, budget.worst))
    top_a = 1.12 * max(max(current for _, current in cold), electrical.pull_in_a)

    panel = _panel("Coil current against the needle's time slot", last_ms, top_a)
    plot = panel.plot
    _column(panel, advance_ms, off_ms, top_a, _GREY)
    _interval(panel, 33, budget.interval_ms, "at this pace")
    _interval(panel, 57, fastest_ms, "at the highest speed")
    pull_y = panel.y(electrical.pull_in_a)
    plot.stroke([(panel.x(0), pull_y), (panel.x(last_ms), pull_y)], INK, 1.4, _DOTS)
    for pulse, dash in ((cold, ()), (worst, _LONG_DASH)):
        plot.stroke([(panel.x(time_ms), panel.y(current_a)) for time_ms, current_a in pulse], INK, 1.8, dash)
    panel.axes("ms after switching on", "A", _ticks(last_ms), _ticks(top_a))
    _key(plot, 0, "cold, full supply")
    _key(plot, 1, "hot, low supply", _LONG_DASH)
    _key(plot, 2, "pull-in current", _DOTS)
    _key(plot, 3, "needle at the selector", fill=_GREY)
    return plot.svg().decode()


def _interval(panel: Panel, y: float, interval_ms: float, words: str) -> None:
    """A dimension line above the axes, its words beside it, or on it where they would leave the page."""
    words = f"needle interval {words}: {interval_ms:.1f} ms"
    start, end = panel.x(0), panel.x(interval_ms)
    for x in (start, end):
        panel.plot.stroke([(x, y + 3), (x, y + 9)], INK, 1.4)
    panel.plot.stroke([(start, y + 6), (end, y + 6)], INK, 1.4)
    beside = end + 6 + 6.8 * len(words) < _WIDTH
    panel.plot.words(end + 6 if beside else start, y + (10 if beside else 0), words)


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
    panel = _panel("How long each selector is on", count, top)
    for one in budget.selectors:
        middle = one.selector + 0.5
        _column(panel, middle - 0.36, middle + 0.36, 100 * one.duty_pass, _GREY)
        _column(panel, middle - 0.16, middle + 0.16, 100 * one.duty, INK)
        panel.plot.words(panel.x(middle), panel.floor + 20, str(one.selector), "middle")
    panel.axes("selector", "% of the time", (), _ticks(top))
    _key(panel.plot, 0, "busiest pass", fill=_GREY)
    _key(panel.plot, 1, "whole piece", fill=INK)
    return panel.plot.svg().decode()
