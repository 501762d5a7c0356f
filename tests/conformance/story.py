"""One story told to several boards: what the host says, how the carriage goes, when the power comes.

A story does not depend on what the board answers, so that every board gets the very same one. `tell`
plays it to a board and returns what the board did; `differences` compares two such records.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from latchline.link.messages import (
    Bed,
    BedTaken,
    BoardInfo,
    Checkpoint,
    Counts,
    Done,
    Fault,
    Message,
    PlanStart,
    Probed,
    Refused,
    Status,
    from_wire,
    to_wire,
)  # fmt: skip
from latchline.sim.face import BYTE_US, PIN_LEFT, PIN_MIDDLE, PIN_RIGHT, Board, Pins, Signals, Times

PHASES = (0, 1, 3, 2)  # (A, B) rightward, A being bit 0
SETTLE_US = 20_000  # a chip reads its memory through before it listens


@dataclass(frozen=True)
class Power:
    cause: int


@dataclass(frozen=True)
class Said:
    data: bytes


@dataclass(frozen=True)
class Moved:
    at_us: Times
    pins: Pins


@dataclass
class Story:
    """Grows by its methods, each of which goes on from where the one before ended."""

    bed: Bed
    now_us: int = 1000
    place: int = 0  # of the carriage, in edges, as it really is
    events: list[tuple[int, Power | Said | Moved]] = field(default_factory=list)
    way: list[tuple[Times, npt.NDArray[np.int64]]] = field(default_factory=list)  # where the carriage really went
    shown: Callable[[int, int], int] = lambda _place, pins: pins  # what the board is shown at a place

    def power(self, cause: int = 1) -> Story:
        self.events.append((self.now_us, Power(cause)))
        return self.wait(SETTLE_US)

    def wait(self, us: int) -> Story:
        self.now_us += us
        return self

    def say(self, *said: Message | bytes, pause_us: int = 2000) -> Story:
        for each in said:
            data = each if isinstance(each, bytes) else to_wire(each)
            self.events.append((self.now_us, Said(data)))
            self.now_us += len(data) * BYTE_US + pause_us
        return self

    def pins(self, place: int) -> int:
        sensors = (0 if place <= self.bed.left_sensor else PIN_LEFT) | (
            0 if place >= self.bed.right_sensor else PIN_RIGHT
        )
        middle = 0 if self.bed.middle_left <= place <= self.bed.middle_right else PIN_MIDDLE
        return PHASES[place % 4] | sensors | middle

    def walk(self, to: int, edge_us: int | Iterable[int] = 1000) -> Story:
        """To a place, with the time of each edge or one time for all of them."""
        count = abs(to - self.place)
        if not count:
            return self
        times = np.fromiter(edge_us, np.int64, count) if not isinstance(edge_us, int) else np.full(count, edge_us)
        at_us = self.now_us + 37 + np.cumsum(times)  # never together with a beat or a byte
        step = 1 if to > self.place else -1
        places = self.place + step * np.arange(1, count + 1)
        self.way.append((at_us, places))
        pins = [self.shown(place, self.pins(place)) for place in places.tolist()]
        return self._move(at_us, pins, to)

    def along(self, to: int, edge_us: int, lost: set[int], forced: list[tuple[int, int, int, int]]) -> Story:
        """To a place at an even pace; of the edges to the places in `lost` the encoder does not tell.

        forced: pin, its level, the place half an edge after which it comes to that, and for how many edges.
        """
        step = 1 if to > self.place else -1
        places = np.arange(self.place + step, to + step, step)
        if not len(places):
            return self
        at_us = self.now_us + 37 + edge_us * np.arange(1, len(places) + 1)
        self.way.append((at_us, places))
        times, levels, before = [], [], -1
        for us, place in zip(at_us.tolist(), places.tolist(), strict=True):
            for half in (0, 1) if place not in lost else ():
                level = self.shown(place, self.pins(place))
                for pin, on, first, edges in forced:
                    if 0 <= step * (place - first) - 1 + half < edges:
                        level = level | pin if on else level & ~pin
                if level != before:
                    times.append(us + half * edge_us // 2)
                    levels.append(level)
                before = level
        return self._move(np.array(times), levels, to) if times else self

    def see(self, shown: Callable[[int, int], int]) -> Story:
        """From now on the board is shown something else than what is: a level for each place and its true level."""
        self.shown = shown
        return self

    def slip(self, edges: int) -> Story:
        """The carriage moves and the encoder does not tell: edges are lost."""
        self.place += 4 * edges
        return self

    def show_pins(self, *pins: int, edge_us: int = 1000) -> Story:
        """Sensor pins as they would not come from any carriage."""
        at_us = self.now_us + edge_us * np.arange(1, len(pins) + 1)
        return self._move(at_us, list(pins), self.place)

    def _move(self, at_us: Times, pins: list[int], to: int) -> Story:
        self.events.append((int(at_us[0]), Moved(at_us, np.array(pins, np.uint8))))
        self.now_us = int(at_us[-1])
        self.place = to
        return self.wait(100)


def unmistakable(pace_us: int, advance: int) -> int:
    """The next pace at which a clock a few ticks off reckons with the same edges of advance, and of time to act."""
    ticks, act = pace_us // 4, advance - advance // 4
    while len({(advance // (ticks + off), act // (ticks + off)) for off in range(-4, 5)}) > 1:
        ticks += 1
    return ticks * 4


@dataclass(frozen=True)
class Record:
    frames: list[tuple[int, Message | None]]
    signals: Signals
    memory: bytes
    end_us: int
    starts: tuple[int, ...]  # when power came

    def of(self, *kinds: type[Message]) -> list[Message]:
        return [message for _, message in self.frames if isinstance(message, kinds)]


def tell(board: Board, story: Story, *, early_us: int = 0) -> Record:
    """Play a story; `early_us` is how much before its time power comes on, for a board that needs to start up."""
    for at_us, event in story.events:
        match event:
            case Power():
                board.power(at_us - early_us, event.cause)
            case Said():
                board.receive(at_us, event.data)
            case Moved():
                board.edges(event.at_us, event.pins)
    board.run(story.now_us + 400_000)
    frames = [(at_us, from_wire(data[:-1]) if data[-1:] == b"\0" else None) for at_us, data in board.sent()]
    starts = tuple(at_us for at_us, event in story.events if isinstance(event, Power))
    return Record(frames, board.signals(), board.memory, story.now_us + 400_000, starts)


def longest_on_us(record: Record) -> int:
    """The longest time for which any coil was on, the outputs being enabled."""
    signals, longest = record.signals, 0
    ends = np.append(signals.at_us[1:], record.end_us)
    for coil in range(16):
        on = (signals.register >> coil & 1 == 1) & signals.enabled
        begins = np.flatnonzero(on & ~np.concatenate([[False], on[:-1]]))
        stops = np.flatnonzero(on & ~np.concatenate([on[1:], [False]]))
        if len(begins):
            longest = max(longest, int((ends[stops] - signals.at_us[begins]).max()))
    return longest


# ---- comparing ---------------------------------------------------------------------------------------


def exact_differences(one: Record, other: Record) -> list[str]:
    """Every frame and every change of an output, to the microsecond."""
    found = [
        f"frame {number}: {a} against {b}"
        for number, (a, b) in enumerate(zip(one.frames, other.frames, strict=False))
        if a != b
    ]
    if len(one.frames) != len(other.frames):
        found.append(f"{len(one.frames)} frames against {len(other.frames)}")
    for name in ("at_us", "register", "enabled", "lamp", "buzzer"):
        a, b = getattr(one.signals, name), getattr(other.signals, name)
        if not np.array_equal(a, b):
            short = min(len(a), len(b))
            where = np.flatnonzero(a[:short] != b[:short])
            row = int(where[0]) if len(where) else short
            found.append(f"signal {name} from row {row}: {_rows(one.signals, row)} against {_rows(other.signals, row)}")
            break
    if one.memory != other.memory:
        found.append(f"memory differs at {[i for i in range(1024) if one.memory[i] != other.memory[i]][:16]}")
    return found


def _rows(signals: Signals, row: int) -> list[tuple[int, str, int]]:
    part = slice(max(0, row - 1), row + 2)
    bits = signals.enabled * 1 + signals.lamp * 2 + signals.buzzer * 4
    return [
        (int(t), f"{r:04x}", int(b))
        for t, r, b in zip(signals.at_us[part], signals.register[part], bits[part], strict=True)
    ]


REGISTER_US = 250  # longest time for which a selector may differ: an output that could not be prepared
START_UP_US = 2000  # around the time when power comes
SLOW_US = 1500  # lamp, buzzer, output enable: some of these follow the millisecond's beat


def differences_in_time(one: Record, other: Record) -> list[str]:
    """Selector by selector, with the time that a real chip takes."""
    found = []
    rested = any(message.rests for message in one.of(Status) if isinstance(message, Status))
    register_us = SLOW_US if rested else REGISTER_US  # a rest may fall to one beat or to the next
    for name, limit_us in (("register", register_us), ("enabled", SLOW_US), ("lamp", SLOW_US), ("buzzer", SLOW_US)):
        times = np.unique(np.concatenate([[0], one.signals.at_us, other.signals.at_us, [one.end_us]]))
        a = _at(one.signals, name, times[:-1])
        b = _at(other.signals, name, times[:-1])
        differing = 0
        before = (0, 0)
        for begin, end, x, y in zip(times[:-1].tolist(), times[1:].tolist(), a.tolist(), b.tolist(), strict=True):
            starting = any(start - START_UP_US <= begin <= start + START_UP_US for start in one.starts)
            if x != before[0] and y != before[1]:
                differing = 0  # the one has caught up in the very microsecond in which the other has gone on
            before = (x, y)
            differing = differing + end - begin if x != y and not starting else 0
            if differing > limit_us:
                found.append(f"{name} at {begin}: {x} against {y}")
                break
    return found


def _at(signals: Signals, name: str, times: Times) -> npt.NDArray[np.int64]:
    states = getattr(signals, name).astype(np.int64)
    if name == "register":
        states = np.where(signals.enabled, states, 0)  # what the register holds reaches no coil then
    values = np.concatenate([[0], states])
    result: npt.NDArray[np.int64] = values[np.searchsorted(signals.at_us, times, side="right")]
    return result


def plan_of(
    bed: Bed, *, passes: int = 4, margin: int = 0, span: tuple[int, int] | None = None, fingerprint: int = 0xC0FFEE
) -> PlanStart:
    """A plan whose lines leave all selectors room to act."""
    first, last = span or (0, bed.needles - 1)
    reach = bed.advance_max + bed.hold + 1 + margin
    lead = max(abs(bed.lead_leftward), abs(bed.lead_rightward))
    left = max(first * bed.edges_per_needle - lead - reach, bed.left_sensor + 2)
    right = min(last * bed.edges_per_needle + lead + reach, bed.right_sensor - 2)
    return PlanStart(fingerprint, 1, passes, left, right, first, last)


BEAT_TAKES_US = 30
"""What a chip's beat takes from its tick to the last coil that it puts to rest."""

# What a chip's own clock may read differently, in its own units: ticks of 4 µs and units of 256 µs.
TICKS_OFF = 3
ON_A_BEAT = (9, 10, 11)  # faults that are found by the millisecond timer
SLACK: dict[type[Message], dict[str, int]] = {
    Done: {"start": 2 * TICKS_OFF, "shortest": TICKS_OFF},
    Fault: {"detail": TICKS_OFF},
    Counts: {"shortest": TICKS_OFF},
}


def close_differences(one: Record, other: Record) -> list[str]:
    """What differs between a board without latency and a chip: every kind of frame in its order, the last
    STATUS field by field, every selector in time, and the whole memory."""
    found = []
    for kind in (BoardInfo, BedTaken, Refused, Done, Fault, Counts, Checkpoint, Probed):
        a, b = _without_repeats(one.of(kind)), _without_repeats(other.of(kind))
        if len(a) != len(b):
            found.append(f"{len(a)} {kind.__name__} against {len(b)}: {a[-1:]} {b[-1:]}")
        found += [f"{x} against {y}" for x, y in zip(a, b, strict=False) if not _alike(x, y)]
    if one.of(Status)[-1:] != other.of(Status)[-1:]:
        found.append(f"last {one.of(Status)[-1:]} against {other.of(Status)[-1:]}")
    if one.memory != other.memory:
        found.append(f"memory differs at {[i for i in range(1024) if one.memory[i] != other.memory[i]][:16]}")
    return found + differences_in_time(one, other)


def _without_repeats(messages: list[Message]) -> list[Message]:
    """DONE and FAULT are said again every so often; how often may differ by one at the very end."""
    kept: list[Message] = []
    for message in messages:
        if not isinstance(message, Done | Fault) or message not in kept:
            kept.append(message)
    return kept


def _alike(one: Message, other: Message) -> bool:
    if type(one) is not type(other):
        return False
    slack = dict(SLACK.get(type(one), {}))
    if isinstance(one, Fault) and one.fault in ON_A_BEAT:
        slack["position"] = 1  # the carriage may be an edge further by then
    for item in dataclasses.fields(one):
        a, b = getattr(one, item.name), getattr(other, item.name)
        if isinstance(one, Done) and isinstance(other, Done) and item.name == "tenths":
            if any(abs(x - y) > 1 for x, y in zip(one.tenth_units, other.tenth_units, strict=True)):
                return False
        elif a != b and (item.name not in slack or abs(a - b) > slack[item.name]):
            return False
    return True
