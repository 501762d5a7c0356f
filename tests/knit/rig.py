"""A bench for sessions: a board, a carriage with a hand on it, the fabric that comes out, and a wire, in virtual time.

Unlike the simulator that ships, this one keeps its own truth: each row of the fabric is read off
what the coils did at the instant at which the carriage met each needle. It can cut the power, pull
the cable and stop the host between any two bytes.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from serial import SerialException

from latchline.knit.events import Answer, Kind, Question, Reply
from latchline.link.host import Host
from latchline.machine.profile import Profile, parse_profile, profile_text
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import BYTE_US, PIN_A, PIN_B, PIN_LEFT, PIN_RIGHT, POWER_ON, Board
from latchline.technique.table import technique_named

STEP_US = 4000
PHASES = np.array((0, PIN_A, PIN_A | PIN_B, PIN_B), np.uint8)


def small_bed(needles: int = 24) -> Profile:
    """The 4.5 mm bed with fewer needles, so that a row is soon knitted."""
    text = profile_text("standard-200").replace("needles = 200", f"needles = {needles}")
    return parse_profile(text, name="small", file="small.toml")


def small_plan(rows: int = 24, *, needles: int = 24, bands: int = 1, technique: str = "fair-isle") -> Plan:
    """Every other needle, shifted each row, so that no row is like its neighbour and none is empty."""
    bed = small_bed(needles)
    requests = [
        BandRequest(f"part {n}", technique_named(technique), Options(rows=rows // bands, alternate_needles="only"))
        for n in range(1, bands + 1)
    ]
    return compile_plan("small piece", bed, bed.span(f"L{needles // 2}-R{needles // 2}"), requests)


@dataclass
class Motion:
    """Edges still to come. knits: 1 a row rightward, −1 one leftward, 0 nothing (or nothing more)."""

    at_us: npt.NDArray[np.int64]
    place: npt.NDArray[np.int64]
    knits: int
    met_us: dict[int, int] = field(default_factory=dict)
    changes: list[tuple[int, int]] = field(default_factory=list)


class Bench:
    """The world around one board. `rows` is the fabric: one selection (bool, one a needle) for each row."""

    def __init__(self, plan: Plan, *, seed: int = 0, board: Board | None = None) -> None:
        self.plan = plan
        self.chance = random.Random(seed)
        self.board: Board = board or ModelBoard()
        self.now_us = 0
        self.place = plan.profile.needles * 2
        self.motion: Motion | None = None
        self.rows: list[npt.NDArray[np.bool_]] = []
        self.partial = False
        self.wrong = 0
        self.lamp = False
        self.powered = True
        self.slip = ""  # what happens to the next edge: `lost` or `bounce`
        self.coming: deque[tuple[int, int]] = deque()
        self.hand: Callable[[], None] = lambda: None
        self._register = 0
        self.left_line, self.right_line = plan.profile.turn_lines(plan.span)
        self.outside = (plan.profile.left_sensor_edge - 8, plan.profile.right_sensor_edge + 8)
        self.board.edges(np.array([1]), np.array([self._pins(np.array([self.place]))[0]], np.uint8))
        self.board.power(2, POWER_ON)

    # Time

    def advance(self, until_us: int) -> None:
        while self.now_us < until_us:
            self.hand()
            self._go(min(until_us, self.now_us + STEP_US))

    def _go(self, until_us: int) -> None:
        motion = self.motion
        if motion is not None:
            count = int(np.searchsorted(motion.at_us, until_us, side="right"))
            at, place = motion.at_us[:count], motion.place[:count]
            if count:
                if self.powered:
                    self.board.edges(*self._sensed(at, place))
                motion.met_us.update(zip(place.tolist(), at.tolist(), strict=True))
                self.place = int(place[-1])
                motion.at_us, motion.place = motion.at_us[count:], motion.place[count:]
        if self.powered:
            self.board.run(until_us)
        self.now_us = until_us
        self._listen()
        if motion is None:
            return
        if (motion.knits > 0 and self.place >= self.right_line) or (motion.knits < 0 and self.place <= self.left_line):
            self.rows.append(self._selection(motion))
            motion.knits = 0
        if not len(motion.at_us):
            self.halt()

    def _listen(self) -> None:
        for at_us, data in self.board.sent():
            self.coming.extend((at_us + n * BYTE_US, byte) for n, byte in enumerate(data))
        signals = self.board.signals()
        if not len(signals.at_us):
            return
        words = np.where(signals.enabled, signals.register, 0)
        if self.motion is not None:
            self.motion.changes += zip(signals.at_us.tolist(), words.tolist(), strict=True)
        self._register = int(words[-1])
        self.lamp = bool(signals.lamp[-1])

    def _sensed(
        self, at: npt.NDArray[np.int64], place: npt.NDArray[np.int64]
    ) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.uint8]]:
        """What reaches the board of these edges: one may get lost, or bounce."""
        pins, slip, self.slip = self._pins(place), self.slip, ""
        which = self.chance.randrange(len(at)) if slip else 0
        if slip == "lost":
            return np.delete(at, which), np.delete(pins, which)
        if slip == "bounce":
            before = pins[which - 1] if which else self._pins(np.array([self.place]))[0]
            times = at[which] - np.array([8, 4])
            return np.insert(at, which, times), np.insert(pins, which, [pins[which], before])
        return at, pins

    def _pins(self, place: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
        profile = self.plan.profile
        ends = np.where(place <= profile.left_sensor_edge, 0, PIN_LEFT)
        ends |= np.where(place >= profile.right_sensor_edge, 0, PIN_RIGHT)
        return (PHASES[place % 4] | ends).astype(np.uint8)

    # The carriage

    def move(self, *stops: int, edges_per_s: float = 800.0, knits: int = 0, pause_s: float = 0.0) -> None:
        """Start the carriage on its way from stop to stop (edge positions), with a pause at each."""
        at, places, when, here = [], [], float(self.now_us + 1000), self.place
        for stop in stops:
            count = abs(stop - here)
            places.append(np.arange(1, count + 1) * (1 if stop > here else -1) + here)
            at.append(when + np.arange(1, count + 1) * 1e6 / edges_per_s)
            when, here = when + count * 1e6 / edges_per_s + pause_s * 1e6, stop
        self.motion = Motion(np.concatenate(at).astype(np.int64), np.concatenate(places), knits)

    def knit_row(self, *by_way: int, edges_per_s: float = 800.0, pause_s: float = 0.0) -> None:
        """Once along the bed to the other side, a little past the line; `by_way`: edges past the start, turning there."""
        beyond = self.chance.randint(2, 30)
        rightward = self.place <= self.left_line
        start, sign = (self.left_line, 1) if rightward else (self.right_line, -1)
        stops = [start + sign * edges for edges in by_way]
        end = self.right_line + beyond if rightward else self.left_line - beyond
        self.move(*stops, end, edges_per_s=edges_per_s, knits=sign, pause_s=pause_s)

    def turn_early(self) -> None:
        """Into the bed and back out again."""
        rightward = self.place <= self.left_line
        end = self.left_line - 3 if rightward else self.right_line + 3
        half = (self.left_line + self.right_line) // 2
        self.move(half, end, knits=1 if rightward else -1)

    def halt(self) -> None:
        """The hand stops where it is; what was being knitted is half knitted."""
        motion, self.motion = self.motion, None
        self.partial |= motion is not None and motion.knits != 0

    def _selection(self, motion: Motion) -> npt.NDArray[np.bool_]:
        """What each needle met as the carriage went over it: the coil's state at that edge."""
        profile, span = self.plan.profile, self.plan.span
        sign = motion.knits
        lead = profile.lead_edges("rightward" if sign > 0 else "leftward")
        changes = [(0, 0), *motion.changes]
        times = np.array([at for at, _ in changes])
        words = np.array([word for _, word in changes])
        needles = np.arange(span.first, span.last + 1)
        points = needles * profile.edges_per_needle - sign * lead
        met = np.array([motion.met_us[int(point)] for point in points])
        word = words[np.searchsorted(times, met, side="right") - 1]
        selected: npt.NDArray[np.bool_] = (word >> (needles % profile.selectors.count) & 1).astype(bool)
        return selected

    # The fabric

    def good_rows(self) -> int:
        """Rows from the bottom that are as planned."""
        masks = self.plan.driven_masks(1, min(len(self.rows), self.plan.passes))
        return next(
            (n for n, (row, mask) in enumerate(zip(self.rows, masks, strict=False)) if (row != mask).any()), len(masks)
        )

    def undo_spoiled(self) -> None:
        """Take down what is not as planned; whole good rows stay."""
        self.rows = self.rows[: self.good_rows()]
        self.partial = False

    def take_down(self, to: int) -> int:
        """Take the fabric down to so many rows; tells how many good rows were among those."""
        good = self.good_rows()
        self.rows = self.rows[:to]
        self.partial = False
        return max(0, good - to)

    def hang(self, plan: Plan, rows: list[npt.NDArray[np.bool_]]) -> list[npt.NDArray[np.bool_]]:
        """Hang another piece of the same profile on the needles; tells the rows of the one taken off."""
        self.plan, self.partial = plan, False
        self.left_line, self.right_line = plan.profile.turn_lines(plan.span)
        self.rows, taken_off = rows, self.rows
        return taken_off

    # Power

    def cut_power(self) -> None:
        self.powered = False
        self._listen()
        self.lamp = False

    def restore_power(self, cause: int = POWER_ON) -> None:
        if not self.powered:
            self.board.edges(np.array([self.now_us]), self._pins(np.array([self.place])))
        self.powered = True
        self.lamp = False
        self.board.power(self.now_us, cause)
        self._listen()


class Knitter:
    """Knits when the lamp is lit, does what questions say, and answers them truly by looking at the fabric.

    lost: good rows that she was told to take down although they had not been un-knitted on purpose.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.asked: list[Question] = []
        self.pace_s = 0.1  # from the lamp to the next pass
        self.tired = False  # leaves the carriage alone
        self.patient = False  # does what a question says, but does not answer it
        self.regrets = False  # has gone without the lamp, and will undo that when she stands
        self.lost = 0
        self._question: Question | None = None
        self._since_us = 0
        self._lamp = False
        self._plain = 0
        bench.hand = self.act

    @property
    def busy(self) -> bool:
        return self._question is not None

    def forget(self) -> None:
        """The screen has gone dark."""
        self._question = None

    def act(self) -> None:
        """Called by time itself: knit on when the lamp is lit and nothing is asked."""
        bench = self.bench
        if self.regrets and bench.motion is None and self._question is None:
            self.regrets = False
            bench.undo_spoiled()
            self.go_to_the_side()
        if bench.lamp != self._lamp or bench.motion is not None or self._question is not None or self.tired:
            self._lamp, self._since_us = bench.lamp, bench.now_us
            return
        if bench.lamp and bench.now_us - self._since_us > self.pace_s * 1e6:
            self._since_us = bench.now_us
            bench.knit_row(edges_per_s=bench.chance.uniform(500, 1200))

    def answer(self, question: Question) -> Reply | None:
        bench = self.bench
        if question is not self._question:
            self._question = question
            self.asked.append(question)
            self._do(question)
        if bench.motion is not None or self.patient:
            return None
        if question.kind is Kind.PLAIN and self._plain:
            self._plain -= 1
            bench.move(bench.right_line + 5 if bench.place <= bench.left_line else bench.left_line - 5)
            return None
        self._question = None
        return len(bench.rows) if question.kind is Kind.ROW else Answer.GO_ON

    def _do(self, question: Question) -> None:
        bench, kind = self.bench, question.kind
        if kind is Kind.PLAIN:
            self._plain = 2
        if kind in (
            Kind.CAUTION,
            Kind.BEGUN,
            Kind.OTHER,
            Kind.BAND,
            Kind.HAND,
            Kind.CHANGE,
            Kind.AFTER,
            Kind.WRONG,
            Kind.SURE,
        ):
            return
        bench.halt()
        if kind is Kind.ROW:
            bench.undo_spoiled()
        else:
            good = bench.take_down(question.pass_number - 1)
            # At a fault the pass that did not count may have met every needle already.
            self.lost += 0 if kind is Kind.UNKNIT else max(0, good - 1)
        self.go_to_the_side()

    def go_to_the_side(self) -> None:
        """To where the next row starts, and over the end sensor there."""
        bench, coming = self.bench, min(len(self.bench.rows), self.bench.plan.passes - 1)
        rightward = bool(bench.plan.rightward[coming])
        inside, beyond = (
            (bench.left_line - 2, bench.outside[0]) if rightward else (bench.right_line + 2, bench.outside[1])
        )
        bench.move(inside, beyond, edges_per_s=1200)


class Alone(Knitter):
    """A knitter who has only the lamp: when it stays dark she puts the carriage where the next row starts."""

    PUZZLED_US = 1_500_000

    def act(self) -> None:
        super().act()
        bench = self.bench
        if bench.motion is None and not bench.lamp and bench.now_us - self._since_us > self.PUZZLED_US:
            self._since_us = bench.now_us
            bench.undo_spoiled()
            self.go_to_the_side()


class Wire:
    """A serial port whose other end is the bench's board. Its time is the bench's."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.timeout: float | None = 0.05
        self.gone = False
        self.sent_bytes = 0
        self.unplug_after: int | None = None  # bytes in both directions
        self.spoil: Callable[[bytes], bytes] = lambda data: data
        self.instant: Callable[[], None] = lambda: None  # called where a program may be killed
        bench.coming.clear()

    def clock(self) -> float:
        return self.bench.now_us / 1e6

    @property
    def in_waiting(self) -> int:
        return sum(1 for _ in self._ready())

    def _ready(self) -> Iterator[int]:
        for at_us, byte in self.bench.coming:
            if at_us > self.bench.now_us:
                return
            yield byte

    def _counted(self, count: int) -> int:
        """How many of these bytes get through before the cable is pulled."""
        if self.unplug_after is None:
            return count
        through = min(count, self.unplug_after - self.sent_bytes)
        self.sent_bytes += through
        return through

    def _check(self) -> None:
        if self.unplug_after is not None and self.sent_bytes >= self.unplug_after:
            self.gone = True
        if self.gone:
            raise SerialException("device disconnected")

    def write(self, data: bytes) -> int:
        self.instant()
        self._check()
        through = self.spoil(data[: self._counted(len(data))])
        if self.bench.powered and through:
            self.bench.board.receive(self.bench.now_us + BYTE_US, through)
            self.bench.advance(self.bench.now_us + BYTE_US * len(through))
        self._check()
        self.instant()
        return len(data)

    def read(self, size: int = 1) -> bytes:
        self._check()
        until_us = self.bench.now_us + round((self.timeout or 0) * 1e6)
        while not (self.bench.coming and self.bench.coming[0][0] <= self.bench.now_us):
            if self.bench.now_us >= until_us:
                return b""
            self.bench.advance(min(until_us, self.bench.now_us + STEP_US))
        taken = bytes(byte for _, byte in zip(range(size), self._ready(), strict=False))
        for _ in taken:
            self.bench.coming.popleft()
        taken = taken[: self._counted(len(taken))]
        self.instant()
        return self.spoil(taken)


def connect(bench: Bench) -> tuple[Host, Wire]:
    """A fresh host on a fresh cable."""
    wire = Wire(bench)
    return Host(wire, wire.clock, nonce=bench.chance.getrandbits(24)), wire
