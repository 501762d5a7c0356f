"""The model board: `docs/protocol.md` in executable form, edge by edge and tick by tick.

It is the default board of every dry run, and what the firmware is compared with. `sim/board/bulk.py`
takes long quiet stretches of edges at one go; a property test holds the two to the same result.
"""

from __future__ import annotations

from collections import deque

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
from latchline.sim.board import bulk as runs
from latchline.sim.board import memory
from latchline.sim.board.follower import CURRENT_HIGH, HOST_SILENT, MS_US, SUPPLY_LOW, Follower
from latchline.sim.board.outputs import Outputs
from latchline.sim.face import BYTE_US, Analog, Pins, Signals, Times

NEVER_MS = 1 << 50
NEVER_US = NEVER_MS * MS_US
SLOTS = 32
NEEDLES_MAX = 255
VERSION = bytes((0, 1, 0))
STATUS_SOONEST_MS, STATUS_MS, DONE_AGAIN_MS, FAULT_AGAIN_MS, HEARD_MS = 20, 250, 200, 1000, 2000
SUPPLY_READINGS, CURRENT_READINGS = 10, 3
GOOD_READING = (711, 0)  # counts of a board on which nothing is read

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


class ModelBoard(Follower):
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
        super().__init__(edge_min_us)
        self.chosen, self.slots, self.analog, self.in_bulk = chosen, slots, analog, in_bulk
        self._sent: list[tuple[int, bytes]] = []
        self.out = Outputs()
        self._status_sent: tuple[int, ...] = ()
        self._start(0, 0)
        self.wake_us = NEVER_US  # no power yet

    # ---- the face -------------------------------------------------------------------------

    def power(self, at_us: int, cause: int) -> None:
        self.run(at_us)
        if self._sent:  # a frame that was being sent is cut short
            began, data = self._sent.pop()
            if at_us >= began:
                self._sent.append((began, data[: (at_us - began) // BYTE_US + 1]))
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
                if self.in_bulk and end - at >= runs.SHORTEST_IDLE:
                    taken = runs.take(self, at_us[at:end], pins[at:end], step)
                if not taken:
                    taken = 1
                    self._edge_alone(int(at_us[at]), int(pins[at]), step)
                at += taken

    def _edge_alone(self, at_us: int, pins: int, step: int) -> None:
        self.now = at_us
        before, register = self._bearing(), self.register
        self._edge(pins, step)
        if self._bearing() != before or not self.reads_well(self.register):
            self._settle()
        elif self.register != register:
            self.out.show(at_us, self.register, self.enabled, self.way is not None, self._buzzes)

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
        self._start_following(at_us)
        self.cause = cause
        self.wake_us = at_us
        self._gatherer = frames.Gatherer()
        self._inbox: deque[tuple[int, bytes | None]] = deque()
        self._free_us = at_us
        self._status_sent = ()
        self._status_ms = self._done_ms = self._fault_ms = -10_000
        self._greeted, self._refusing = False, False
        self._heard_ms = 0
        self._bad_frames = self._stale = 0
        self._buzz_until_ms = self._rest_ms = 0
        self._buzzes = False
        self._low, self._high, self._supply_low, self._watched_ms = 0, 0, False, 0
        self._well: dict[int, bool] = {}

    # ---- time -----------------------------------------------------------------------------

    def _happen(self) -> None:
        """Everything that is due now, edges apart."""
        while self._inbox and self._inbox[0][0] <= self.now:
            self._frame(self._inbox.popleft()[1])
        if self._writer.byte_us is not None and self._writer.byte_us <= self.now:
            self._writer.byte_written(self.now)
        if self._probe and self.ms() >= self._probe[1]:
            self._probe_over()
        self._rest_coils()
        self._watch()
        patience_ms = self.bed.patience_ms if self.bed and self.plan and not self.fault else 0
        if patience_ms and self.ms() - self._heard_ms > patience_ms:
            self._raise(HOST_SILENT)
        self._settle(on_beat=self._on_beat())

    def _watch(self) -> None:
        """The readings of supply and current, once a millisecond while the outputs are enabled."""
        if not self._on_beat() or self.ms() == self._watched_ms or not self.bed:
            return
        self._watched_ms = self.ms()
        watched = self.enabled and self.analog is not None and bool(self.bed.supply_min or self.bed.current_max)
        supply, current = self._read() if watched else GOOD_READING
        self._supply_low = watched and supply < self.bed.supply_min
        self._low = self._low + 1 if self._supply_low else 0
        self._high = self._high + 1 if watched and current > self.bed.current_max > 0 else 0
        if self._low >= SUPPLY_READINGS:
            self._raise(SUPPLY_LOW, supply)
        elif self._high >= CURRENT_READINGS:
            self._raise(CURRENT_HIGH, current)

    def _watching(self) -> bool:
        """Is there a reading to take at the next tick that matters?"""
        uneasy = self._supply_low or self._low or self._high
        return bool(uneasy) or (self.enabled and not self.reads_well(self.register))

    def reads_well(self, register: int) -> bool:
        """Whether supply and current stay within the bed's limits with these coils on and the outputs enabled.

        The same coils always read the same, so that each register value is read only once.
        """
        bed = self.bed
        if bed is None or self.analog is None or not (bed.supply_min or bed.current_max):
            return True
        if register not in self._well:
            supply, current = self.analog(register, True)
            self._well[register] = supply >= bed.supply_min and not 0 < bed.current_max < current
        return self._well[register]

    def _read(self) -> tuple[int, int]:
        return self.analog(self.register, self.enabled) if self.analog else GOOD_READING

    def _on_beat(self) -> bool:
        """Is this a millisecond tick?"""
        return (self.now - self.started_us) % MS_US == 0

    def _bearing(self) -> tuple[object, ...]:
        """All that an edge can change, the register apart, of what bears on outputs, frames and waits."""
        return self.way, self.under_way, self.fault, self.done, self.certain, self.at_rest, self._paused

    def _settle(self, on_beat: bool = False) -> None:
        """Bring outputs and transmitter in line with what has happened, and find the next instant of interest."""
        if on_beat:
            self._buzzes = self._buzzing()
        self.out.show(self.now, self.register, self.enabled, self.way is not None, self._buzzes)
        status = self._status_state()
        ms = self.ms()
        if on_beat:
            self._make_due(ms, status)
        if self._due and self._free_us <= self.now:
            self._send(status)
        wake_us = self.started_us + max(self._beat_of_interest(ms, status), ms + 1) * MS_US
        if self._due:
            wake_us = min(wake_us, self._free_us)
        if self._inbox:
            wake_us = min(wake_us, self._inbox[0][0])
        if self._writer.byte_us is not None:
            wake_us = min(wake_us, self._writer.byte_us)
        self.wake_us = wake_us

    def _beat_of_interest(self, ms: int, status: tuple[int, ...]) -> int:
        """The next tick at which something may happen without an edge; one too early does no harm."""
        beat = NEVER_MS
        if Status not in self._due:
            if status != self._status_sent:
                beat = self._status_ms + STATUS_SOONEST_MS
            elif self._greeted and self._status_ms + STATUS_MS - self._heard_ms <= HEARD_MS:
                beat = self._status_ms + STATUS_MS
        if self._seen < self.done and Done not in self._due:
            beat = min(beat, self._done_ms + DONE_AGAIN_MS)
        if self.fault and Fault not in self._due:
            beat = min(beat, self._fault_ms + FAULT_AGAIN_MS)
        if self._probe:
            beat = min(beat, self._probe[1])
        elif self.bed and self.under_way:
            if ms >= self._rest_ms:  # no coil that goes on later comes to its limit sooner
                on = [since for coil, since in enumerate(self.on_since_ms) if self.register >> coil & 1]
                self._rest_ms = min(on, default=ms) + self.bed.limit_ms
            beat = min(beat, self._rest_ms)
        if self.plan and self.bed and self.bed.patience_ms and not self.fault:
            beat = min(beat, self._heard_ms + self.bed.patience_ms + 1)
        if self._watching() or self._buzzing() != self._buzzes:
            return ms + 1
        for period, on_ms in self._beeps():
            beat = min(beat, ms - ms % period + (on_ms if ms % period < on_ms else period))
        return min(beat, self._buzz_until_ms) if ms < self._buzz_until_ms else beat

    # ---- lamp, buzzer, status -------------------------------------------------------------

    def _beeps(self) -> list[tuple[int, int]]:
        """Period and time on of each pattern that the buzzer has to sound."""
        beeps = [(500, 100)] if self.fault else []
        waiting = self._not_loaded() and self.certain and not self._paused
        if waiting if not self.under_way else self.at_rest:
            beeps.append((1000, 50))
        return beeps

    def _buzzing(self) -> bool:
        ms = self.ms()
        return ms < self._buzz_until_ms or any(ms % period < on for period, on in self._beeps())

    def _not_loaded(self) -> bool:
        return self.plan is not None and self.received == self.done < self.plan.last

    def _credit(self) -> int:
        return min(self._seen + self.slots, 0xFFFFFFFF) if self.plan else 0

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
            | (self._writer.writing is not None) << 8
            | self._not_loaded() << 9
            | (self._supply_low and self.enabled) << 10
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
            saved = self._writer.saved
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
        self._heard_ms = -(-(self.now - self.started_us) // MS_US) - 1  # a beat at the same instant comes after
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
                next_beat = -(-(self.now - self.started_us) // MS_US)
                self._buzz_until_ms = next_beat + 10 * message.time_10ms
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
            self._well = {}
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
