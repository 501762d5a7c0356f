"""The moving half of the model board: where the carriage is, which pass is under way, which coils are on.

Sections 5 to 9 and 11 of `docs/protocol.md`. It knows nothing of frames: what the host is to hear of is
gathered in `news`, which the board takes.
"""

from __future__ import annotations

from latchline.link.faults import LOSES_POSITION, FaultNumber
from latchline.link.messages import NO_NEEDLE, TICK_US, Bed, Done, Fault, Pass, PlanStart
from latchline.sim.board.clock import Clock
from latchline.sim.board.heat import COILS, NEVER, Heat
from latchline.sim.board.steps import IMPOSSIBLE
from latchline.sim.board.switches import Edge, Switch, switches
from latchline.sim.board.way import INTERVAL_MAX, STOP_TICKS, Way, acting_ticks, lines_of
from latchline.sim.face import PIN_LEFT, PIN_MIDDLE, PIN_RIGHT

BEYOND_NEEDLES = 64
ENDS = PIN_LEFT | PIN_RIGHT
SENSORS = ENDS | PIN_MIDDLE

REVERSALS_MOST = 8
BOUNCE_TICKS = 50  # a reversal sooner than this is a contact that bounces
PERIOD = 4  # edges
TRAIL = 6  # edges that are looked back at
GAP = 3  # times its neighbours: an interval in which edges are missing
HALT = 14  # times its neighbours: with no pass under way the carriage may have been stopped, or lifted
TURN = 6  # times `brisk`: no hand turns twice within it
BACK_MOST = 3  # edges between two turns that are looked at
BEATS_TO_JUDGE = 10
PAUSE_MS = 1000


class Follower:
    """Follows the carriage and switches the coils.

    edge_min_us: closest edges that the board can follow (0: any).
    """

    def __init__(self, clock: Clock, edge_min_us: int = 0) -> None:
        self.clock, self.edge_min_us = clock, edge_min_us
        self.pins = SENSORS  # levels now
        self.start()

    def start(self) -> None:
        """The board begins to work; the levels of its pins stay what they are."""
        self.bed: Bed | None = None
        self.switches: list[Switch] = []
        self.seen_pins = self.pins  # levels at the last edge
        self.position, self.certain = 0, False
        self.step, self.last_tick, self.fresh = 0, 0, True
        self.lowest = self.highest = 0
        self.correction = 0
        self.edge_count = self.reversals = self.impossible = self.left_on = self.right_on = 0
        self.shortest = INTERVAL_MAX
        self.fault: Fault | None = None
        self.register = 0
        self.changed_tick = [0] * COILS
        self.heat = Heat()
        self.rest_beat = NEVER  # no coil needs a rest before this beat
        self.at_rest = self.revived = self.rests = 0
        self.differing = self.differing_beats = 0
        self.trail_times: list[int] = []  # before each of the newest edges; that before the first one means nothing
        self.trail_steps: list[int] = []
        self.news: list[Fault | Done] = []
        self.probing = False
        self.no_plan()

    def no_plan(self) -> None:
        self.plan: PlanStart | None = None
        self.received = self.done = 0
        self.passes: dict[int, Pass] = {}
        self.last_lines: tuple[int, int] | None = None  # of the pass that was done last
        self.way: Way | None = None
        self.under_way = False
        self.paused = self.pause_wanted = False
        self.pause_beat = 0
        self.turns_running = 0

    @property
    def fingerprint(self) -> int:
        return self.plan.fingerprint if self.plan else 0

    @property
    def run(self) -> int:
        return self.plan.run if self.plan else 0

    @property
    def enabled(self) -> bool:
        return self.way is not None or self.probing

    @property
    def lamp(self) -> bool:
        return self.way is not None and (self.under_way or not self.pause_wanted)

    # ---- what the host asks ---------------------------------------------------------------

    def set_bed(self, bed: Bed) -> None:
        self.off()
        self.no_plan()
        self.bed = bed
        self.switches = switches(bed)
        self.heat.set_bed(bed, self.clock.ms())
        self.at_rest = 0
        self.differing_beats = 0
        self.certain, self.fresh = False, True

    def set_plan(self, plan: PlanStart) -> None:
        self.off()
        self.no_plan()
        self.plan = plan
        self.received = self.done = plan.first - 1
        self.lowest = self.highest = self.position

    def stop(self) -> None:
        self.off()
        self.no_plan()
        self.fresh = True

    def load(self, taken: Pass) -> None:
        self.received = taken.pass_number
        self.passes[taken.pass_number] = taken

    def pause(self, wanted: bool) -> None:
        if wanted == self.pause_wanted:
            return
        self.pause_wanted = wanted
        self.paused = wanted and self.way is None
        self.pause_beat = self.clock.beat_before() + PAUSE_MS

    def clear(self, number: int) -> bool:
        """End the fault if it has this number; tells whether it had."""
        if self.fault is None or self.fault.fault != number:
            return False
        self.fault = None
        return True

    def probe(self, selector: int) -> None:
        self.probing = True
        self._drive(1 << selector)

    # ---- faults and coils -----------------------------------------------------------------

    def fault_now(self, number: int, detail: int, needle: int) -> Fault:
        at = self.way.number if self.way else (self.done + 1) & 0xFFFFFFFF if self.plan else 0
        return Fault(number, self.fingerprint, at, needle, self.position, detail & 0xFFFF)

    def raise_fault(self, number: FaultNumber, detail: int = 0, needle: int | None = None) -> None:
        if needle is None:
            way = self.way if self.under_way else None
            needle = way.next_needle(way.sign * self.position) if way else NO_NEEDLE
        if self.fault is None:
            self.fault = self.fault_now(number, detail, needle)
            self.news.append(self.fault)
        if number in LOSES_POSITION:
            self.certain, self.fresh = False, True
            for switch in self.switches:
                switch.forget()
        self.off()
        self.way, self.under_way = None, False
        self.paused = self.paused or self.pause_wanted

    def off(self) -> None:
        self.probing = False
        self._drive(0)
        self.revived = 0

    def _drive(self, register: int) -> None:
        """Switch the coils."""
        changed = register ^ self.register
        if not changed:
            return
        tick = self.clock.tick()
        while changed:
            coil = changed.bit_length() - 1
            bit = 1 << coil
            changed &= ~bit
            self.changed_tick[coil] = tick
            self.rest_beat = min(self.rest_beat, self.heat.switch(coil, bool(register & bit), tick))
        self.revived &= register
        self.register = register

    def _cooled(self) -> int:
        """At an edge: the coils whose rest is over, which may go on again."""
        over = 0
        for coil in range(COILS):
            if self.at_rest >> coil & 1 and self.heat.cooled(coil, self.clock.ms()):
                over |= 1 << coil
        self.at_rest &= ~over
        return over

    # ---- on the beat ----------------------------------------------------------------------

    def beat(self) -> None:
        self._rest_coils()
        self._look_at_sensors()
        if self.pause_wanted and not self.paused and not self.under_way and self.clock.ms() >= self.pause_beat:
            self.paused = True
            self.arm()

    def beat_of_interest(self) -> int:
        """The next beat at which something may happen here; one too early does no harm."""
        beat = self.rest_beat
        if self.pause_wanted and not self.paused and not self.under_way:
            beat = min(beat, self.pause_beat)
        differing = (self.pins ^ self.seen_pins) & SENSORS
        unjudged = differing and self.differing_beats <= BEATS_TO_JUDGE
        if self.bed and (unjudged or differing != self.differing):
            beat = min(beat, self.clock.ms() + 1)
        return beat

    def _rest_coils(self) -> None:
        beat, heat = self.clock.ms(), self.heat
        if beat < self.rest_beat:
            return
        for coil in range(COILS):
            bit = 1 << coil
            if not self.at_rest & bit and heat.tired(coil, beat):
                self.register &= ~bit
                heat.rest(coil)
                self.at_rest |= bit
                self.revived &= ~bit
                self.rests += 1
        self.rest_beat = heat.soonest(beat)

    def _look_at_sensors(self) -> None:
        """Sensors that have changed without an edge."""
        if not self.bed:
            return
        differing = (self.pins ^ self.seen_pins) & SENSORS
        self.differing_beats = self.differing_beats + 1 if differing == self.differing else 1
        self.differing = differing
        if not differing or self.differing_beats != BEATS_TO_JUDGE:
            return
        both = differing & ENDS == ENDS and (self.certain or self.plan is not None)
        strange = self.certain and any(
            differing & switch.pin and not switch.may_change_at(self.position, bool(self.bed.passing))
            for switch in self.switches
        )
        if not self.pins & ENDS:
            self.raise_fault(FaultNumber.BOTH_SENSORS, self.pins)
        elif both or strange:
            self.raise_fault(FaultNumber.ENCODER_SILENT, self.seen_pins << 8 | self.pins)

    # ---- position (section 5) -------------------------------------------------------------

    def edge(self, pins: int, step: int) -> None:
        before, self.pins = self.seen_pins, pins
        if step == 0:  # a sensor alone: seen at the next edge, or on the beat
            return
        self.seen_pins = pins
        self.differing_beats = 0
        tick = self.clock.tick()
        elapsed = tick - self.last_tick
        self.last_tick = tick
        if step == IMPOSSIBLE:
            self.impossible += 1
            self.fresh = True
            if self.bed:
                self.raise_fault(FaultNumber.IMPOSSIBLE_STEP, before << 8 | pins)
            return
        self.edge_count += 1
        turned = step != self.step and not self.fresh
        straight = step == self.step and not self.fresh
        if self.fresh:
            self.trail_times, self.trail_steps = [], []
        interval = min(elapsed, INTERVAL_MAX) if straight else INTERVAL_MAX
        self.reversals += turned
        self.step, self.fresh = step, False
        self.shortest = min(self.shortest, interval)
        on = before & ~pins
        self.left_on += bool(on & PIN_LEFT)
        self.right_on += bool(on & PIN_RIGHT)
        if self.bed:
            came_from = self.position
            self.position = max(-0x8000, min(0x7FFF, self.position + step))
            sound = self._place(self.bed, Edge(self.position, step, straight, turned, pins, before), elapsed)
            self.lowest, self.highest = min(self.lowest, self.position), max(self.highest, self.position)
            self._go_on(self.bed, came_from, interval, sound)

    def _place(self, bed: Bed, edge: Edge, elapsed: int) -> bool:
        """Section 5; false when the position has become uncertain."""
        if self.edge_min_us and elapsed * TICK_US < self.edge_min_us:
            self.raise_fault(FaultNumber.EDGES_TOO_FAST)
            return False
        if self.plan and self._channel_is_dead(edge.turned, elapsed):
            self.raise_fault(FaultNumber.CHANNEL_DEAD, edge.lone_channel)
            return False
        strange = self._strange(bed, edge, min(elapsed, INTERVAL_MAX))
        if strange and self.certain:
            self.raise_fault(*strange)
            return False
        if strange:
            for switch in self.switches:
                switch.forget()
        if not (edge.pins | edge.pins_before) & ENDS:
            self.raise_fault(FaultNumber.BOTH_SENSORS, edge.pins)
            return False
        for switch in self.switches:
            verdict = switch.edge(edge, self.certain)
            if verdict is None:
                continue
            if verdict.fault:
                self.raise_fault(*verdict.fault)
                return False
            if verdict.moved is not None:
                self._now_certain(switch, verdict.moved)
                break
            if verdict.deviation is not None and switch.end:
                self.correction = verdict.deviation
        beyond = BEYOND_NEEDLES * bed.edges_per_needle
        if self.certain and not bed.left_sensor - beyond <= self.position <= bed.right_sensor + beyond:
            self.raise_fault(FaultNumber.OFF_THE_BED)
            return False
        return True

    def _now_certain(self, by: Switch, moved: int) -> None:
        self.position += moved
        self.certain = True
        self.lowest = self.highest = self.position
        for switch in self.switches:
            if switch is not by:
                switch.certain_at(self.position)

    def _channel_is_dead(self, turned: bool, elapsed: int) -> bool:
        """One channel alone changes: reversal upon reversal."""
        if not turned or elapsed > STOP_TICKS:
            self.turns_running = 0
        elif elapsed >= BOUNCE_TICKS:
            self.turns_running += 1
        return self.turns_running >= REVERSALS_MOST

    def _strange(self, bed: Bed, edge: Edge, interval: int) -> tuple[FaultNumber, int] | None:
        """What no hand can have done, by the times of the newest edges: a fault and its detail."""
        times, steps = self.trail_times, self.trail_steps
        times.append(interval)
        steps.append(edge.step)
        if len(times) > TRAIL:
            del times[0], steps[0]
        if self._turned_twice(bed, edge.step):
            return FaultNumber.CHANNEL_DEAD, edge.lone_channel
        if len(times) < 4 or steps[-4:] != [edge.step] * 4:
            return None
        t1, t2, t3 = times[-3:]
        longer = max(t1, t3)
        leaps = t3 < BOUNCE_TICKS
        may_have_stopped = not self.under_way and t2 // HALT >= longer
        if t2 <= GAP * longer or not (leaps or (longer <= bed.brisk and not may_have_stopped)):
            return None
        return FaultNumber.EDGES_MISSING, t2

    def _turned_twice(self, bed: Bed, step: int) -> bool:
        """Is this edge a second turn, or the one after it, that no hand could make so soon or at such a speed?"""
        times, steps = self.trail_times, self.trail_steps
        if -step not in steps:
            return False
        for back in range(1, BACK_MOST + 1):
            if steps[-back - 3 :] == [step, step, *[-step] * back, step]:
                quick = sum(times[-back - 2 :]) < min(TURN * bed.brisk, INTERVAL_MAX)
                t1, t2, t3 = times[-3:]
                half_missing = max(t1, t3) <= bed.brisk // 2 and t2 > 2 * t1
                bounces = t2 < BOUNCE_TICKS or (t2 + t3) // 2 <= t1
                if back == 1:
                    return (quick and not bounces) or half_missing
                return quick or (back == 2 and t2 < BOUNCE_TICKS)  # both channels came back at almost one time
        if steps[-5:] == [step, step, -step, step, step]:  # gone with one edge back, and some time later back at speed
            before, _, gone, after = times[-4:]
            longer = max(before, after)
            return longer <= bed.brisk // 2 and gone > 2 * longer
        return False

    # ---- passes (sections 6 and 7) --------------------------------------------------------

    def _go_on(self, bed: Bed, came_from: int, interval: int, sound: bool) -> None:
        over = self._cooled() if self.at_rest else 0
        if sound and self.way and (self.under_way or self.way.sign * self.position > self.way.start_line):
            self._pass_edge(bed, self.way, interval, over)
        else:
            self._entry(came_from)
            self.arm()

    def gates(self) -> list[tuple[int, int]]:
        """Between which lines the carriage must not enter unless a pass is armed."""
        assert self.plan
        coming = self.passes.get(self.done + 1)
        gates = [] if coming is None else [lines_of(self.plan, coming)]
        if self.last_lines:
            gates.append(self.last_lines)
        return gates or [(self.plan.left_line, self.plan.right_line)]

    def _entry(self, came_from: int) -> None:
        """Fault 5: between the lines without a pass armed for this direction."""
        plan = self.plan
        if not plan or self.done >= plan.last or not self.certain or self.fault or self.paused:
            return
        for left, right in self.gates():
            rightward = came_from == left and self.position == left + 1
            leftward = came_from == right and self.position == right - 1
            if (rightward or leftward) and not (self.way and (self.way.sign > 0) == rightward):
                coming = self.passes.get(self.done + 1)
                return self.raise_fault(
                    FaultNumber.NOT_READY, 0 if coming is None else 1 if coming.direction != rightward else 2
                )

    def arm(self) -> None:
        """Arm the coming pass, or disarm it, when no pass is under way."""
        if self.under_way:
            return
        coming = self.passes.get(self.done + 1)
        before_start = False
        if self.bed and self.plan and coming and self.certain and not self.fault and not self.paused:
            left, right = lines_of(self.plan, coming)
            before_start = self.position <= left if coming.direction else self.position >= right
            if before_start and not self.way:
                self.way = Way.of(self.bed, self.plan, coming)
        if not before_start and self.way:
            self.way = None
            self.paused = self.pause_wanted

    def _pass_edge(self, bed: Bed, way: Way, interval: int, over: int) -> None:
        """over: the coils whose rest has just ended."""
        q = way.sign * self.position
        if not self.under_way:
            self.under_way = True
            way.begin(self.last_tick)
        elif interval > STOP_TICKS:
            way.stops += 1
        if self.trail_steps[-PERIOD - 1 :] == [self.step] * (PERIOD + 1):
            period = sum(self.trail_times[-PERIOD:])
            way.shortest = min(way.shortest, max(period // 4, 1))
            if bed.advance_max * period <= 4 * bed.advance:
                return self.raise_fault(FaultNumber.TOO_FAST, period // 4)
        while len(way.tenth_ticks) < 10 and q >= way.tenth_line(len(way.tenth_ticks) + 1):
            way.tenth_ticks.append(self.last_tick)
        if q >= way.finish_line:
            return self._pass_done(bed, way)
        forward = self.step == way.sign
        way.backings += way.forward and not forward
        way.forward = forward
        way.furthest = max(way.furthest, q)
        way.backed = max(way.backed, way.furthest - q)
        if way.furthest - q > bed.backing:
            return self.raise_fault(FaultNumber.TURNED_EARLY, way.furthest - q)
        if q <= way.start_line:
            return self._back_at_the_start(way)
        wanted = way.wanted(q) & ~self.at_rest
        self.revived |= over & wanted
        self._drive(wanted)
        if forward:
            self._met(bed, way, q)

    def _met(self, bed: Bed, way: Way, q: int) -> None:
        index = way.met_at(q)
        if index is None:
            return
        way.met = max(way.met, index + 1)
        coil, needle = int(way.coils[index]), int(way.needles[index])
        on = bool(self.register >> coil & 1)
        way.driven[index] = on ^ bool(bed.active_low)
        if on != way.current[index]:
            self.raise_fault(
                FaultNumber.COIL_RESTED if self.at_rest >> coil & 1 and not on else FaultNumber.NOT_AS_PLANNED,
                coil,
                needle,
            )
        elif on and self.last_tick - self.changed_tick[coil] < acting_ticks(bed):
            self.raise_fault(
                FaultNumber.COIL_RESTED if self.revived >> coil & 1 else FaultNumber.SELECTOR_LATE, coil, needle
            )

    def _back_at_the_start(self, way: Way) -> None:
        if way.met:
            return self.raise_fault(FaultNumber.LEFT_AGAIN, way.met | way.direction << 8, int(way.needles[way.met - 1]))
        self.off()
        self.under_way = False
        self.paused = self.pause_wanted
        self.arm()

    def _pass_done(self, bed: Bed, way: Way) -> None:
        self.off()
        self.way, self.under_way = None, False
        self.done = way.number
        self.last_lines = sorted_lines(way)
        furthest = self.lowest if way.sign > 0 else self.highest
        self.news.append(way.report(bed, self.fingerprint, furthest, self.correction))
        del self.passes[way.number]
        self.correction = 0
        self.lowest = self.highest = self.position
        self.paused = self.pause_wanted
        self.arm()


def sorted_lines(way: Way) -> tuple[int, int]:
    """Left and right line of a pass."""
    left, right = sorted((way.sign * way.start_line, way.sign * way.finish_line))
    return left, right
