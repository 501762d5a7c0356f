"""The simulated knitter: looks at the lamp and at the host's screen, and decides where the carriage goes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from latchline.link.frames import Gatherer
from latchline.link.messages import PLANS_LINE, Pass, PlanStart, Status, from_wire
from latchline.machine.profile import Profile
from latchline.sim.carriage import NO_MOTION, TURN_S, Hand, Motion, cruise_us, stroke
from latchline.sim.faults import Faults

LOOK_US = 200_000  # how often she looks at the screen while the lamp is dark
AFTER_SURPRISE_US = 800_000  # standing still after the lamp went dark in mid pass
PASSES_KEPT = 300
WALK_M_S = (0.2, 0.5)  # a carriage that is taken along the bed without knitting


class Screen:
    """What the host's screen tells: read off the line, on the host's side of the wire and its faults."""

    def __init__(self) -> None:
        self._from_host = Gatherer()
        self._passes: dict[tuple[int, int], Pass] = {}  # by plan and number, the newest last
        self._status: tuple[int, bytes] | None = None  # the newest, and when it came
        self.plan: PlanStart | None = None

    def host_said(self, data: bytes) -> None:
        for frame in self._from_host.feed(data):
            if frame is None or len(frame) < 2 or frame[1] not in (Pass.number, PlanStart.number):
                continue
            message = from_wire(frame)
            if isinstance(message, PlanStart):
                self.plan = message
            elif isinstance(message, Pass):
                key = message.fingerprint, message.pass_number
                self._passes.pop(key, None)
                self._passes[key] = message
                if len(self._passes) > PASSES_KEPT:
                    del self._passes[next(iter(self._passes))]

    def board_said(self, at_us: int, frame: bytes) -> None:
        """A whole frame, or the beginning of one that a reset has cut short."""
        if len(frame) > 2 and frame[1] == Status.number and frame[-1] == 0:
            self._status = at_us, frame[:-1]

    def status(self, since_us: int) -> Status | None:
        """The newest status, if one has come since then."""
        if self._status is None or self._status[0] < since_us:
            return None
        message = from_wire(self._status[1])
        return message if isinstance(message, Status) else None

    def direction(self, number: int) -> int | None:
        """Which way pass `number` goes: 1 rightward, −1 leftward, None as long as the host has not said."""
        coming = self._pass(number)
        return None if coming is None else 1 if coming.direction else -1

    def lines(self) -> tuple[int, int] | None:
        """Between which lines the coming pass happens, or the one under way; those of the plan as long as none is."""
        plan = self.plan
        if plan is None:
            return None
        status = self.status(0)
        coming = self._pass(status.armed or status.done + 1) if status is not None else None
        left = PLANS_LINE if coming is None else coming.left_line
        right = PLANS_LINE if coming is None else coming.right_line
        return plan.left_line if left == PLANS_LINE else left, plan.right_line if right == PLANS_LINE else right

    def _pass(self, number: int) -> Pass | None:
        return None if self.plan is None else self._passes.get((self.plan.fingerprint, number))


class Knitter:
    """Moves the carriage. `told` is the profile that the board was told; `profile` the machine as it is."""

    def __init__(self, profile: Profile, told: Profile, hand: Hand, faults: Faults, rng: np.random.Generator) -> None:
        self.profile, self.told, self.hand, self.faults = profile, told, hand, faults
        self._rng = rng
        self.screen = Screen()
        last = (profile.needles - 1) * profile.edges_per_needle
        aside = 5 * profile.edges_per_needle
        self.place = int(rng.choice([-aside, last + aside]))
        self._motion, self._at = NO_MOTION, 0  # the stroke that is being made, and how far
        self._stop_us: int | None = None  # when a surprise ends it
        self._begun_us = 0
        self._knitting = False
        self._towards = 1
        self._lamp, self._lamp_us = False, 0
        self._rest_us = self._look_us = 0  # standing until, looking at the screen at
        self._strokes = 0
        self._set_lines: tuple[int, int] | None = None

    # ---- the world asks -------------------------------------------------------------------

    def lines(self) -> tuple[int, int] | None:
        """The lines of the pass, in edges of the machine as it is: those that counted when she set out."""
        return self._set_lines or self._lines_now()

    def _lines_now(self) -> tuple[int, int] | None:
        lines = self.screen.lines()
        if lines is None:
            return None
        scale = self.profile.edges_per_needle / self.told.edges_per_needle
        return round(lines[0] * scale), round(lines[1] * scale)

    @property
    def on_the_way(self) -> bool:
        """Is she in the middle of a stroke?"""
        return self._at < len(self._motion)

    @property
    def minds_the_lamp_alone(self) -> bool:
        """Is what she does next settled as long as the lamp does not go dark?"""
        return self._lamp

    def horizon_us(self, now_us: int) -> int:
        """When she will do or decide something next, by what is known now."""
        if self.on_the_way:
            end = int(self._motion.at_us[-1])
            return end if self._stop_us is None else max(min(end, self._stop_us), now_us + 1)
        if self.screen.plan is None:
            return now_us + LOOK_US
        return max(self._go_us() if self._lamp else self._look_us, now_us + 1)

    def saw(self, at_us: int, lamp: bool) -> None:
        """The lamp has changed."""
        if lamp == self._lamp:
            return
        self._lamp, self._lamp_us = lamp, at_us
        if not lamp and self._at < len(self._motion) and self._knitting:
            self._stop_us = at_us + self._reaction_us()
        elif lamp:
            self._stop_us = None

    def coming(self, until_us: int) -> Motion:
        """What the carriage is going to do up to then, unless the lamp goes dark."""
        if not self.on_the_way:
            return NO_MOTION
        motion, at = self._motion, self._at
        stop_us = until_us if self._stop_us is None else min(until_us, self._stop_us)
        end = int(motion.at_us.searchsorted(stop_us, "right"))
        return Motion(motion.at_us[at:end], motion.places[at:end])

    def move(self, until_us: int) -> Motion:
        """What the carriage does up to then; decides anew when it stands."""
        if not self.on_the_way:
            self._decide(until_us)
            return NO_MOTION
        motion, part = self._motion, self.coming(until_us)
        self._at += len(part)
        if len(part):
            self.place = int(part.places[-1])
        if self._stop_us is not None and self._stop_us <= until_us and self._at < len(motion):
            self._stand(self._stop_us + AFTER_SURPRISE_US)
        elif len(part) and self._at == len(motion):
            turned_us = int(motion.at_us[-1]) + int(self._rng.uniform(0.6, 1.4) * TURN_S * 1e6)
            self._stand(max(turned_us, self._begun_us + int(60e6 / self.hand.rows_per_minute)))
        return part

    def walk(self, towards: int, now_us: int) -> None:
        """Asked to: slowly past the end sensor on that side (1 right, −1 left), whatever the lamp says."""
        sensor = self.profile.right_sensor_edge if towards > 0 else self.profile.left_sensor_edge
        beyond = sensor + towards * int(self._rng.integers(1, 6)) * self.profile.edges_per_needle
        edge_us = self.profile.edge_mm / self._rng.uniform(*WALK_M_S) * 1000
        begin_us = now_us + self._reaction_us()
        self._motion = stroke(self._rng, self.profile, self.hand, [self.place, beyond], edge_us, begin_us=begin_us)
        self._at, self._stop_us, self._knitting = 0, None, False

    # ---- deciding -------------------------------------------------------------------------

    def _reaction_us(self) -> int:
        return int(self.hand.reaction_s * 1e6)

    def _stand(self, until_us: int) -> None:
        self._motion, self._at, self._stop_us = NO_MOTION, 0, None
        self._rest_us = until_us
        self._look_us = until_us + self._reaction_us()

    def _go_us(self) -> int:
        """When she goes on with a lamp that is lit: it was lit on arrival, or she has seen it since."""
        return max(self._rest_us, self._lamp_us + self._reaction_us() if self._lamp_us > self._rest_us else 0)

    def _decide(self, now_us: int) -> None:
        lines = self._lines_now()
        if lines is None:
            return
        if self._lamp:
            if now_us >= self._go_us():
                self._set_out(lines, now_us)
        elif now_us >= self._look_us:
            self._look_us = now_us + LOOK_US
            self._look(lines, now_us)

    def _set_out(self, lines: tuple[int, int], now_us: int) -> None:
        """The lamp is lit: over the bed, away from this side."""
        self._set_lines = left, right = lines
        towards = 1 if self.place <= left else -1 if self.place >= right else self._towards
        self._towards = towards
        self._strokes += 1
        start, finish = (left, right) if towards > 0 else (right, left)
        edges = self.profile.edges_per_needle
        turns, pauses = self._habits(start, finish, towards)
        fast, lifted = self._strikes("too-fast"), 0
        if self._strikes("early-turn"):
            short = finish - towards * min((right - left) // 4, 6 * edges)
            turns = [self.place, short, short - towards * min(right - left, 60 * edges)]
        if self._strikes("reversal"):
            turns = [self.place, (start + finish) // 2, self.place]
        if self._strikes("lift-off"):
            lifted = int(self._rng.integers(1, 6 * edges))
        self._knitting = True
        self._go(turns, now_us, pauses=pauses, fast=fast, lifted=lifted)

    def _habits(self, start: int, finish: int, towards: int) -> tuple[list[int], dict[int, int]]:
        """Where the carriage turns or stands in an ordinary pass, and for how long it stands."""
        rng, edges = self._rng, self.profile.edges_per_needle
        turns, pauses = [self.place], {}
        inside = start + towards * int(rng.integers(1, abs(finish - start)))
        if rng.random() < self.hand.pauses:
            stand_s = rng.uniform(0.2, 1.5)
            pauses[len(turns)] = int(stand_s * 1e6)
            turns.append(inside)
            if stand_s * 1000 > self.told.selectors.limit_ms / 2:  # a coil that was on is at rest by then
                turns.append(inside - towards * edges)
        backing = min(3, self.told.backing_needles)
        if rng.random() < self.hand.backing_up and backing:
            inside += towards * int(rng.integers(0, abs(finish - inside)))
            turns += [inside, inside - towards * int(rng.integers(1, backing + 1)) * edges]
        return [*turns, self._turn(towards, finish)], pauses

    def _turn(self, towards: int, finish: int) -> int:
        """Where she turns on this side: past the last needle of the pass, and past the finish line in any case."""
        edges = self.profile.edges_per_needle
        last = self._needles()[1 if towards > 0 else 0]
        turn = last * edges + towards * (self._clearance() * edges + int(self._rng.integers(-2 * edges, 2 * edges)))
        return max(turn, finish + 1) if towards > 0 else min(turn, finish - 1)

    def _needles(self) -> tuple[int, int]:
        """First and last needle between the lines; a line lies as far from its needle in every pass."""
        plan, lines = self.screen.plan, self.screen.lines()
        if plan is None or lines is None:
            return 0, 0
        edges = self.told.edges_per_needle
        in_left, in_right = lines[0] - plan.left_line, plan.right_line - lines[1]
        return plan.first_needle + round(in_left / edges), plan.last_needle - round(in_right / edges)

    def _clearance(self) -> int:
        own = self.hand.clearance_needles
        return self.profile.turn_clearance_needles if own is None else own

    def _strikes(self, name: str) -> bool:
        return self.faults.strikes(name, self._strokes, self._rng)

    def _look(self, lines: tuple[int, int], now_us: int) -> None:
        """The lamp is dark: what does the screen say?"""
        status = self.screen.status(self._rest_us)
        if status is None or not status.flags & Status.PLANNED or status.flags & Status.PAUSED:
            return
        towards = self.screen.direction(status.done + 1)
        if towards is None:
            return
        self._knitting = False
        left, right = lines
        sensor = self.profile.left_sensor_edge if towards > 0 else self.profile.right_sensor_edge
        beyond = sensor - towards * int(self._rng.integers(3, 12))
        if not status.flags & Status.CERTAIN:
            inside = sensor + towards * 6
            turns = [self.place, inside, beyond] if (self.place - sensor) * towards <= 0 else [self.place, beyond]
            self._go(turns, now_us)
        elif (self.place > left if towards > 0 else self.place < right) and not status.armed:
            self._go([self.place, beyond], now_us)

    def _go(
        self, turns: list[int], now_us: int, *, pauses: Mapping[int, int] | None = None,
        fast: bool = False, lifted: int = 0,
    ) -> None:  # fmt: skip
        first, last = self._needles()
        needles = last - first if self.screen.plan and self._knitting else self.profile.needles
        way = (max(needles, 1) + 2 * self._clearance()) * self.profile.edges_per_needle
        edge_us = cruise_us(self.profile, self.hand, way)
        self._motion = stroke(
            self._rng, self.profile, self.hand, turns, edge_us,
            begin_us=now_us, pauses=pauses, fast=fast, lifted=lifted,
        )  # fmt: skip
        self._at, self._begun_us = 0, now_us
