"""How each pass went, worked out from the board's reports (docs/protocol.md, section 9).

The board counts ticks of 4 µs in 32 bits, which wrap after 4.77 h and begin anew at each of its
starts. `time_passes` lays them on the host's clock with the help of the times at which the reports
arrived; a report may arrive late, never early. Everything within a pass comes from the board alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from latchline.link.messages import TICK_US, Done
from latchline.machine.needles import Span
from latchline.machine.profile import Profile

TICK_S = TICK_US / 1e6
WRAP_S = 2**32 * TICK_S
LATE_MOST_S = 120.0  # a board stops knitting long before its host has been silent for that long
TENTH_S = 64 * TICK_S  # the unit in which a tenth is reported, rounded down
TENTH_MOST = 65535  # 16.8 s: a tenth that took longer says no more than that
NEAR_LIMIT = 0.8  # share of the highest speed from which a pass is called near its limit; our choice

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PassRecord:
    """A pass as the journal keeps it.

    arrived_s: when its report came, on the host's clock (seconds since 1970). boots: the board's
    count of its starts, by which a restart between two passes is known.
    """

    report: Done
    arrived_s: float
    boots: int = 0


@dataclass(frozen=True)
class PassTiming:
    """One pass of the carriage.

    start_s, end_s: on the host's clock, seconds since 1970. tenth_s: in the pass's own direction;
    each is within 128 µs. at_least: a tenth took longer than can be reported, so that duration and
    end are lower bounds and its speed an upper one. tenth_m_s: progress of each tenth over its time.
    speed_m_s: the whole way over the whole time. fastest_m_s: from the shortest edge interval.
    unevenness: the coefficient of variation of tenth_m_s (deviation over mean, of all ten).
    hesitations: stops of more than 0.1 s that were no reversals. backings, backed_needles: times
    that the carriage backed up, and how far at most. overrun_needles: how far past the last working
    needle it was when it turned before this pass. missed_edges: what the last end sensor passed
    found missing; below 0 there were too many. pause_s: since the end of the pass before; None
    for the first. limit: highest speed as a share of the one at which the board stops.
    again: this pass number had been knitted before and was undone.
    """

    number: int
    rightward: bool
    start_s: float
    end_s: float
    tenth_s: tuple[float, ...]
    tenth_m_s: tuple[float, ...]
    at_least: bool
    speed_m_s: float
    fastest_m_s: float
    unevenness: float
    hesitations: int
    backings: int
    backed_needles: float
    overrun_needles: float
    missed_edges: int
    pause_s: float | None
    limit: float
    again: bool = False

    @property
    def direction(self) -> str:
        return "rightward" if self.rightward else "leftward"

    @property
    def duration_s(self) -> float:
        return sum(self.tenth_s)

    @property
    def cycle_s(self) -> float | None:
        """Pause and pass together; None for the first pass."""
        return None if self.pause_s is None else self.pause_s + self.duration_s

    @property
    def bed_m_s(self) -> tuple[float, ...]:
        """`tenth_m_s` from the operator's left to the right, whichever way the pass went."""
        return self.tenth_m_s if self.rightward else self.tenth_m_s[::-1]

    @property
    def near_limit(self) -> bool:
        return self.limit >= NEAR_LIMIT


def time_passes(records: Sequence[PassRecord], profile: Profile, span: Span | Sequence[Span]) -> list[PassTiming]:
    """The passes in the order in which they were knitted, as `records` has them.

    span: the needles between the lines at which they were counted, of all of them or of each.
    """
    spans = [span] * len(records) if isinstance(span, Span) else span
    starts = _starts(records)
    timings: list[PassTiming] = []
    seen: set[int] = set()
    for record, start_s, over in zip(records, starts, spans, strict=True):
        timing = time_pass(record.report, start_s, profile, over)
        pause_s = max(0.0, start_s - timings[-1].end_s) if timings else None
        timings.append(replace(timing, pause_s=pause_s, again=timing.number in seen))
        seen.add(timing.number)
    return timings


def time_pass(report: Done, start_s: float, profile: Profile, span: Span) -> PassTiming:
    """One pass by itself; `pause_s` and `again` are not known from it."""
    rightward = bool(report.direction)
    tenths = tenth_times(report)
    metres = tenth_edges(profile, span) * profile.edge_mm / 1000
    speeds = metres / tenths
    sign = 1 if rightward else -1
    end_needle = span.first if rightward else span.last
    return PassTiming(
        number=report.pass_number,
        rightward=rightward,
        start_s=start_s,
        end_s=start_s + float(tenths.sum()),
        tenth_s=tuple(tenths.tolist()),
        tenth_m_s=tuple(speeds.tolist()),
        at_least=TENTH_MOST in report.tenth_units,
        speed_m_s=float(metres.sum() / tenths.sum()),
        fastest_m_s=profile.edge_mm / 1000 / (max(1, report.shortest) * TICK_S),
        unevenness=variation(speeds),
        # Each backing up is two reversals, and the board counts a reversal as a stop.
        hesitations=max(0, report.stops - 2 * report.backings),
        backings=report.backings,
        backed_needles=report.backed / profile.edges_per_needle,
        overrun_needles=sign * (end_needle - report.furthest / profile.edges_per_needle),
        missed_edges=sign * report.correction,
        pause_s=None,
        limit=limit_interval_ticks(profile) / max(1, report.shortest),
    )


def tenth_times(report: Done) -> Floats:
    """The ten times in seconds. They were rounded down, so half a unit is given back to each."""
    return (np.array(report.tenth_units, dtype=np.float64) + 0.5) * TENTH_S


def tenth_edges(profile: Profile, span: Span) -> Floats:
    """Edges travelled in each tenth, in the pass's direction.

    A pass begins one edge past its start line, so the first tenth is one edge shorter.
    """
    left, right = profile.turn_lines(span)
    lines = np.arange(11) * (right - left) // 10
    lines[0] = 1
    return np.maximum(np.diff(lines), 1).astype(np.float64)


def limit_interval_ticks(profile: Profile) -> float:
    """The edge interval at and below which the board says that the carriage is too fast (section 7)."""
    return profile.advance_us / TICK_US / profile.advance_max_edges


def variation(values: Floats) -> float:
    """Coefficient of variation: the deviation of all the values over their mean."""
    return float(values.std() / values.mean())


def _starts(records: Sequence[PassRecord]) -> list[float]:
    """When each pass began, on the host's clock."""
    starts: list[float] = []
    for some in _by_clock(records):
        reports = [record.report for record in some]
        lengths = np.array([tenth_times(report).sum() for report in reports])
        arrived = np.array([record.arrived_s for record in some])
        begun = unwrapped([report.start for report in reports], arrived - lengths)
        # The report that was least delayed tells best how the two clocks stand to each other.
        starts += (begun + (arrived - lengths - begun).min()).tolist()
    return starts


def _by_clock(records: Sequence[PassRecord]) -> list[list[PassRecord]]:
    """The passes in order, apart for each clock: a board begins to count anew when it starts, or is another board.

    Two boards may have had the same number of starts. Then the count goes back, and a wrap would
    have taken longer than the reports are apart.
    """
    groups: list[list[PassRecord]] = []
    for record in records:
        before = groups[-1][-1] if groups else None
        if before is None or record.boots != before.boots or _began_anew(before, record):
            groups.append([])
        groups[-1].append(record)
    return groups


def _began_anew(before: PassRecord, record: PassRecord) -> bool:
    back_s = (before.report.start - record.report.start) * TICK_S
    return back_s > 0 and WRAP_S - back_s > record.arrived_s - before.arrived_s + LATE_MOST_S


def unwrapped(ticks: Sequence[int], about_s: Floats) -> Floats:
    """Board times in seconds, without the wraps of the 32-bit count.

    about_s: the same instants on another clock, never early, now and then late. Each count gets the
    number of wraps that fits that clock best; one that would then lie after its successor arrived
    late by more than half a wrap, and is moved back.
    """
    raw = np.array(ticks, dtype=np.float64) * TICK_S
    ahead = (about_s - about_s[0]) - (raw - raw[0])
    times = raw + np.round(ahead / WRAP_S) * WRAP_S
    for index in range(len(times) - 2, -1, -1):
        late = times[index] - times[index + 1]
        if late > 0:
            times[index] -= np.ceil(late / WRAP_S) * WRAP_S
    return np.asarray(times, dtype=np.float64)
