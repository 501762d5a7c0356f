"""The model board: `docs/protocol.md` in executable form, edge by edge and tick by tick.

It is the default board of every dry run, and what the firmware is compared with. It takes what the host
says, keeps the time and asks its parts: the follower of carriage and coils, the readings, the speech and the memory.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from latchline.link import frames, messages
from latchline.link.faults import FaultNumber
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
from latchline.sim.board import memory
from latchline.sim.board.bulk import SHORTEST_IDLE, Bulk
from latchline.sim.board.clock import Clock
from latchline.sim.board.follower import Follower
from latchline.sim.board.limits import NEEDLES_MAX, bed_is_good, pass_is_good, plan_is_good
from latchline.sim.board.memory import Kept
from latchline.sim.board.outputs import Outputs
from latchline.sim.board.readings import SUPPLY_READINGS, Readings
from latchline.sim.board.speech import NEVER_MS, Speech, beeps
from latchline.sim.board.steps import breaks, steps
from latchline.sim.face import BYTE_US, PIN_MIDDLE, RESET_PIN, WATCHDOG, Analog, Pins, Signals, Times

NEVER_US = NEVER_MS * 1000
SLOTS = 32
VERSION = bytes((0, 2, 0))

BED_OUT, PLAN_OUT, NO_PROBE, NOT_SPOKEN = 1, 2, 3, 4  # reasons of REFUSED


class ModelBoard:
    """A board with the face of `sim/face.py`.

    chosen: the number that the board gives itself at its first start.
    analog: what the converter reads; None reads a good supply and no current.
    in_bulk: False takes every edge by itself.
    stops_dark: `edges` stops where the lamp goes dark.
    edge_min_us: closest edges that the board can follow (0: any).
    """

    def __init__(
        self,
        *,
        chosen: int = 0x4C61_7463,
        slots: int = SLOTS,
        analog: Analog | None = None,
        in_bulk: bool = True,
        stops_dark: bool = False,
        edge_min_us: int = 0,
    ) -> None:
        self.chosen, self.slots, self.in_bulk, self.stops_dark = chosen, slots, in_bulk, stops_dark
        self.clock = Clock()
        self.follower = Follower(self.clock, edge_min_us)
        self.readings = Readings(analog)
        self.speech = Speech()
        self.outputs = Outputs()
        self._memory = bytearray(b"\xff" * memory.SIZE)
        self._kept = Kept()
        self._start(0, 0)
        self.wake_us = self.quiet_us = NEVER_US  # no power yet

    # ---- the face -------------------------------------------------------------------------

    def power(self, at_us: int, cause: int) -> None:
        self.run(at_us)
        self._writer.upto(at_us)
        outlives = cause != 0 and not cause & ~(RESET_PIN | WATCHDOG)
        self._kept = self._kept_now() if outlives else Kept()
        memory.started(self._memory, self.chosen)
        self._start(at_us, cause)
        self.speech.status_sent = self._status_state()
        self.speech.due[BoardInfo] = None
        self._settle()

    def run(self, until_us: int) -> None:
        while self.wake_us <= until_us:
            self.clock.now_us = max(self.clock.now_us, self.wake_us)
            self._happen()
        self.clock.now_us = until_us

    def edges(self, at_us: Times, pins: Pins) -> int:
        if len(self.follower.switches) < 3:
            pins = pins | np.uint8(PIN_MIDDLE)  # none there
        found = steps(self.follower.pins, pins)
        at, lit = 0, self.follower.lamp
        for end in breaks(found):
            begin, step = at, int(found[at])
            edges = Bulk(self.follower, at_us[begin:end], pins[begin:end], step)
            while at < end:
                if self.wake_us <= at_us[at]:
                    self.run(int(at_us[at]))
                if self.stops_dark and lit != self.follower.lamp:
                    if lit:
                        return at
                    lit = True
                taken = 0
                if self.in_bulk and end - at >= SHORTEST_IDLE:
                    taken = self._in_bulk(edges, at - begin)
                if not taken:
                    taken = 1
                    self._edge(int(at_us[at]), int(pins[at]), step)
                at += taken
        return at

    def receive(self, at_us: int, data: bytes) -> None:
        self.run(at_us)
        begin = 0
        while begin < len(data):
            end = data.find(0, begin) + 1 or len(data)
            for frame in self._gatherer.feed(data[begin:end]):
                self._inbox.append((at_us + (end - 1) * BYTE_US, frame))
            begin = end
        if self._inbox:
            self._wake_at(self._inbox[0][0])

    def sent(self) -> list[tuple[int, bytes]]:
        return self.speech.taken()

    def signals(self) -> Signals:
        return self.outputs.taken()

    @property
    def memory(self) -> bytes:
        self._writer.upto(self.clock.now_us)
        return bytes(self._memory)

    @memory.setter
    def memory(self, data: bytes) -> None:
        self._memory[:] = data

    # ---- a start --------------------------------------------------------------------------

    def _start(self, at_us: int, cause: int) -> None:
        self.clock.now_us = self.clock.started_us = at_us
        self.cause = cause
        self.wake_us = self.quiet_us = at_us
        self.follower.start()
        self.readings.start()
        self.speech.start(at_us)
        self._writer = memory.Writer(self._memory)
        self._gatherer = frames.Gatherer()
        self._inbox: deque[tuple[int, bytes | None]] = deque()
        self._bad_frames = self._stale = 0
        self._buzzes = False
        self._probe: tuple[Probe, int, tuple[int, int]] | None = None
        self._seen = 0
        self._reports: dict[int, Done] = {}

    def _kept_now(self) -> Kept:
        """What outlives a reset: the plan in force, or else what had outlived the last one."""
        follower = self.follower
        if follower.plan is None:
            return self._kept
        return Kept(follower.fingerprint, follower.run, follower.done, follower.under_way)

    # ---- edges ----------------------------------------------------------------------------

    def _in_bulk(self, edges: Bulk, at: int) -> int:
        speaks = self.wake_us >= self.speech.free_us
        taken = edges.take(at, self.quiet_us if speaks else self.wake_us, self.readings.well)
        self.outputs.registers(taken.at_us, taken.registers)
        if taken.count:
            self._wake_by(self.follower.rest_beat)
            while self.wake_us <= self.clock.now_us:
                self._speak_on_the_way(edges, at + taken.count)
        return taken.count

    def _speak_on_the_way(self, edges: Bulk, taken: int) -> None:
        """The regular word of the board at an instant before the last edges that were taken."""
        ms, before = self.clock.ms(self.wake_us), edges.before(self.wake_us)
        position = self.follower.position - edges.step * (taken - before)
        self.speech.send(self._status(self._status_state(), position, int(edges.pins[before - 1])), self.wake_us, ms)
        self.wake_us = min(self.quiet_us, self.clock.beat_us(self.speech.beat_of_word()))

    def _edge(self, at_us: int, pins: int, step: int) -> None:
        follower = self.follower
        self.clock.now_us = at_us
        before, register = self._bearing(), follower.register
        follower.edge(pins, step)
        if step == 0 or follower.news or self._bearing() != before or not self.readings.well(follower.register):
            self._attend()
            self._settle()
        elif follower.register != register:
            self.outputs.show(at_us, follower.register, follower.enabled, follower.lamp, self._buzzes)
            self._wake_by(follower.rest_beat)

    def _bearing(self) -> tuple[object, ...]:
        """All that an edge can change, the register apart, of what bears on outputs, frames and waits."""
        follower = self.follower
        return (
            follower.way, follower.under_way, follower.fault, follower.done, follower.certain, follower.at_rest,
            follower.paused,
        )  # fmt: skip

    def _wake_by(self, beat: int) -> None:
        self._wake_at(self.clock.beat_us(max(beat, self.clock.ms() + 1)))

    def _wake_at(self, at_us: int) -> None:
        """Something is to be looked at then that is more than a regular word."""
        self.quiet_us = min(self.quiet_us, at_us)
        self.wake_us = min(self.wake_us, at_us)

    def _attend(self) -> None:
        """Act on what the follower has found."""
        follower = self.follower
        if not follower.enabled:
            self._probe = None
        self._writer.upto(self.clock.now_us)
        self._writer.waiting = follower.under_way
        for item in follower.news:
            self.speech.due[type(item)] = item if isinstance(item, Done) else None
            if isinstance(item, Done):
                self._reports[item.pass_number] = item
                self._writer.begin(self.clock.now_us, item.fingerprint, follower.run, item.pass_number)
        follower.news.clear()
        self._writer.go_on(self.clock.now_us)

    # ---- time -----------------------------------------------------------------------------

    def _happen(self) -> None:
        """Everything that is due now, edges apart."""
        now_us, follower = self.clock.now_us, self.follower
        while self._inbox and self._inbox[0][0] <= now_us:
            self._frame(self._inbox.popleft()[1])
            self._attend()
        self._writer.upto(now_us)
        on_beat = self.clock.on_beat()
        if on_beat:
            self._beat()
        patience_ms = self._patience_ms()
        if patience_ms and self.clock.ms() - self.speech.heard_ms > patience_ms:
            follower.raise_fault(FaultNumber.HOST_SILENT)
        self._attend()
        self._settle(on_beat)

    def _beat(self) -> None:
        follower, beat = self.follower, self.clock.ms()
        if self._probe and beat >= self._probe[1]:
            self._probe_over(*self._probe)
        follower.beat()
        bad = self.readings.beat(beat, follower.register, follower.enabled)
        if bad and self.readings.low >= SUPPLY_READINGS:
            follower.raise_fault(FaultNumber.SUPPLY_LOW, bad[0])
        elif bad:
            follower.raise_fault(FaultNumber.CURRENT_HIGH, bad[1])

    def _patience_ms(self) -> int:
        follower = self.follower
        return follower.bed.patience_ms if follower.bed and follower.plan and not follower.fault else 0

    def _settle(self, on_beat: bool = False) -> None:
        """Bring outputs and transmitter in line with what has happened, and find the next instant of interest."""
        follower, speech, ms = self.follower, self.speech, self.clock.ms()
        sounds = self._beeps()
        buzzing = self._buzzing(ms, sounds)
        if on_beat:
            self._buzzes = buzzing
        self.outputs.show(self.clock.now_us, follower.register, follower.enabled, follower.lamp, self._buzzes)
        status = self._status_state()
        unseen = self._reports[self._seen + 1] if self._seen < follower.done else None
        if on_beat:
            speech.make_due(ms, status, unseen, follower.fault is not None)
        if speech.due and speech.free_us <= self.clock.now_us:
            kind, message = speech.next_due()
            if kind is Status:
                speech.status_sent = status
            speech.send(message or self._message(kind, status), self.clock.now_us, ms)
        beat = speech.beat_of_interest(status, unseen is not None, follower.fault is not None)
        quiet_us = self.clock.beat_us(max(min(beat, self._beat_of_interest(sounds, buzzing)), ms + 1))
        if speech.due:
            quiet_us = min(quiet_us, speech.free_us)
        if self._inbox:
            quiet_us = min(quiet_us, self._inbox[0][0])
        whole_us = self._writer.whole_us()
        if whole_us is not None:
            quiet_us = min(quiet_us, whole_us)
        self.wake_us = self.quiet_us = quiet_us
        if Status not in speech.due and status == speech.status_sent:
            self.wake_us = min(quiet_us, self.clock.beat_us(max(speech.beat_of_word(), ms + 1)))

    def _beat_of_interest(self, sounds: list[tuple[int, int]], buzzing: bool) -> int:
        """The next beat at which something may happen without an edge; one too early does no harm."""
        ms, follower, speech = self.clock.ms(), self.follower, self.speech
        uneasy = self.readings.uneasy() or (follower.enabled and not self.readings.well(follower.register))
        if uneasy or buzzing != self._buzzes:
            return ms + 1
        beat = follower.beat_of_interest()
        if self._probe:
            beat = min(beat, self._probe[1])
        patience_ms = self._patience_ms()
        if patience_ms:
            beat = min(beat, speech.heard_ms + patience_ms + 1)
        for period, on_ms in sounds:
            beat = min(beat, ms - ms % period + (on_ms if ms % period < on_ms else period))
        return min(beat, speech.buzz_until_ms) if ms < speech.buzz_until_ms else beat

    # ---- lamp, buzzer, status -------------------------------------------------------------

    def _beeps(self) -> list[tuple[int, int]]:
        follower = self.follower
        waiting = self._not_loaded() and follower.certain and not follower.paused
        return beeps(follower.fault is not None, waiting, follower.under_way, follower.at_rest != 0)

    def _buzzing(self, ms: int, sounds: list[tuple[int, int]]) -> bool:
        return ms < self.speech.buzz_until_ms or any(ms % period < on for period, on in sounds)

    def _not_loaded(self) -> bool:
        follower = self.follower
        return follower.plan is not None and follower.received == follower.done < follower.plan.last

    def _credit(self) -> int:
        return min(self._seen + self.slots, 0xFFFFFFFF) if self.follower.plan else 0

    def _status_state(self) -> tuple[int, ...]:
        """What makes a STATUS due when it changes."""
        follower = self.follower
        flags = (
            (follower.bed is not None)
            | follower.certain << 1
            | (follower.plan is not None) << 2
            | follower.paused << 3
            | follower.under_way << 4
            | follower.lamp << 5
            | (follower.at_rest != 0) << 6
            | follower.enabled << 7
            | (self._writer.writing is not None) << 8
            | self._not_loaded() << 9
            | (self.readings.supply_low and follower.enabled) << 10
        )
        armed = follower.way.number if follower.way else 0
        fault = follower.fault.fault if follower.fault else 0
        numbers = follower.fingerprint, follower.received, armed, follower.done, self._credit()
        return *numbers, flags, fault, follower.rests, follower.run

    # ---- what is said ---------------------------------------------------------------------

    def _message(self, kind: type[Message], state: tuple[int, ...]) -> Message:
        """What a due kind says at this moment; state: that of a STATUS."""
        follower = self.follower
        if kind is Status:
            return self._status(state, follower.position, follower.pins)
        if kind is BoardInfo:
            return self._info(0)
        if kind is Fault:
            return follower.fault or follower.fault_now(0, 0, messages.NO_NEEDLE)
        if kind is Checkpoint:
            return self._checkpoint()
        assert kind is Counts
        supply, current = self.readings.read(follower.register, follower.enabled)
        return Counts(
            edges=min(follower.edge_count, 0xFFFFFFFF),
            impossible=min(follower.impossible, 0xFFFF),
            left_on=min(follower.left_on, 0xFFFF),
            right_on=min(follower.right_on, 0xFFFF),
            reversals=min(follower.reversals, 0xFFFF),
            bad_frames=min(self._bad_frames, 0xFFFF),
            overruns=0,
            stale=min(self._stale, 0xFFFF),
            shortest=follower.shortest,
            supply=supply,
            current=current,
        )

    def _checkpoint(self) -> Checkpoint:
        saved, kept = self._writer.saved, self._kept
        sequence = saved.sequence if saved else 0
        if self.follower.plan is None and kept.fingerprint:
            valid = Checkpoint.UNDER_WAY if kept.under_way else Checkpoint.EXACT
            return Checkpoint(valid, kept.fingerprint, kept.done, sequence, kept.run)
        if saved is None:
            return Checkpoint(0, 0, 0, 0, 0)
        return Checkpoint(Checkpoint.WHOLE, saved.fingerprint, saved.done, sequence, saved.run)

    def _status(self, state: tuple[int, ...], position: int, pins: int) -> Status:
        fingerprint, received, armed, done, credit, flags, fault, rests, run = state
        boots = memory.boots(self._memory)
        bad, rests = self._bad_frames & 0xFF, min(rests, 0xFFFF)
        return Status(boots, fingerprint, received, armed, done, credit, position, pins, flags, fault, bad, rests, run)

    def _info(self, nonce: int) -> BoardInfo:
        bed = self.follower.bed
        return BoardInfo(
            protocol=PROTOCOL,
            nonce=nonce,
            version=VERSION,
            board=memory.number(self._memory) or 0,
            boots=memory.boots(self._memory),
            reset_cause=self.cause,
            slots=self.slots,
            needles_max=NEEDLES_MAX,
            bed_check=bed.check() if bed else 0,
            features=BoardInfo.PASS_LINES,
            run=self.follower.run,
        )

    # ---- messages -------------------------------------------------------------------------

    def _frame(self, frame: bytes | None) -> None:
        message = messages.from_wire(frame)
        if not isinstance(message, messages.FROM_HOST):
            self._bad_frames += 1
            return
        if self.speech.refusing and not isinstance(message, Greet | Stop):
            self._refuse(message, NOT_SPOKEN)
        elif self._take(message):
            self.speech.heard_ms = self.clock.beat_before()

    def _refuse(self, message: Message, reason: int) -> bool:
        self.speech.due[Refused] = Refused(message.number, reason)
        return False

    def _take(self, message: Message) -> bool:
        """Do what a message says; false when it is refused or dropped."""
        speech = self.speech
        match message:
            case Greet():
                speech.greeted, speech.refusing = True, message.protocol != PROTOCOL
                speech.due[BoardInfo] = self._info(message.nonce)
                return not speech.refusing
            case Bed():
                return self._take_bed(message)
            case Probe():
                return self._take_probe(message)
            case Buzz():
                speech.buzz_until_ms = self.clock.beat_before() + 1 + 10 * message.time_10ms
                return True
            case Ask():
                kind = {0: Status, 1: Counts, 2: Checkpoint, 3: Fault}.get(message.what)
                if kind:
                    speech.due[kind] = None
                return kind is not None
        taken = self._steer(message)
        speech.due[Status] = None
        self.follower.arm()
        return taken

    def _steer(self, message: Message) -> bool:
        """The messages after which a STATUS is due at once."""
        follower = self.follower
        match message:
            case PlanStart():
                return self._take_plan(message)
            case Pass():
                return self._take_pass(message)
            case Seen():
                return self._take_seen(message)
            case Pause(paused=paused) if paused in (0, 1):
                follower.pause(bool(paused))
                return True
            case Clear(fault=fault):
                if not follower.clear(fault):
                    return False
                self.speech.due.pop(Fault, None)
                return True
            case Stop():
                follower.stop()
                self._no_plan()
                return True
        return False

    def _no_plan(self) -> None:
        """No plan is in force any more, or another one."""
        self._seen = self.follower.done
        self._reports = {}
        self._kept = Kept()
        self.speech.due.pop(Done, None)

    def _take_seen(self, seen: Seen) -> bool:
        follower, number = self.follower, seen.pass_number
        if not follower.plan or seen.fingerprint != follower.fingerprint or not self._seen <= number <= follower.done:
            return False
        self._seen = number
        self._reports = {key: report for key, report in self._reports.items() if key > number}
        report = self.speech.due.get(Done)
        if isinstance(report, Done) and report.pass_number <= number:
            del self.speech.due[Done]
        return True

    def _take_bed(self, bed: Bed) -> bool:
        if not bed_is_good(bed):
            return self._refuse(bed, BED_OUT)
        if bed != self.follower.bed:
            kept = self._kept if self.follower.plan is None else Kept()
            self.follower.set_bed(bed)
            self.readings.set_bed(bed)
            self._no_plan()
            self._kept = kept
        self.speech.due[BedTaken] = BedTaken(bed.check())
        return True

    def _take_plan(self, plan: PlanStart) -> bool:
        bed = self.follower.bed
        if bed is None or not plan_is_good(bed, plan):
            return self._refuse(plan, PLAN_OUT)
        self.follower.set_plan(plan)
        self._no_plan()
        return True

    def _take_pass(self, taken: Pass) -> bool:
        bed, plan = self.follower.bed, self.follower.plan
        good = (
            bed is not None
            and plan is not None
            and taken.fingerprint == plan.fingerprint
            and taken.pass_number == self.follower.received + 1 <= min(plan.last, self._credit())
            and pass_is_good(bed, plan, taken)
        )
        if good:
            self.follower.load(taken)
        else:
            self._stale += 1
        return good

    def _take_probe(self, probe: Probe) -> bool:
        follower = self.follower
        bed, heat = follower.bed, follower.heat
        if (
            bed is None
            or follower.plan
            or follower.fault
            or self._probe
            or probe.selector >= bed.count
            or not 1 <= probe.time_ms < bed.limit_ms
            or heat.settle(probe.selector, self.clock.ms()) + probe.time_ms * heat.up >= heat.full
        ):
            return self._refuse(probe, NO_PROBE)
        idle = self.readings.read(follower.register, follower.enabled)
        self._probe = (probe, self.clock.ms() + probe.time_ms, idle)
        follower.probe(probe.selector)
        return True

    def _probe_over(self, probe: Probe, _: int, idle: tuple[int, int]) -> None:
        on = self.readings.read(self.follower.register, self.follower.enabled)
        self.follower.off()
        self._probe = None
        self.speech.due[Probed] = Probed(probe.selector, idle[0], on[0], idle[1], on[1])
