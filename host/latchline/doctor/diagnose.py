"""What is wrong, told from what was observed. Pure: `doctor_walk` observes, `cli/doctor` prints.

Whatever explains the rest comes first and keeps it from being named: with one encoder channel dead,
say, there is no sense in the distance between the end sensors.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from latchline.counted import counted, times
from latchline.doctor.ailments import AILMENTS, Ailment
from latchline.doctor.observed import LEFT, REST, RIGHT, Observed, Stretch, Try
from latchline.errors import LatchlineError, Silent, WrongVersion
from latchline.link.faults import FaultNumber
from latchline.link.messages import PROTOCOL, BoardInfo
from latchline.machine import sense
from latchline.machine.electrical import read_electrical
from latchline.machine.profile import Profile
from latchline.machine.sense import STANDING_COUNTS
from latchline.sim.face import PIN_A, PIN_B, PIN_LEFT, PIN_RIGHT

BAD_LINE = ("line-stalls", "bytes-lost")
FOLLOWS_FROM_BAD_LINE = ("rate-off", "not-probed")
FEW_EDGES = 20  # fewer than these are a tremble, not a walk
AT_SPEED_EDGES = 4  # net edges between two samples from which the carriage was on its way
BOUNCES = 2  # reversals and back while on its way, by which a bounce is told from a hand
RATE_LIMIT = 0.015  # a line takes 2 % between both ends; a crystal or resonator is within 0.5 %
LATE_ANSWERS = 2  # one may be the computer's own hiccup
SAG = 0.1  # share of the supply that may be lost with one coil on
OPEN, SHORT = 0.3, 2.0  # of the current that a coil should draw
ALIKE = 0.25  # share by which coils of one make may differ from their middle one
OTHER_MAKE = 1.5  # times the profile's current, or a part of it, from which coils alike are another make
FEW_COILS = 3  # fewer than these tell nothing of what is usual among them
FULL_COUNTS = 1000  # the converter's end, whatever the coil
HIGH_SHARE = 1.15  # of the highest supply: at USB's lowest, 4.4 V, the board reads 1.14 times too much
COIL_FAULTS = (FaultNumber.SUPPLY_LOW, FaultNumber.CURRENT_HIGH)  # that end a try
SUPPLY_COUNTS = 25  # below this there is no supply: 0.9 V of 38 V


@dataclass(frozen=True)
class Diagnosis:
    """One fault found. name: its key in AILMENTS. detail: figures, or which coil."""

    name: str
    detail: str = ""
    figures: Mapping[str, float | str] = field(default_factory=dict)

    @property
    def ailment(self) -> Ailment:
        return AILMENTS[self.name]


def diagnose(seen: Observed, profile: Profile, others: Sequence[Profile] = ()) -> list[Diagnosis]:
    """All faults that can be told, root causes first; empty for a healthy machine.

    others: profiles that this bed may have instead. Over a line that loses or delays answers, what rests on
    when they came, or that they came at all, is the line's doing and is not told.
    """
    line = _line(seen)
    found = [*line, *_sensors(seen, profile, others), *_coils(seen, profile)]
    bad_line = any(one.name in BAD_LINE for one in line)
    return [one for one in found if not (bad_line and one.name in FOLLOWS_FROM_BAD_LINE)]


def of_error(error: LatchlineError, info: BoardInfo | None = None) -> Diagnosis | None:
    """What an error of opening, greeting or setting up means, or None when it is none of the doctor's.

    info: what a board of another version answered.
    """
    if isinstance(error, WrongVersion) and info is not None:
        return Diagnosis("old-firmware" if info.protocol < PROTOCOL else "new-firmware", error.what)
    if error.name in AILMENTS:
        return Diagnosis(error.name, error.sentence())
    return Diagnosis("silent", error.what) if isinstance(error, Silent) else None


# ---- the line ---------------------------------------------------------------------------------


def _line_delays(seen: Observed) -> bool:
    return seen.unanswered >= LATE_ANSWERS


def _line(seen: Observed) -> list[Diagnosis]:
    found = []
    if seen.restarts:
        found.append(Diagnosis("board-restarts", "while the doctor watched"))
    if not seen.bad_frames and _line_delays(seen):
        found.append(Diagnosis("line-stalls", f"{seen.unanswered} of {seen.asked} questions had to be repeated"))
    if seen.bad_frames:
        detail = f"{seen.bad_frames} damaged frames, {seen.unanswered} of {seen.asked} questions had to be repeated"
        found.append(Diagnosis("bytes-lost", detail))
    if seen.clock_error is not None and abs(seen.clock_error) > RATE_LIMIT:
        found.append(Diagnosis("rate-off", f"{seen.clock_error:+.1%} against the computer's"))
    return found


# ---- encoder and end sensors ------------------------------------------------------------------


def _sensors(seen: Observed, profile: Profile, others: Sequence[Profile]) -> list[Diagnosis]:
    if not seen.walk:
        return []
    walk = [stretch for stretch in seen.walk if stretch.wanted != REST]
    for look in (_no_edges, _dead_channel, _at_rest, _stuck, _bouncing, _too_fast, _at_once, _swapped, _never):
        if found := look(seen, walk, profile):
            return found
    return [*_sensor_bounces(walk), *_distance(seen, walk, profile, others)]


def _no_edges(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    edges = sum(stretch.gained("edges") for stretch in walk)
    return [Diagnosis("no-edges", f"{counted(edges, 'edge')} in the whole walk")] if edges < FEW_EDGES else []


def _dead_channel(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    """With one channel dead, the other one takes the count to and fro: every edge is a reversal."""
    edges, turns = (sum(stretch.gained(counter) for stretch in walk) for counter in ("edges", "reversals"))
    for name, pin in (("a-dead", PIN_A), ("b-dead", PIN_B)):
        levels = {sample.status.pins & pin for stretch in seen.walk for sample in stretch.samples}
        if len(levels) == 1 and turns > 0.8 * edges:
            return [Diagnosis(name, f"always {'high' if levels.pop() else 'low'} while {counted(edges, 'edge')} came")]
    return []


def _at_rest(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    edges = sum(stretch.gained("edges") for stretch in seen.walk if stretch.wanted == REST)
    return [Diagnosis("edges-at-rest", counted(edges, "edge"))] if edges > FEW_EDGES else []


def _always(walk: Sequence[Stretch], pin: int, on: bool) -> bool:
    return all(bool(sample.status.pins & pin) != on for stretch in walk for sample in stretch.samples)


def _stuck(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    ends = (("left-stuck", PIN_LEFT), ("right-stuck", PIN_RIGHT))
    return [Diagnosis(name) for name, pin in ends if _always(seen.walk, pin, on=True)]


def _bouncing(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    turns = sum(turned for stretch in walk for net, _, turned in stretch.steps if abs(net) >= AT_SPEED_EDGES)
    bounces = turns // 2
    return [Diagnosis("encoder-bounces", f"{times(bounces)} on the way")] if bounces >= BOUNCES else []


def _too_fast(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    found = sum(fault.fault == FaultNumber.EDGES_TOO_FAST for stretch in walk for fault in stretch.faults)
    return [Diagnosis("edges-too-fast", f"{times(found)} in the walk")] if found else []


def _at_once(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    found = sum(stretch.gained("impossible") for stretch in walk)
    return [Diagnosis("both-at-once", f"{times(found)} in the walk")] if found else []


def _swapped(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    """Which way the count went and which sensor came on, against where the carriage was to go."""
    moved = [stretch for stretch in walk if stretch.gained("edges") >= FEW_EDGES]
    wrong_way = bool(moved) and all((stretch.net_edges > 0) == (stretch.wanted == LEFT) for stretch in moved)
    other = {LEFT: PIN_RIGHT, RIGHT: PIN_LEFT}
    wrong_end = all(stretch.on_at_end(other[stretch.wanted]) for stretch in moved)
    name = {(True, True): "mirrored", (True, False): "channels-swapped", (False, True): "ends-swapped"}
    return [Diagnosis(name[wrong_way, wrong_end])] if wrong_way or wrong_end else []


def _never(seen: Observed, walk: Sequence[Stretch], profile: Profile) -> list[Diagnosis]:
    never = [
        name for name, pin in (("left-never", PIN_LEFT), ("right-never", PIN_RIGHT)) if _always(walk, pin, on=False)
    ]
    furthest = max(abs(stretch.net_edges) for stretch in walk)
    whole = profile.right_sensor_edge - profile.left_sensor_edge
    if len(never) == 2 and furthest < 0.5 * whole:
        return [Diagnosis("short-walk", f"{counted(furthest, 'edge')}, where {whole} lie between the sensors")]
    return [Diagnosis(name) for name in never]


def _sensor_bounces(walk: Sequence[Stretch]) -> list[Diagnosis]:
    found = []
    for name, counter in (("left-bounces", "left_on"), ("right-bounces", "right_on")):
        often = max(stretch.gained(counter) for stretch in walk)
        if often >= 3:
            found.append(Diagnosis(name, f"{times(often)} in one go"))
    return found


def _distance(seen: Observed, walk: Sequence[Stretch], profile: Profile, others: Sequence[Profile]) -> list[Diagnosis]:
    """Edges counted from one end sensor to the other, against the profile."""
    whole = profile.right_sensor_edge - profile.left_sensor_edge
    counted = _counted(walk, whole, profile.tolerance_edges, by_samples=not _line_delays(seen))
    if counted is None:
        return []
    figures: dict[str, float | str] = {"counted": counted, "expected": whole}
    near = 0.01 * whole
    per_needle = {
        edges: whole * edges / profile.edges_per_needle for edges in range(1, 17) if edges != profile.edges_per_needle
    }
    beds = {
        other.name: other.right_sensor_edge - other.left_sensor_edge for other in others if other.name != profile.name
    }
    # Power-of-two counts are what encoders give; others are more likely to be another bed.
    edges = min(per_needle, key=lambda number: abs(per_needle[number] - counted))
    bed = min(beds, key=lambda name: abs(beds[name] - counted), default="")
    detail = f"{counted} edges between the end sensors, where the profile has {whole}"
    edges_miss = abs(per_needle[edges] - counted)
    bed_miss = abs(beds[bed] - counted) if bed else float("inf")
    usual = edges in (1, 2, 4, 8, 16)
    if edges_miss <= near * edges / profile.edges_per_needle and (edges_miss <= bed_miss if usual else bed_miss > near):
        return [Diagnosis("edges-per-needle", f"{edges}; {detail}", {**figures, "edges_per_needle": edges})]
    if bed_miss <= near:
        return [Diagnosis("other-profile", f"{bed}; {detail}", {**figures, "profile": bed})]
    return [Diagnosis("edges-off", detail, figures)]


def _counted(walk: Sequence[Stretch], whole: int, tolerance: int, *, by_samples: bool) -> int | None:
    """Edges between the end sensors where they differ from `whole` by more than the tolerance, else None.

    The board says by how much its count was off where a sensor came on too soon (fault 2), unless it was lost before.
    Where one came on too late it says no more than that (fault 16); then the samples tell, if they came in time.
    """
    for stretch in walk:
        for fault in stretch.faults:
            if fault.fault == FaultNumber.SENSOR_DISAGREES:
                off = fault.detail - 0x10000 if fault.detail >= 0x8000 else fault.detail
                return whole + (off if stretch.wanted == RIGHT else -off)
            if fault.fault == FaultNumber.SENSOR_SILENT and not stretch.samples[-1].status.pins & _to_pin(
                stretch
            ):  # it did come on, later
                between, within = _between(stretch) if by_samples else (0, 0)
                return max(whole + tolerance + 1, between if within else 0)
    for stretch in walk if by_samples else ():
        between, within = _between(stretch)
        if within and abs(between - whole) > max(0.04 * whole, within + tolerance):
            return between
    return None


def _to_pin(stretch: Stretch) -> int:
    """The end sensor that the carriage is to reach."""
    return PIN_RIGHT if stretch.wanted == RIGHT else PIN_LEFT


def _between(stretch: Stretch) -> tuple[int, int]:
    """Net edges from leaving one end sensor to reaching the other, and how far that may be off (0: unknown)."""
    to_pin = _to_pin(stretch)
    from_pin = PIN_LEFT + PIN_RIGHT - to_pin
    pins = [sample.status.pins for sample in stretch.samples]
    if pins[0] & from_pin or pins[-1] & to_pin:
        return 0, 0
    leaving = max(index for index, levels in enumerate(pins) if not levels & from_pin)
    arriving = min(index for index, levels in enumerate(pins) if not levels & to_pin)
    steps = stretch.steps
    unsure = sum(edges for net, edges, _ in steps[leaving:arriving] if abs(net) < edges // 2)
    return abs(sum(net for net, _, _ in steps[leaving:arriving])), 8 + unsure + steps[leaving][1] + steps[arriving - 1][
        1
    ]


# ---- coils ------------------------------------------------------------------------------------


def of_supply(tries: Sequence[Try], profile: Profile) -> list[Diagnosis]:
    """What is wrong with the coils' supply, or flows with no coil on, so that nothing can be said of any one coil."""
    if not tries:
        return []
    idle = tries[0].idle
    if idle.supply < SUPPLY_COUNTS:
        return [Diagnosis("no-supply", f"{sense.supply_v(idle.supply):.1f} V")]
    if other := _other_supply(idle.supply, profile):
        return other
    if idle.current > STANDING_COUNTS:
        return [Diagnosis("current-when-off", f"{sense.current_a(idle.current):.2f} A")]
    refused = sum(one.probed is None and one.fault not in COIL_FAULTS for one in tries)
    if refused:
        return [Diagnosis("not-probed", f"{refused} of {len(tries)}")]
    return _supply(tries)


def _coils(seen: Observed, profile: Profile) -> list[Diagnosis]:
    if not seen.tries:
        return []
    weak = of_supply(seen.tries, profile)
    if weak and weak[0].name != "supply-sags":
        return weak
    drawn = {one.selector: one.drawn for one in seen.tries if one.probed is not None}
    sagged = [one.selector for one in seen.tries if one.fault == FaultNumber.SUPPLY_LOW]
    shorted = [one.selector for one in seen.tries if one.fault == FaultNumber.CURRENT_HIGH]
    if drawn and not shorted and max(drawn.values()) <= STANDING_COUNTS:
        return [Diagnosis("no-coil-current")]
    shorted += sagged if len(drawn) > len(sagged) else []
    # a supply that sags drives no coil as it should
    expected = None if weak else sense.coil_counts(profile, seen.tries[0].idle.supply)
    return [*weak, *_each_coil(drawn, shorted, expected)]


def _other_supply(counts: int, profile: Profile) -> list[Diagnosis]:
    """A supply that is far from the profile's with no coil on; of a profile without [electrical] nothing is known."""
    if not profile.electrical:
        return []
    electrical = read_electrical(profile)
    volts = sense.supply_v(counts) * electrical.board_v / 5.0
    words = f"{volts:.1f} V with no coil on, where the profile has {electrical.supply_v:g} V"
    if volts > electrical.high_v * HIGH_SHARE:
        return [Diagnosis("supply-high", words)]
    return [Diagnosis("supply-low", words)] if counts < sense.watch_limits(profile)[0] else []


def _supply(tries: Sequence[Try]) -> list[Diagnosis]:
    """A sag with most coils is the supply's fault; with one of them it is the coil's."""
    losses = sorted(one.sag for one in tries if one.probed is not None)
    if sum(one.fault == FaultNumber.SUPPLY_LOW for one in tries) >= len(tries) / 2:
        return [Diagnosis("supply-sags", "below its lowest value with one coil on")]
    if losses and median(losses) > SAG:
        return [Diagnosis("supply-sags", f"by {median(losses):.0%} with one coil on")]
    return []


def _each_coil(drawn: Mapping[int, int], shorted: Sequence[int], expected: float | None) -> list[Diagnosis]:
    """Each coil against what the profile expects, or against the middle one of those that draw.

    Coils that are not fitted draw nothing and say nothing of the others. Coils that are alike among
    themselves and not as the profile says are another make, which is one finding and not many.
    """
    alive = [counts for counts in drawn.values() if counts > STANDING_COUNTS]
    middle = median(alive) if len(alive) >= FEW_COILS else None
    found, against, usual = [], "as the profile has it", expected
    if middle is not None and (expected is None or _another_make(alive, middle, expected)):
        against, usual = "the middle one of those that draw", middle
        if expected is not None:
            words = f"{_amperes(middle)} each, where the profile's coil would draw {_amperes(expected)}"
            found.append(Diagnosis("other-coils", words))
    short = {coil: f"selector {coil}: the board switched it off" for coil in shorted}
    opened = {}
    for coil, counts in drawn.items():
        words = f"selector {coil}: {_amperes(counts)}" + (f", {against} {_amperes(usual)}" if usual else "")
        if counts >= FULL_COUNTS or (usual is not None and counts > SHORT * usual):
            short[coil] = words
        elif counts <= STANDING_COUNTS or (usual is not None and counts < OPEN * usual):
            opened[coil] = words
    return found + [
        Diagnosis(name, detail, {"selector": coil})
        for name, coils in (("coil-short", short), ("coil-open", opened))
        for coil, detail in sorted(coils.items())
    ]


def _another_make(alive: Sequence[int], middle: float, expected: float) -> bool:
    alike = [counts for counts in alive if abs(counts - middle) <= ALIKE * middle + 1]
    off = max(middle / expected, expected / middle)
    return off > OTHER_MAKE and len(alike) > len(alive) / 2 and len(alike) >= FEW_COILS


def _amperes(counts: float) -> str:
    return f"{sense.current_a(round(counts)):.2f} A"
