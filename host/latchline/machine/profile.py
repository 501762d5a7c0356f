"""A machine profile: one bed, its selectors and its sensors, read from a TOML file.

`docs/reference/profile-file.md` lists every key. Four generic profiles ship in
`latchline/profiles`; anything with a path separator or ending in `.toml` is a file of the user's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from importlib import resources
from math import ceil, floor
from pathlib import Path

from latchline.counted import counted
from latchline.errors import ProfileError
from latchline.machine.needles import Span, needle_index, needle_name
from latchline.tables import Table, read_text

NEEDLES_MAX = 255  # a needle is one byte on the wire and 255 means none (docs/protocol.md)
SELECTORS_MAX = 16  # two power shift registers
DIRECTIONS = ("leftward", "rightward")
END_SENSORS = ("staying", "passing")
SECOND_CARRIAGES = ("alternates", "as-set")
LATENCY_MS = 0.1  # edge to latched output, with room to spare; the firmware tests hold it to 0.02
ADVANCE_MARGIN = 1.4  # coils differ, and grow slower as they warm
# Edges a second that a board must follow within a pass, chosen below what the emulated chip follows: 8000 with its
# line full, 9500 with it idle (docs/explanation/firmware.md).
EDGES_MAX_HZ = 7000

# What a carriage can be set to do; a profile may say how its own levers are set for each.
LEVER_SETTINGS = ("plain", "tuck", "miss", "two-colour", "inlay", "hold")


@dataclass(frozen=True)
class Selectors:
    """The electromagnets that select needles, and when they must act.

    layout `carriage`: one selector, or two of which 0 works rightward and 1 leftward.
    layout `bank`: needle n uses selector n mod count.
    lead_*_needles: how many needles past the carriage mark, in its direction of travel, the
    needle under the selector lies.
    limit_ms: the longest that a coil may be on without a break. duty_percent: the share of the time for which
    it may be on in the long run; 0 for what a row takes in which all needles need their coil, and at least half.
    """

    layout: str
    count: int
    lead_leftward_needles: float
    lead_rightward_needles: float
    pull_in_ms: float
    mechanical_ms: float
    release_ms: float
    hold_edges: int
    limit_ms: int
    active: str
    duty_percent: int = 0

    @property
    def duty_sixteenths(self) -> int:
        """As the board takes it, rounded down; 0 as for duty_percent."""
        return self.duty_percent * 16 // 100


@dataclass(frozen=True)
class Profile:
    """One machine. Distances along the bed are in needles or in encoder edges, never both.

    Edge position p has needle n's centre at p = n × edges_per_needle; rightward counts up.
    end_sensors: whether one stays on as long as the carriage is beyond it, or is on only while it passes.
    middle_needles: left and right end of the stretch, in needles from the leftmost, in which a sensor amid the
    bed is on; None without one.
    second_carriage: whether the second bed alternates its needles by itself when set to every other
    one, or knits the same ones until it is set anew.
    """

    name: str
    title: str
    needles: int
    pitch_mm: float
    centre: int
    beds: int
    second_carriage: str
    changer: str
    drive: str
    turn_clearance_needles: int
    edges_per_needle: int
    left_sensor_needles: float
    right_sensor_needles: float
    tolerance_edges: int
    backing_needles: int
    speed_max_m_s: float
    selectors: Selectors
    levers: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    electrical: Mapping[str, float | str] = field(default_factory=dict)
    source: str = ""
    end_sensors: str = "staying"
    middle_needles: tuple[float, float] | None = None

    @property
    def edge_mm(self) -> float:
        return self.pitch_mm / self.edges_per_needle

    @property
    def left_sensor_edge(self) -> int:
        """Where the left end sensor switches on, leftward: a negative position."""
        return -round(self.left_sensor_needles * self.edges_per_needle)

    @property
    def right_sensor_edge(self) -> int:
        return round((self.needles - 1 + self.right_sensor_needles) * self.edges_per_needle)

    @property
    def middle_sensor_edges(self) -> tuple[int, int] | None:
        """Where a sensor amid the bed switches on, rightward and leftward."""
        if self.middle_needles is None:
            return None
        left, right = self.middle_needles
        return round(left * self.edges_per_needle), round(right * self.edges_per_needle)

    @property
    def advance_us(self) -> int:
        """How long a selector is given to act: pull-in and mechanism, with a margin."""
        selectors = self.selectors
        act_ms = (selectors.pull_in_ms + selectors.mechanical_ms) * ADVANCE_MARGIN + LATENCY_MS
        return round(act_ms * 1000)

    @property
    def advance_max_edges(self) -> int:
        """Edges before its needle at which a selector is switched: enough at the highest carriage speed."""
        return 1 + floor(self.advance_us / (self.edge_mm / self.speed_max_m_s * 1000))

    def lead_edges(self, direction: str) -> int:
        selectors = self.selectors
        lead = selectors.lead_rightward_needles if direction == "rightward" else selectors.lead_leftward_needles
        return round(lead * self.edges_per_needle)

    def needle_name(self, index: int) -> str:
        return needle_name(index, self.centre)

    def needle_index(self, name: str) -> int:
        return needle_index(name, self.centre)

    def span(self, text: str) -> Span:
        return Span.parse(text, self.centre, self.needles)

    def centred(self, width: int) -> Span:
        return Span.centred(width, self.centre, self.needles)

    def span_name(self, span: Span) -> str:
        return span.name(self.centre)

    def needles_name(self, span: Span) -> str:
        """What a span is called; of one needle, the needle."""
        return self.needle_name(span.first) if span.width == 1 else self.span_name(span)

    def turn_lines(self, span: Span) -> tuple[int, int]:
        """Left and right edge positions between which a pass over `span` happens.

        Beyond either line no selector has anything to do in either direction, so the carriage
        may turn there.
        """
        points = [
            needle * self.edges_per_needle - sign * self.lead_edges(direction)
            for needle in (span.first, span.last)
            for direction, sign in (("rightward", 1), ("leftward", -1))
        ]
        reach = max(self.advance_max_edges, self.selectors.hold_edges) + 1
        return min(points) - reach, max(points) + reach


def shipped_profiles() -> list[str]:
    """Names of the profiles that come with the package."""
    folder = resources.files("latchline") / "profiles"
    return sorted(entry.name[:-5] for entry in folder.iterdir() if entry.name.endswith(".toml"))


def load_profile(name: str, *, beside: Path | None = None) -> Profile:
    """A shipped profile by name, or a user's by path (relative to `beside`, else to the working folder).

    Raises ProfileError, naming file, line and key.
    """
    path = _file_of(name, beside)
    file = str(path or f"{name}.toml")
    profile = parse_profile(profile_text(name, beside=beside), name=Path(file).stem, file=file)
    driver = profile.electrical.get("driver")
    if path is not None and isinstance(driver, str) and driver.endswith(".toml"):  # a file beside the profile
        return replace(profile, electrical={**profile.electrical, "driver": str(path.parent / driver)})
    return profile


def profile_text(name: str, *, beside: Path | None = None) -> str:
    """The TOML text of a profile, shipped or the user's. Raises ProfileError."""
    path = _file_of(name, beside)
    if path is not None:
        return read_text(path, ProfileError)
    if name not in shipped_profiles():
        raise ProfileError(
            f'no machine profile is called "{name}"',
            hint="shipped: " + ", ".join(shipped_profiles()) + "; a file of your own is named by its path",
        )
    return (resources.files("latchline") / "profiles" / f"{name}.toml").read_text(encoding="utf-8")


def _file_of(name: str, beside: Path | None) -> Path | None:
    """The path that a name means, or None when it is that of a shipped profile."""
    if not (name.endswith(".toml") or "/" in name or "\\" in name):
        return None
    path = Path(name)
    return beside / path if beside is not None else path  # an absolute one stays as it is


def parse_profile(text: str, *, name: str, file: str) -> Profile:
    """A profile from TOML text; `file` is what complaints call it."""
    return _profile(Table.parse(text, file=file, kind=ProfileError), name=name, source=text)


def _profile(table: Table, *, name: str, source: str) -> Profile:
    title = table.text("title")
    beds = table.whole("beds", 1, 2, 1)
    second_carriage = table.choice("second_carriage", SECOND_CARRIAGES, SECOND_CARRIAGES[0])
    changer = table.choice("changer", ("none", "left", "right"), "none")
    drive = table.choice("drive", ("this-pass", "next-pass"), "this-pass")

    bed = table.table("bed", required=True)
    needles = bed.whole("needles", 2, NEEDLES_MAX)
    pitch_mm = bed.number("pitch_mm", 1.0, 20.0)
    centre = bed.whole("centre", 0, needles, needles // 2)
    clearance = bed.whole("turn_clearance_needles", 0, 60, 15)
    bed.finish()

    sensors = table.table("sensors", required=True)
    edges = sensors.whole("edges_per_needle", 1, 16)
    left = sensors.number("left_needles_beyond", 0.0, 60.0)
    right = sensors.number("right_needles_beyond", 0.0, 60.0)
    # An encoder slips by whole periods of four edges; a tolerance of four would take one for a late sensor.
    tolerance = sensors.whole("tolerance_edges", 0, 64, min(max(1, edges // 2), 3))
    backing = sensors.whole("backing_needles", 0, 60, 8)
    speed = sensors.number("speed_max_m_s", 0.05, 3.0, 1.5)
    end_sensors = sensors.choice("end_sensors", END_SENSORS, END_SENSORS[0])
    middle = _middle(sensors)
    sensors.finish()

    selectors_table = table.table("selectors", required=True)
    selectors = _selectors(selectors_table)

    levers = _levers(table.table("levers"))
    electrical_table = table.table("electrical")
    electrical = {key: electrical_table.raw(key) for key in electrical_table.left()}
    for key, value in electrical.items():
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise table.complain("electrical", f'"{key}" must be a number or a text')
    table.finish()

    profile = Profile(
        name=name,
        title=title,
        needles=needles,
        pitch_mm=pitch_mm,
        centre=centre,
        beds=beds,
        second_carriage=second_carriage,
        changer=changer,
        drive=drive,
        turn_clearance_needles=clearance,
        edges_per_needle=edges,
        left_sensor_needles=left,
        right_sensor_needles=right,
        tolerance_edges=tolerance,
        backing_needles=backing,
        speed_max_m_s=speed,
        selectors=selectors,
        levers=levers,
        electrical=electrical,
        source=source,
        end_sensors=end_sensors,
        middle_needles=middle,
    )
    _check(profile, table, selectors_table, sensors)
    return profile


def _middle(sensors: Table) -> tuple[float, float] | None:
    """`middle_from_needle` and `middle_to_needle`, both or neither, counted from the leftmost needle as 0."""
    ends = [key for key in ("middle_from_needle", "middle_to_needle") if key in sensors.left()]
    if not ends:
        return None
    left, right = (
        sensors.number("middle_from_needle", 0.0, NEEDLES_MAX),
        sensors.number("middle_to_needle", 0.0, NEEDLES_MAX),
    )
    return left, right


def _levers(table: Table) -> dict[str, dict[str, str]]:
    levers = {}
    for setting in LEVER_SETTINGS:
        words = table.table(setting)
        levers[setting] = {way: words.text(way, "") for way in DIRECTIONS}
        words.finish()
    table.finish()
    return levers


def _selectors(table: Table) -> Selectors:
    layout = table.choice("layout", ("carriage", "bank"))
    selectors = Selectors(
        layout=layout,
        count=table.whole("count", 1, 2 if layout == "carriage" else SELECTORS_MAX),
        lead_leftward_needles=table.number("lead_leftward_needles", -30.0, 30.0),
        lead_rightward_needles=table.number("lead_rightward_needles", -30.0, 30.0),
        pull_in_ms=table.number("pull_in_ms", 0.01, 50.0),
        mechanical_ms=table.number("mechanical_ms", 0.0, 50.0),
        release_ms=table.number("release_ms", 0.0, 50.0),
        hold_edges=table.whole("hold_edges", 1, 64, 1),
        limit_ms=table.whole("limit_ms", 5, 2000),
        active=table.choice("active", ("high", "low"), "high"),
        duty_percent=table.whole("duty_percent", 0, 95, 0),
    )
    table.finish()
    return selectors


def _check(profile: Profile, table: Table, selectors_table: Table, sensors: Table) -> None:
    """Limits that need more than one key."""
    selectors = profile.selectors
    share = 1 if selectors.layout == "carriage" else selectors.count
    room = share * profile.edges_per_needle
    needed = profile.advance_max_edges + selectors.hold_edges
    if needed > room:
        raise selectors_table.complain(
            "pull_in_ms",
            f"at {profile.speed_max_m_s:g} m/s a selector is busy for {needed} edges of each needle, "
            f"but has only {room} until its next one",
            "use faster coils, more selectors, a lower speed_max_m_s or a shorter hold_edges",
        )
    left, right = profile.turn_lines(Span(0, profile.needles - 1))
    if profile.left_sensor_edge > left - profile.tolerance_edges:
        raise sensors.complain(
            "left_needles_beyond",
            "the left end sensor stands where selectors are still at work",
            f"at least {-(left - profile.tolerance_edges) / profile.edges_per_needle:g} needles beyond",
        )
    if profile.right_sensor_edge < right + profile.tolerance_edges:
        beyond = (right + profile.tolerance_edges) / profile.edges_per_needle - (profile.needles - 1)
        raise sensors.complain(
            "right_needles_beyond",
            "the right end sensor stands where selectors are still at work",
            f"at least {beyond:g} needles beyond",
        )
    edges_hz = profile.speed_max_m_s / profile.edge_mm * 1000
    if edges_hz > EDGES_MAX_HZ:
        raise sensors.complain(
            "edges_per_needle",
            f"at {profile.speed_max_m_s:g} m/s the encoder gives {edges_hz:.0f} edges a second, "
            f"and the board follows {EDGES_MAX_HZ}",
            "lower speed_max_m_s, or use a coarser encoder strip",
        )
    if selectors.duty_percent and selectors.duty_sixteenths * room < 16 * needed:
        raise selectors_table.complain(
            "duty_percent",
            f"a row in which every needle needs its coil keeps a coil on for {100 * needed / room:.0f} % of the time",
            f"at least {ceil(ceil(16 * needed / room) * 100 / 16)}, or leave it out",
        )
    _check_middle(profile, sensors)
    clear = profile.turn_clearance_needles * profile.edges_per_needle
    if -left > clear or right - (profile.needles - 1) * profile.edges_per_needle > clear:
        raise table.complain(
            "bed",
            f"a turn {counted(profile.turn_clearance_needles, 'needle')} past the last one "
            "comes before the selectors are done",
            "raise turn_clearance_needles, or lower the leads",
        )


def _check_middle(profile: Profile, sensors: Table) -> None:
    edges = profile.middle_sensor_edges
    if edges is None:
        return
    left, right = edges
    if right - left < 3:
        raise sensors.complain(
            "middle_to_needle",
            f"the sensor amid the bed is on for {max(right - left, 0)} edges, which the board could miss",
            "at least 3 edges",
        )
    if right >= profile.right_sensor_edge:
        raise sensors.complain("middle_to_needle", "the sensor amid the bed reaches the right end sensor")
