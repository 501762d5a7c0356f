"""The picture of a session: pace through the piece, evenness across the bed, and where the limit came near."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

import numpy as np

from latchline.drawing.panel import Panel, round_steps
from latchline.drawing.plot import DASHED, INK, PALE, Plot
from latchline.drawing.scene import Point
from latchline.timing.listing import clock
from latchline.timing.passes import NEAR_LIMIT, Floats, PassTiming
from latchline.timing.statistics import BREAK_S

WIDTH, PANEL, GAP, TOP, LEFT, RIGHT = 900, 220, 106, 64, 64, 24
BREAK_WORDS = 96  # room for the words at a break
HALTS_HIGH = 40  # of a column on whose every pass the carriage halted
COLUMNS_MOST = 400  # passes are drawn together, at their worst, where there are more
LEFTWARD, RIGHTWARD = "#1f5fa8", "#b0501a"
PALE_LEFTWARD, PALE_RIGHTWARD = "#d3e0ee", "#f0dccd"


def _panel(plot: Plot, place: int, title: str, x_range: Point, y_range: Point) -> Panel:
    """One of the three boxes, from the top."""
    top = TOP + place * (PANEL + GAP)
    plot.words(LEFT, top - 12, title, bold=True)
    return Panel(plot, LEFT, top, WIDTH - RIGHT, top + PANEL, x_range, y_range)


def _key(panel: Panel, entries: Sequence[tuple[str, str]]) -> None:
    """Colour and meaning of each line, from the left under the axis."""
    x = float(LEFT)
    for colour, text in entries:
        panel.plot.box(x, panel.floor + 46, x + 22, panel.floor + 56, colour)
        panel.plot.words(x + 28, panel.floor + 56, text)
        x += 60 + 7.2 * len(text)


def picture(timings: Sequence[PassTiming], title: str, beside: Sequence[PassTiming] = ()) -> Plot:
    """Of one pass or more. beside: of a session whose picture stands beside this one; both have one scale."""
    canvas = Plot(WIDTH, TOP + 3 * (PANEL + GAP) - 30, title)
    canvas.words(LEFT, 24, title, bold=True)
    _pace(canvas, timings, beside)
    _across(canvas, timings, beside)
    _limit(canvas, timings, beside)
    return canvas


def _paces(timings: Sequence[PassTiming]) -> Floats:
    return np.array([60 / t.cycle_s if t.cycle_s and (t.pause_s or 0) < BREAK_S else np.nan for t in timings])


def _highest(paces: Floats) -> float:
    known = paces[~np.isnan(paces)]
    if not len(known):
        return 0.0
    return float(known.max() if len(paces) <= COLUMNS_MOST else np.percentile(known, 99))


def _pace(canvas: Plot, timings: Sequence[PassTiming], beside: Sequence[PassTiming]) -> None:
    """Rows a minute of each pass, its turn included; a break is a gap with its length.

    Of more passes than can be told apart, the quantiles of as many together as share a column.
    """
    paces = _paces(timings)
    known = paces[~np.isnan(paces)]
    together = ceil(len(timings) / COLUMNS_MOST)
    highest = max(_highest(paces), _highest(_paces(beside))) or 1.0
    y_ticks = round_steps(0, highest * 1.12)
    panel = _panel(canvas, 0, "Pace through the piece", (0.5, len(timings) + 0.5), (0, y_ticks[-1]))
    if together == 1:
        _each_pass(panel, paces)
    else:
        _quantiles(panel, paces, together)
    _breaks(panel, timings)
    if len(known):
        middle = panel.y(float(np.median(known)))
        canvas.stroke([(panel.x(0.5), middle), (panel.x(len(timings) + 0.5), middle)], INK, 1, DASHED)
    panel.axes("passes, in the order knitted", "rows a minute", _pass_ticks(timings), y_ticks)
    _halts(panel, timings, together)
    several = [(LEFTWARD, f"the middle of {together} passes"), (PALE_LEFTWARD, "eight in ten of them")]
    several += [(INK, "of all (dashed)"), (RIGHTWARD, "share with a halt")]
    each = [(LEFTWARD, "a pass with the turn before it"), (INK, "the middle one (dashed)")]
    each += [(RIGHTWARD, "stopped or backed up on the way")]
    _key(panel, each if together == 1 else several)


def _each_pass(panel: Panel, paces: Floats) -> None:
    stretch: list[Point] = []
    for place, pace in enumerate([*paces.tolist(), np.nan], 1):
        if np.isnan(pace):
            _line(panel.plot, stretch)
            stretch = []
        else:
            stretch.append((panel.x(place), panel.y(pace)))


def _quantiles(panel: Panel, paces: Floats, together: int) -> None:
    """Eight in ten of each column's passes as a band, the middle one as a line."""
    columns = [paces[at : at + together] for at in range(0, len(paces), together)]
    found = [
        (panel.x(0.5 + n * together + len(some) / 2), *np.percentile(some[~np.isnan(some)], [10, 50, 90]).tolist())
        for n, some in enumerate(columns)
        if not np.isnan(some).all()
    ]
    top = panel.y_range[1]
    there = [(x, panel.y(low)) for x, low, _, _ in found]
    back = [(x, panel.y(min(high, top))) for x, _, _, high in found]
    panel.plot.area([*there, *reversed(back)], PALE_LEFTWARD)
    _line(panel.plot, [(x, panel.y(middle)) for x, _, middle, _ in found])


def _breaks(panel: Panel, timings: Sequence[PassTiming]) -> None:
    """A line at each break; in words the longest ones, as far as they do not stand over one another."""
    breaks = [(t.pause_s, place) for place, t in enumerate(timings, 1) if (t.pause_s or 0) >= BREAK_S and t.pause_s]
    named: list[float] = []
    for pause_s, place in sorted(breaks, reverse=True):
        x = panel.x(place)
        panel.plot.stroke([(x, panel.top), (x, panel.floor)], PALE, 1, DASHED)
        if all(abs(x - other) > BREAK_WORDS for other in named):
            panel.plot.words(x + 4, panel.top + 12, f"break {clock(pause_s)}")
            named.append(x)


def _halts(panel: Panel, timings: Sequence[PassTiming], together: int) -> None:
    """Passes on which the carriage stopped or backed up: a mark each, or by column as high as their share."""
    halted = np.array([bool(t.hesitations or t.backings) for t in timings])
    if together == 1:
        for x in (panel.x(place + 1) for place in np.flatnonzero(halted).tolist()):
            panel.plot.area([(x, panel.floor - 10), (x + 5, panel.floor), (x - 5, panel.floor)], RIGHTWARD)
        return
    for at in range(0, len(halted), together):
        some = halted[at : at + together]
        if some.any():
            left, right = panel.x(at + 0.5), panel.x(at + 0.5 + len(some))
            panel.plot.box(left, panel.floor - HALTS_HIGH * float(some.mean()), right, panel.floor, RIGHTWARD)


def _line(canvas: Plot, points: Sequence[Point]) -> None:
    if len(points) == 1:
        (x, y) = points[0]
        canvas.box(x - 2, y - 2, x + 2, y + 2, LEFTWARD)
    elif points:
        canvas.stroke(points, LEFTWARD, 1.4)


def _quartiles(timings: Sequence[PassTiming]) -> dict[str, Floats]:
    groups = {
        way: np.array([t.bed_m_s for t in timings if t.rightward == rightward])
        for way, rightward in (("leftward", False), ("rightward", True))
    }
    return {way: np.percentile(some, [25, 50, 75], axis=0) for way, some in groups.items() if len(some)}


def _across(canvas: Plot, timings: Sequence[PassTiming], beside: Sequence[PassTiming]) -> None:
    """Speed in each tenth of the bed, the two directions apart: the middle pass, and half of all passes about it."""
    quartiles = _quartiles(timings)
    both = [*quartiles.values(), *_quartiles(beside).values()]
    y_ticks = round_steps(0, 1.1 * max(float(some.max()) for some in both))
    panel = _panel(canvas, 1, "Evenness across the bed", (0, 10), (0, y_ticks[-1]))
    colours = {"leftward": (LEFTWARD, PALE_LEFTWARD), "rightward": (RIGHTWARD, PALE_RIGHTWARD)}
    for way, (low, _, high) in quartiles.items():
        there = [(panel.x(n + 0.5), panel.y(value)) for n, value in enumerate(low.tolist())]
        back = [(panel.x(n + 0.5), panel.y(value)) for n, value in enumerate(high.tolist())]
        canvas.area([*there, *reversed(back)], colours[way][1])
    for way, (_, middle, _) in quartiles.items():
        points = [(panel.x(n + 0.5), panel.y(value)) for n, value in enumerate(middle.tolist())]
        canvas.stroke(points, colours[way][0], 2)
    panel.axes("tenths of the way between the turns, from your left", "m/s", range(11), y_ticks)
    _key(
        panel,
        [(colours[way][shade], words) for way in quartiles for shade, words in ((0, way), (1, "half of its passes"))],
    )


def _limit(canvas: Plot, timings: Sequence[PassTiming], beside: Sequence[PassTiming]) -> None:
    """Each tenth of each pass as a share of the highest speed, light to dark, and the peak of each pass as a line."""
    peaks = np.array([t.limit for t in timings])
    # The speed of a tenth as a share of the limit; its peak may be higher than its mean.
    shares = np.array([np.array(t.bed_m_s) * (t.limit / t.fastest_m_s) for t in timings])
    together = ceil(len(timings) / COLUMNS_MOST)
    worst = _grouped(shares, together)
    panel = _panel(
        canvas,
        2,
        "Where selections came near their limit",
        (0.5, len(timings) + 0.5),
        (0, max(1.05, peaks.max() * 1.05, *(t.limit * 1.05 for t in beside))),
    )
    tall = PANEL / 10
    for column, tenths in enumerate(worst.tolist()):
        left, right = (panel.x(0.5 + min(edge, len(timings))) for edge in (column * together, (column + 1) * together))
        for place, share in enumerate(tenths):
            if share >= 0.1:
                grey = round(255 - 120 * min(1.0, share))
                top = panel.floor - (place + 1) * tall
                canvas.box(left, top, right, top + tall, f"#{grey:02x}{grey:02x}{grey:02x}")
    for share, words in ((NEAR_LIMIT, f"near: {NEAR_LIMIT:.0%}"), (1.0, "the board stops")):
        canvas.stroke([(LEFT, panel.y(share)), (WIDTH - RIGHT, panel.y(share))], INK, 1, DASHED)
        canvas.words(WIDTH - RIGHT - 4, panel.y(share) - 4, words, "end")
    for place, peak in enumerate(_grouped(peaks[:, None], together)[:, 0].tolist()):
        x = panel.x(0.5 + min((place + 0.5) * together, len(timings)))
        colour = RIGHTWARD if peak >= NEAR_LIMIT else LEFTWARD
        canvas.box(x - 2, panel.y(peak) - 2, x + 2, panel.y(peak) + 2, colour)
    ticks = [0, 0.2, 0.4, 0.6, 0.8, 1.0]
    panel.axes("passes, in the order knitted", "share of the highest speed", _pass_ticks(timings), ticks)
    entries = [(LEFTWARD, "fastest edge of a pass"), (RIGHTWARD, "the same, near the limit")]
    _key(panel, [*entries, ("#8f8f8f", "tenths of the bed, your left lowest: darker is faster")])


def _grouped(values: Floats, together: int) -> Floats:
    """The highest of each `together` rows."""
    rows = ceil(len(values) / together)
    return np.array([values[n * together : (n + 1) * together].max(axis=0) for n in range(rows)])


def _pass_ticks(timings: Sequence[PassTiming]) -> list[float]:
    return [value for value in round_steps(0, len(timings)) if 1 <= value <= len(timings) and value == int(value)]
