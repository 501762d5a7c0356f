"""The moving half of the model board: where the carriage is, which pass is under way, which coils are on.

Sections 5 to 9 and 11 of `docs/protocol.md`. The other half, `board.py`, talks to the host and keeps the time.
"""

from __future__ import annotations

from latchline.link.messages import NO_NEEDLE, Bed, Done, Fault, Message, Pass, PlanStart, Probe
from latchline.sim.board import bulk as runs
from latchline.sim.board import memory
from latchline.sim.board.way import INTERVAL_MAX, STOP_TICKS, Way, acting_ticks
from latchline.sim.face import PIN_LEFT, PIN_RIGHT

TICK_US = 4
MS_US = 1000
BEYOND_NEEDLES = 64

IMPOSSIBLE_STEP, SENSOR_DISAGREES, BOTH_SENSORS, TOO_FAST, NOT_READY, TURNED_EARLY, COIL_RESTED = range(1, 8)
NOT_AS_PLANNED, HOST_SILENT, SUPPLY_LOW, CURRENT_HIGH = range(8, 12)
EDGES_TOO_FAST, OFF_THE_BED, SELECTOR_LATE = 13, 14, 15
LOSING = (IMPOSSIBLE_STEP, SENSOR_DISAGREES, BOTH_SENSORS, EDGES_TOO_FAST, OFF_THE_BED)


class Follower:
    """Follows the carriage and switches the coils; times are microseconds, `tick` and `ms` the board's own.

    edge_min_us: closest edges that the board can follow (0: any).
    """

    def __init__(self, edge_min_us: int) -> None:
        self.edge_min_us = edge_min_us
        self._memory = bytearray(b"\xff" * memory.SIZE)
        self.pins = PIN_LEFT | PIN_RIGHT  # levels now
        self._start_following(0)

    def _start_following(self, at_us: int) -> None:
        self.now = self.started_us = at_us
        self._due: dict[type[Message], Message | None] = {}
        self.bed: Bed | None = None
        self.seen_pins = self.pins
        self.position, self.certain = 0, False
        self.step, self.last_tick, self.fresh = 0, 0, True
        self.advance = 1
        self.lowest = self.highest = 0
        self._correction = 0
        self.edge_count = self.reversals = self._impossible = self._left_on = self._right_on = 0
        self.shortest = INTERVAL_MAX
        self.fault: Fault | None = None
        self.register = 0
        self.on_since_ms = [0] * 16
        self.changed_tick = [0] * 16
        self.at_rest = self.revived = self._rests = 0
        self._probe: tuple[Probe, int, tuple[int, int]] | None = None
        self._writer = memory.Writer(self._memory)
        self._no_plan()

    def _no_plan(self) -> None:
        self.plan: PlanStart | None = None
        self.received = self.done = self._seen = 0
        self._passes: dict[int, Pass] = {}
        self._reports: dict[int, Done] = {}
        self.way: Way | None = None
        self.under_way = self._writer.waiting = False
        self._paused, self._pause_wanted = False, False

    def tick(self, at_us: int | None = None) -> int:
        return ((self.now if at_us is None else at_us) - self.started_us) // TICK_US

    def ms(self) -> int:
        return (self.now - self.started_us) // MS_US

    def _fingerprint(self) -> int:
        return self.plan.fingerprint if self.plan else 0

    @property
    def enabled(self) -> bool:
        return self.way is not None or self._probe is not None

    # ---- faults and coils -----------------------------------------------------------------

    def _fault(self, number: int, detail: int, needle: int) -> Fault:
        at = self.way.number if self.way else (self.done + 1) & 0xFFFFFFFF if self.plan else 0
        return Fault(number, self._fingerprint(), at, needle, self.position, detail & 0xFFFF)

    def _raise(self, number: int, detail: int = 0, needle: int | None = None) -> None:
        if needle is None:
            way = self.way if self.under_way else None
            needle = way.next_needle(way.sign * self.position) if way else NO_NEEDLE
        if self.fault is None:
            self.fault = self._fault(number, detail, needle)
            self._due[Fault] = None
        if number in LOSING:
            self.certain, self.fresh = False, True
        self._off()
        self.way, self.under_way = None, False
        self._writer.waiting = False
        self._paused = self._paused or self._pause_wanted
        self._writer.go_on(self.now)

    def _off(self) -> None:
        self._probe = None
        self._drive(0)
        self.at_rest = self.revived = 0

    def _drive(self, register: int) -> None:
        """Switch the coils; at_rest coils that go on again are revived."""
        changed = register ^ self.register
        while changed:
            coil = changed.bit_length() - 1
            bit = 1 << coil
            changed &= ~bit
            self.changed_tick[coil] = self.tick()
            if register & bit:
                self.on_since_ms[coil] = self.ms()
                self.revived |= bit & self.at_rest
        self.revived &= register
        self.register = register

    def _rest_coils(self) -> None:
        if not self.bed or not self.register or self._probe:
            return
        for coil in range(self.bed.count):
            bit = 1 << coil
            if self.register & bit and self.ms() - self.on_since_ms[coil] >= self.bed.limit_ms:
                self.register &= ~bit
                self.at_rest |= bit
                self.revived &= ~bit
                self._rests += 1

    # ---- position (section 5) -------------------------------------------------------------

    def _edge(self, pins: int, step: int) -> None:
        before, self.pins = self.seen_pins, pins
        if step == 0:  # an end sensor alone: seen at the next edge
            return
        self.seen_pins = pins
        tick = self.tick()
        elapsed = tick - self.last_tick
        self.last_tick = tick
        if step == runs.IMPOSSIBLE:
            self._impossible += 1
            self.fresh = True
            if self.bed:
                self._raise(IMPOSSIBLE_STEP, before * 16 + pins)
            return
        self.edge_count += 1
        turned = step != self.step and not self.fresh
        interval = INTERVAL_MAX if self.fresh or step != self.step else min(elapsed, INTERVAL_MAX)
        self.reversals += turned
        self.step, self.fresh = step, False
        self.shortest = min(self.shortest, interval)
        on = before & ~pins
        self._left_on += bool(on & PIN_LEFT)
        self._right_on += bool(on & PIN_RIGHT)
        if self.bed:
            self._step(self.bed, on, interval, elapsed)

    def _step(self, bed: Bed, on: int, interval: int, elapsed: int) -> None:
        ahead = min(self.advance, bed.advance_max)
        self.advance = 1 + bed.advance // max(interval, 1)
        came_from = self.position
        self.position = max(-0x8000, min(0x7FFF, self.position + self.step))
        if self.edge_min_us and elapsed * TICK_US < self.edge_min_us:
            self._raise(EDGES_TOO_FAST)
        if not self.pins & (PIN_LEFT | PIN_RIGHT):
            self._raise(BOTH_SENSORS, self.pins)
        elif on & PIN_LEFT:
            self._end_sensor(bed, bed.left_sensor, self.step < 0)
        elif on & PIN_RIGHT:
            self._end_sensor(bed, bed.right_sensor, self.step > 0)
        beyond = BEYOND_NEEDLES * bed.edges_per_needle
        if self.certain and not bed.left_sensor - beyond <= self.position <= bed.right_sensor + beyond:
            self._raise(OFF_THE_BED)
        self.lowest, self.highest = min(self.lowest, self.position), max(self.highest, self.position)
        if self.way and (self.under_way or self.way.sign * self.position > self.way.start_line):
            self._pass_edge(bed, self.way, interval, ahead)
        else:
            self._entry(came_from)
            self._arm()
        self.at_rest = 0

    def _end_sensor(self, bed: Bed, place: int, towards: bool) -> None:
        error = self.position - place
        if self.certain and abs(error) > bed.tolerance:
            self._raise(SENSOR_DISAGREES, error)
        elif towards:
            if self.certain:
                self._correction = error
            else:
                self.lowest = self.highest = place
            self.position, self.certain = place, True

    def _entry(self, came_from: int) -> None:
        """Fault 5: between the lines without a pass armed for this direction."""
        plan = self.plan
        if not plan or self.done >= plan.last or not self.certain or self.fault or self._paused:
            return
        rightward = came_from == plan.left_line and self.position == came_from + 1
        leftward = came_from == plan.right_line and self.position == came_from - 1
        if rightward or leftward:
            coming = self._passes.get(self.done + 1)
            self._raise(NOT_READY, 0 if coming is None else 1 if coming.direction != rightward else 2)

    # ---- passes (sections 6 and 7) --------------------------------------------------------

    def _arm(self) -> None:
        """Arm the coming pass, or disarm it, when no pass is under way."""
        if self.under_way:
            return
        coming = self._passes.get(self.done + 1)
        if not (self.bed and self.plan and coming and self.certain) or self.fault or self._paused:
            self.way = None
            return
        if coming.direction:
            before_start = self.position <= self.plan.left_line
        else:
            before_start = self.position >= self.plan.right_line
        self.way = (self.way or Way.of(self.bed, self.plan, coming)) if before_start else None

    def _pass_edge(self, bed: Bed, way: Way, interval: int, ahead: int) -> None:
        q = way.sign * self.position
        if not self.under_way:
            self.under_way = self._writer.waiting = True
            way.begin(self.tick())
        elif interval > STOP_TICKS:
            way.stops += 1
        way.shortest = min(way.shortest, interval)
        way.advance = max(way.advance, self.advance)
        if self.advance > bed.advance_max:
            return self._raise(TOO_FAST, interval)
        while len(way.tenth_ticks) < 10 and q >= way.tenth_line(len(way.tenth_ticks) + 1):
            way.tenth_ticks.append(self.tick())
        if q >= way.finish_line:
            return self._pass_done(way)
        forward = self.step == way.sign
        way.backings += way.forward and not forward
        way.forward = forward
        way.furthest = max(way.furthest, q)
        way.backed = max(way.backed, way.furthest - q)
        if way.furthest - q > bed.backing:
            return self._raise(TURNED_EARLY, way.furthest - q)
        if q <= way.start_line:
            return self._armed_again(way)
        way.reach = max(way.reach, q + ahead) if forward else min(way.reach, q + bed.advance_max)
        inactive = (1 << bed.count) - 1 if bed.active_low else 0
        self._drive(way.wanted(q, bed.hold) ^ inactive)
        if forward:
            self._driven(bed, way, q, inactive)

    def _driven(self, bed: Bed, way: Way, q: int, inactive: int) -> None:
        index = way.met(q)
        if index is None:
            return
        coil = int(way.coils[index])
        way.driven[index] = (self.register ^ inactive) >> coil & 1
        if way.driven[index] != way.selected[index]:
            self._raise(NOT_AS_PLANNED, coil, int(way.needles[index]))
        elif (way.selected[index] or bed.active_low) and self.tick() - self.changed_tick[coil] < acting_ticks(bed):
            number = COIL_RESTED if self.revived >> coil & 1 else SELECTOR_LATE
            self._raise(number, coil, int(way.needles[index]))

    def _armed_again(self, way: Way) -> None:
        self._off()
        self.under_way = self._writer.waiting = False
        way.reach = way.start_line
        self._paused = self._pause_wanted
        self._writer.go_on(self.now)
        self._arm()

    def _pass_done(self, way: Way) -> None:
        self._off()
        self.way, self.under_way = None, False
        self._writer.waiting = False
        self.done = way.number
        furthest = self.lowest if way.sign > 0 else self.highest
        report = way.report(self._fingerprint(), furthest, self._correction)
        self._reports[way.number] = self._due[Done] = report
        del self._passes[way.number]
        self._correction = 0
        self.lowest = self.highest = self.position
        self._paused = self._pause_wanted
        self._writer.begin(self.now, self._fingerprint(), self.done)
        self._arm()
