"""The model board: `docs/protocol.md` in executable form, edge by edge and tick by tick.

It is the default board of every dry run, and what the firmware is compared with. `sim/runs.py`
takes long quiet stretches of edges at one go; a property test holds the two to the same result.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from latchline.link import frames, messages
from latchline.link.messages import (
    PROTOCOL,
    Ask,
    Bed,
    BedTaken,
    BoardInfo,
    Buzz,
    Checkpoint,
    Clear,
    Counts,
    Done,
    Fault,
    Greet,
    Message,
    Pass,
    Pause,
    PlanStart,
    Probe,
    Probed,
    Refused,
    Seen,
    Status,
    Stop,
)
from latchline.sim import memory, runs
from latchline.sim.face import BYTE_US, PIN_LEFT, PIN_RIGHT, Analog, Pins, Signals, Times
from latchline.sim.outputs import Outputs
from latchline.sim.way import INTERVAL_MAX, STOP_TICKS, Way

TICK_US = 4
MS_US = 1000
NEVER_US = 1 << 62
SLOTS = 32
NEEDLES_MAX = 255
VERSION = bytes((0, 1, 0))
MEMORY_BYTE_US = 3400  # time to write one byte, ATmega328P data sheet (memory)
BEYOND_NEEDLES = 64
STATUS_SOONEST_MS, STATUS_MS, DONE_AGAIN_MS, FAULT_AGAIN_MS, HEARD_MS = 20, 250, 200, 1000, 2000
SUPPLY_READINGS, CURRENT_READINGS = 10, 3
GOOD_READING = (711, 0)  # counts of a board on which nothing is read

IMPOSSIBLE_STEP, SENSOR_DISAGREES, BOTH_SENSORS, TOO_FAST, NOT_READY, TURNED_EARLY, COIL_RESTED = range(1, 8)
NOT_AS_PLANNED, HOST_SILENT, SUPPLY_LOW, CURRENT_HIGH = range(8, 12)
EDGES_TOO_FAST, OFF_THE_BED = 13, 14
LOSING = (IMPOSSIBLE_STEP, SENSOR_DISAGREES, BOTH_SENSORS, EDGES_TOO_FAST, OFF_THE_BED)

BED_OUT, PLAN_OUT, NO_PROBE, NOT_SPOKEN = 1, 2, 3, 4  # reasons of REFUSED

# In which order due kinds of frame are sent.
SENDING_ORDER = (BoardInfo, BedTaken, Refused, Fault, Done, Probed, Checkpoint, Counts, Status)


def bed_is_good(bed: Bed) -> bool:
    """The limits of section 4."""
    share = bed.count if bed.layout_kind == 1 else 1
    return (
        2 <= bed.needles <= NEEDLES_MAX
        and 1 <= bed.edges_per_needle <= 16
        and -4096 <= bed.left_sensor < 0
        and (bed.needles - 1) * bed.edges_per_needle < bed.right_sensor <= 8191
        and bed.layout_kind in (0, 1)
        and 1 <= bed.count <= (16 if bed.layout_kind == 1 else 2)
        and all(-480 <= lead <= 480 for lead in (bed.lead_leftward, bed.lead_rightward))
        and min(bed.advance, bed.advance_max, bed.hold) >= 1
        and 5 <= bed.limit_ms <= 2000
        and bed.active_low in (0, 1)
        and bed.advance_max + bed.hold <= share * bed.edges_per_needle
    )


class ModelBoard:
    """A board with the face of `sim/face.py`.

    chosen: the number that the board gives itself at its first start.
    analog: what the converter reads; None reads a good supply and no current.
    in_bulk: False takes every edge by itself.
    edge_min_us: closest edges that the board can follow (0: any).
    """

    def __init__(
        self,
        *,
        chosen: int = 0x4C61_7463,
        slots: int = SLOTS,
        analog: Analog | None = None,
        in_bulk: bool = True,
        edge_min_us: int = 0,
    ) -> None:
        self.chosen, self.slots, self.analog = chosen, slots, analog
        self.in_bulk, self.edge_min_us = in_bulk, edge_min_us
        self._memory = bytearray(b"\xff" * memory.SIZE)
        self._sent: list[tuple[int, bytes]] = []
        self._status_sent: tuple[int, ...] = ()
        self.out = Outputs()
        self.pins = PIN_LEFT | PIN_RIGHT  # levels now
        self.now = self.wake_us = 0
        self._start(0, 0)
        self.wake_us = NEVER_US  # no power yet

    # ---- the face -------------------------------------------------------------------------

    def power(self, at_us: int, cause: int) -> None:
        self.run(at_us)
        if self._sent:  # a frame that was being sent is cut short
            began, data = self._sent[-1]
            self._sent[-1] = (began, data[: max(0, (at_us - began) // BYTE_US + 1)])
        memory.started(self._memory, self.chosen)
        self._start(at_us, cause)
        self._status_sent = self._status_state()
        self._due[BoardInfo] = None
        self._settle()

    def run(self, until_us: int) -> None:
        while self.wake_us <= until_us:
            self.now = max(self.now, self.wake_us)
            self._happen()
        self.now = until_us

    def edges(self, at_us: Times, pins: Pins) -> None:
        steps = runs.steps(self.pins, pins)
        at = 0
        for end in runs.breaks(steps, pins):
            step = int(steps[at])
            while at < end:
                if self.wake_us <= at_us[at]:
                    self.run(int(at_us[at]))
                taken = 0
                if self.in_bulk and end - at >= runs.SHORTEST_RUN:
                    taken = runs.take(self, at_us[at:end], pins[at:end], step)
                if not taken:
                    self.now = int(at_us[at])
                    self._edge(int(pins[at]), step)
                    taken = 1
                at += taken
                self._settle()

    def receive(self, at_us: int, data: bytes) -> None:
        self.run(at_us)
        begin = 0
        while begin < len(data):
            end = data.find(0, begin) + 1 or len(data)
            for frame in self._gatherer.feed(data[begin:end]):
                self._inbox.append((at_us + (end - 1) * BYTE_US, frame))
            begin = end
        self._settle()

    def sent(self) -> list[tuple[int, bytes]]:
        sent, self._sent = self._sent, []
        return sent

    def signals(self) -> Signals:
        return self.out.taken()

    @property
    def memory(self) -> bytes:
        return bytes(self._memory)

    @memory.setter
    def memory(self, data: bytes) -> None:
        self._memory[:] = data

    # ---- a start --------------------------------------------------------------------------

    def _start(self, at_us: int, cause: int) -> None:
        self.now = self.started_us = at_us
        self.cause = cause
        self.wake_us = at_us
        self._gatherer = frames.Gatherer()
        self._inbox: deque[tuple[int, bytes | None]] = deque()
        self._due: dict[type[Message], Message | None] = {}
        self._free_us = at_us
        self._status_sent = ()
        self._status_ms = self._done_ms = self._fault_ms = -10_000
        self._greeted, self._refusing = False, False
        self._heard_ms = 0

        self.bed: Bed | None = None
        self.seen_pins = self.pins
        self.position, self.certain = 0, False
        self.step, self.last_tick, self.fresh = 0, 0, True
        self.advance = 1
        self.lowest = self.highest = 0
        self._correction = 0
        self.edge_count = self.reversals = self._impossible = self._left_on = self._right_on = 0
        self._bad_frames = self._stale = self._rests = 0
        self.shortest = INTERVAL_MAX

        self.fault: Fault | None = None
        self._no_plan()
        self.register = 0
        self.on_since_ms = [0] * 16
        self.at_rest = self.revived = 0
        self._revived_tick = 0
        self._buzz_until_ms = 0
        self._probe: tuple[Probe, int, tuple[int, int]] | None = None
        self._low, self._high, self._supply_low, self._watched_ms = 0, 0, False, 0

        self._saved = memory.newest(self._memory)
        self._writing: memory.Saved | None = None
        self._written = 0
        self._byte_us: int | None = None

    def _no_plan(self) -> None:
        self.plan: PlanStart | None = None
        self.received = self.done = self._seen = 0
        self._passes: dict[int, Pass] = {}
        self._reports: dict[int, Done] = {}
        self.way: Way | None = None
        self.under_way = False
        self._paused, self._pause_wanted = False, False

    # ---- time -----------------------------------------------------------------------------

    def tick(self, at_us: int | None = None) -> int:
        return ((self.now if at_us is None else at_us) - self.started_us) // TICK_US

    def ms(self) -> int:
        return (self.now - self.started_us) // MS_US

    def _happen(self) -> None:
        """Everything that is due now, edges apart."""
        while self._inbox and self._inbox[0][0] <= self.now:
            self._frame(self._inbox.popleft()[1])
        if self._byte_us is not None and self._byte_us <= self.now:
            self._byte_written()
        if self._probe and self.ms() >= self._probe[1]:
            self._probe_over()
        self._rest_coils()
        self._watch()
        patience_ms = self.bed.patience_ms if self.bed and self.plan and not self.fault else 0
        if patience_ms and self.ms() - self._heard_ms > patience_ms:
            self._raise(HOST_SILENT)
        self._settle(on_beat=self.now == self.started_us + self.ms() * MS_US)

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

    def _watch(self) -> None:
        """The readings of supply and current, once a millisecond while the outputs are enabled."""
        if not self._watching():
            self._low = self._high = 0
            self._supply_low = False
            return
        if self.ms() == self._watched_ms:
            return
        assert self.bed
        self._watched_ms = self.ms()
        supply, current = self._read()
        self._supply_low = supply < self.bed.supply_min
        self._low = self._low + 1 if self._supply_low else 0
        self._high = self._high + 1 if self.bed.current_max and current > self.bed.current_max else 0
        if self._low >= SUPPLY_READINGS:
            self._raise(SUPPLY_LOW, supply)
        elif self._high >= CURRENT_READINGS:
            self._raise(CURRENT_HIGH, current)

    def _watching(self) -> bool:
        if self.bed is None or self.analog is None or not (self.bed.supply_min or self.bed.current_max):
            return False
        return self.enabled

    def _read(self) -> tuple[int, int]:
        return self.analog(self.register, self.enabled) if self.analog else GOOD_READING

    @property
    def enabled(self) -> bool:
        return self.way is not None or self._probe is not None

    def _settle(self, on_beat: bool = False) -> None:
        """Bring outputs and transmitter in line with what has happened, and find the next instant of interest."""
        self.out.show(self.now, self.register, self.enabled, self.way is not None, self._buzzing())
        status = self._status_state()
        ms = self.ms()
        if on_beat:
            self._make_due(ms, status)
        if self._due and self._free_us <= self.now:
            self._send(status)
        self.wake_us = min(self._instants(ms, status))

    def _instants(self, ms: int, status: tuple[int, ...]) -> Iterator[int]:
        """Every coming instant at which something may happen without an edge."""
        yield NEVER_US
        if self._inbox:
            yield self._inbox[0][0]
        if self._due:
            yield self._free_us
        if self._byte_us is not None:
            yield self._byte_us
        for at_ms in self._instants_ms(ms, status):
            yield self.started_us + max(at_ms, ms + 1) * MS_US

    def _instants_ms(self, ms: int, status: tuple[int, ...]) -> Iterator[int]:
        if Status not in self._due:
            if status != self._status_sent:
                yield self._status_ms + STATUS_SOONEST_MS
            elif self._greeted and self._status_ms + STATUS_MS - self._heard_ms <= HEARD_MS:
                yield self._status_ms + STATUS_MS
        if self._seen < self.done and Done not in self._due:
            yield self._done_ms + DONE_AGAIN_MS
        if self.fault and Fault not in self._due:
            yield self._fault_ms + FAULT_AGAIN_MS
        if self._probe:
            yield self._probe[1]
        elif self.bed and self.register:
            yield min(
                since + self.bed.limit_ms for coil, since in enumerate(self.on_since_ms) if self.register >> coil & 1
            )
        if self.plan and self.bed and self.bed.patience_ms and not self.fault:
            yield self._heard_ms + self.bed.patience_ms + 1
        if self._watching():
            yield ms + 1
        for period, on in self._beeps():
            yield ms - ms % period + (on if ms % period < on else period)
        if ms < self._buzz_until_ms:
            yield self._buzz_until_ms

    # ---- lamp, buzzer, status -------------------------------------------------------------

    def _beeps(self) -> Iterator[tuple[int, int]]:
        """Period and time on of each pattern that the buzzer has to sound."""
        if self.fault:
            yield 500, 100
        if self.at_rest and self.under_way:
            yield 1000, 50
        if self._not_loaded() and self.certain and not self._paused and not self.under_way:
            yield 1000, 50

    def _buzzing(self) -> bool:
        ms = self.ms()
        return ms < self._buzz_until_ms or any(ms % period < on for period, on in self._beeps())

    def _not_loaded(self) -> bool:
        return self.plan is not None and self.received == self.done < self.plan.last

    def _credit(self) -> int:
        return min(self._seen + self.slots, 0xFFFFFFFF) if self.plan else 0

    def _fingerprint(self) -> int:
        return self.plan.fingerprint if self.plan else 0

    def _status_state(self) -> tuple[int, ...]:
        """What makes a STATUS due when it changes."""
        flags = (
            (self.bed is not None)
            | self.certain << 1
            | (self.plan is not None) << 2
            | self._paused << 3
            | self.under_way << 4
            | (self.way is not None) << 5
            | (self.at_rest != 0) << 6
            | self.enabled << 7
            | (self._writing is not None) << 8
            | self._not_loaded() << 9
            | self._supply_low << 10
        )
        armed = self.way.number if self.way else 0
        fault = self.fault.fault if self.fault else 0
        return self._fingerprint(), self.received, armed, self.done, self._credit(), flags, fault, self._rests

    # ---- the transmitter ------------------------------------------------------------------

    def _make_due(self, ms: int, status: tuple[int, ...]) -> None:
        changed = status != self._status_sent and ms - self._status_ms >= STATUS_SOONEST_MS
        again = self._greeted and ms - self._status_ms >= STATUS_MS and ms - self._heard_ms <= HEARD_MS
        if changed or again:
            self._due[Status] = None
        if self._seen < self.done and ms - self._done_ms >= DONE_AGAIN_MS and Done not in self._due:
            self._due[Done] = self._reports[self._seen + 1]
        if self.fault and ms - self._fault_ms >= FAULT_AGAIN_MS:
            self._due[Fault] = None

    def _send(self, status: tuple[int, ...]) -> None:
        kind = next(kind for kind in SENDING_ORDER if kind in self._due)
        message = self._due.pop(kind) or self._message(kind)
        if kind is Status:
            self._status_sent, self._status_ms = status, self.ms()
        elif kind is Done:
            self._done_ms = self.ms()
        elif kind is Fault:
            self._fault_ms = self.ms()
        data = messages.to_wire(message)
        self._sent.append((self.now + BYTE_US, data))
        self._free_us = self.now + len(data) * BYTE_US

    def _message(self, kind: type[Message]) -> Message:
        """What a due kind says at this moment."""
        if kind is Status:
            return self._status()
        if kind is BoardInfo:
            return self._info(0)
        if kind is Fault:
            return self.fault or self._fault(0, 0, messages.NO_NEEDLE)
        if kind is Checkpoint:
            saved = self._saved
            return Checkpoint(1, saved.fingerprint, saved.done, saved.sequence) if saved else Checkpoint(0, 0, 0, 0)
        assert kind is Counts
        supply, current = self._read()
        return Counts(
            edges=min(self.edge_count, 0xFFFFFFFF),
            impossible=min(self._impossible, 0xFFFF),
            left_on=min(self._left_on, 0xFFFF),
            right_on=min(self._right_on, 0xFFFF),
            reversals=min(self.reversals, 0xFFFF),
            bad_frames=min(self._bad_frames, 0xFFFF),
            overruns=0,
            stale=min(self._stale, 0xFFFF),
            shortest=self.shortest,
            supply=supply,
            current=current,
        )

    def _status(self) -> Status:
        fingerprint, received, armed, done, credit, flags, fault, rests = self._status_state()
        boots = memory.boots(self._memory)
        bad, rests = self._bad_frames & 0xFF, min(rests, 0xFFFF)
        return Status(
            boots, fingerprint, received, armed, done, credit, self.position, self.pins, flags, fault, bad, rests
        )

    def _info(self, nonce: int) -> BoardInfo:
        return BoardInfo(
            protocol=PROTOCOL,
            nonce=nonce,
            version=VERSION,
            board=memory.number(self._memory) or 0,
            boots=memory.boots(self._memory),
            reset_cause=self.cause,
            slots=self.slots,
            needles_max=NEEDLES_MAX,
            bed_check=self.bed.check() if self.bed else 0,
        )

    # ---- messages -------------------------------------------------------------------------

    def _frame(self, frame: bytes | None) -> None:
        message = messages.from_wire(frame)
        if not isinstance(message, messages.FROM_HOST):
            self._bad_frames += 1
            return
        self._heard_ms = self.ms()
        if self._refusing and not isinstance(message, Greet):
            self._due[Refused] = Refused(message.number, NOT_SPOKEN)
            return
        match message:
            case Greet():
                self._greeted, self._refusing = True, message.protocol != PROTOCOL
                self._due[BoardInfo] = self._info(message.nonce)
            case Bed():
                self._take_bed(message)
            case Probe():
                self._take_probe(message)
            case Buzz():
                self._buzz_until_ms = self.ms() + 10 * message.time_10ms
            case Ask():
                kind = {0: Status, 1: Counts, 2: Checkpoint, 3: Fault}.get(message.what)
                if kind:
                    self._due[kind] = None
            case _:
                self._steer(message)
                self._due[Status] = None
                self._arm()

    def _steer(self, message: Message) -> None:
        """The messages after which a STATUS is due at once."""
        match message:
            case PlanStart():
                self._take_plan(message)
            case Pass():
                self._take_pass(message)
            case Seen(fingerprint=fingerprint, pass_number=number):
                if self.plan and fingerprint == self.plan.fingerprint and self._seen <= number <= self.done:
                    self._seen = number
                    self._reports = {key: report for key, report in self._reports.items() if key > number}
                    report = self._due.get(Done)
                    if isinstance(report, Done) and report.pass_number <= number:
                        del self._due[Done]
            case Pause(paused=paused) if paused in (0, 1):
                self._pause_wanted = bool(paused)
                self._paused = self._pause_wanted and not self.under_way
            case Clear(fault=fault):
                if self.fault and self.fault.fault == fault:
                    self.fault = None
                    self._due.pop(Fault, None)
            case Stop():
                self._off()
                self._no_plan()
                self._due.pop(Done, None)
                self.fresh = True

    def _take_bed(self, bed: Bed) -> None:
        if not bed_is_good(bed):
            self._due[Refused] = Refused(Bed.number, BED_OUT)
            return
        if bed != self.bed:
            self._off()
            self._no_plan()
            self._due.pop(Done, None)
            self.bed = bed
            self.certain, self.fresh, self.advance = False, True, 1
        self._due[BedTaken] = BedTaken(bed.check())

    def _take_plan(self, plan: PlanStart) -> None:
        bed = self.bed
        good = (
            bed is not None
            and plan.fingerprint != 0
            and 1 <= plan.first <= plan.last + 1
            and bed.left_sensor < plan.left_line < plan.right_line < bed.right_sensor
            and plan.first_needle <= plan.last_needle < bed.needles
        )
        if not good:
            self._due[Refused] = Refused(PlanStart.number, PLAN_OUT)
            return
        self._off()
        self._no_plan()
        self._due.pop(Done, None)
        self.plan = plan
        self.received = self.done = self._seen = plan.first - 1
        self.lowest = self.highest = self.position

    def _take_pass(self, taken: Pass) -> None:
        plan = self.plan
        bits = int.from_bytes(taken.mask, "little")
        good = (
            plan is not None
            and taken.fingerprint == plan.fingerprint
            and taken.pass_number == self.received + 1 <= min(plan.last, self._credit())
            and taken.direction in (0, 1)
            and bits >> (plan.last_needle + 1) == 0
            and bits & ((1 << plan.first_needle) - 1) == 0
        )
        if not good:
            self._stale += 1
            return
        self.received = taken.pass_number
        self._passes[taken.pass_number] = taken

    def _take_probe(self, probe: Probe) -> None:
        bed = self.bed
        if (
            bed is None
            or self.plan
            or self.fault
            or self._probe
            or probe.selector >= bed.count
            or not 1 <= probe.time_ms < bed.limit_ms
        ):
            self._due[Refused] = Refused(Probe.number, NO_PROBE)
            return
        self._probe = (probe, self.ms() + probe.time_ms, self._read())
        self._drive(1 << probe.selector)

    def _probe_over(self) -> None:
        assert self._probe
        probe, _, idle = self._probe
        on = self._read()
        self._off()
        self._due[Probed] = Probed(probe.selector, idle[0], on[0], idle[1], on[1])

    # ---- checkpoint -----------------------------------------------------------------------

    def _save(self) -> None:
        """Begin to write down that a pass is done; a byte in the making is finished first."""
        first = memory.Saved(0, 1, self._fingerprint(), self.done)
        self._writing = self._saved.following(self._fingerprint(), self.done) if self._saved else first
        self._written = 0
        self._write_on()

    def _write_on(self) -> None:
        if self._writing and self._byte_us is None and not self.under_way:
            self._byte_us = self.now + MEMORY_BYTE_US
            self._byte = (self._writing.slot * memory.SLOT_BYTES + self._written, self._writing.bytes()[self._written])
            self._written += 1

    def _byte_written(self) -> None:
        place, value = self._byte
        self._memory[place] = value
        self._byte_us = None
        if self._writing and self._written == memory.SLOT_BYTES:
            self._saved, self._writing = self._writing, None
        self._write_on()

    # ---- faults and coils -----------------------------------------------------------------

    def _fault(self, number: int, detail: int, needle: int) -> Fault:
        at = self.way.number if self.way else self.done + 1 if self.plan else 0
        return Fault(number, self._fingerprint(), at, needle, self.position, detail & 0xFFFF)

    def _raise(self, number: int, detail: int = 0, needle: int | None = None) -> None:
        if needle is None:
            way = self.way if self.under_way else None
            needle = way.next_needle(way.sign * self.position) if way else messages.NO_NEEDLE
        if self.fault is None:
            self.fault = self._fault(number, detail, needle)
            self._due[Fault] = None
        if number in LOSING:
            self.certain, self.fresh = False, True
        self._off()
        self.way, self.under_way = None, False
        self._paused = self._paused or self._pause_wanted
        self._write_on()

    def _off(self) -> None:
        self._probe = None
        self._drive(0)
        self.at_rest = self.revived = 0

    def _drive(self, register: int) -> None:
        """Switch the coils; at_rest coils that go on again are revived."""
        rising = register & ~self.register
        while rising:
            coil = rising.bit_length() - 1
            self.on_since_ms[coil] = self.ms()
            rising &= ~(1 << coil)
            if self.at_rest >> coil & 1:
                self.revived |= 1 << coil
                self._revived_tick = self.tick()
        self.revived &= register
        self.register = register

    # ---- position (section 5) -------------------------------------------------------------

    def _edge(self, pins: int, step: int) -> None:
        before, self.pins = self.seen_pins, pins
        if step == 0:  # an end sensor alone: seen at the next edge
            return
        self.seen_pins = pins
        tick = self.tick()
        elapsed = tick - self.last_tick
        self.last_tick = tick
        self.edge_count += 1
        if step == runs.IMPOSSIBLE:
            self._impossible += 1
            self.fresh = True
            if self.bed:
                self._raise(IMPOSSIBLE_STEP, before * 16 + pins)
            return
        turned = step != self.step and self.step != 0
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
            self.under_way = True
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
        if self.revived >> coil & 1 and self.tick() - self._revived_tick < bed.advance:
            self._raise(COIL_RESTED, coil, int(way.needles[index]))
        elif way.driven[index] != way.selected[index]:
            self._raise(NOT_AS_PLANNED, coil, int(way.needles[index]))

    def _armed_again(self, way: Way) -> None:
        self._off()
        self.under_way = False
        way.reach = way.start_line
        self._paused = self._pause_wanted
        self._write_on()
        self._arm()

    def _pass_done(self, way: Way) -> None:
        self._off()
        self.way, self.under_way = None, False
        self.done = way.number
        furthest = self.lowest if way.sign > 0 else self.highest
        report = way.report(self._fingerprint(), furthest, self._correction)
        self._reports[way.number] = self._due[Done] = report
        del self._passes[way.number]
        self._correction = 0
        self.lowest = self.highest = self.position
        self._paused = self._pause_wanted
        self._save()
        self._arm()
