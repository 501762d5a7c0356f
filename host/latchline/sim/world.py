"""One virtual clock for board, wire, carriage, needles and the knitter's eyes. The same seed gives the same run."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from latchline.machine.profile import Profile
from latchline.sim.board.board import SLOTS, ModelBoard
from latchline.sim.carriage import Hand
from latchline.sim.coils import Coils
from latchline.sim.face import BYTE_US, POWER_ON, RESET_PIN, Analog, Board, Pins, Signals, Times
from latchline.sim.faults import Faults
from latchline.sim.knitter import Knitter
from latchline.sim.needles import Knitted, Needles
from latchline.sim.sensors import Sensors
from latchline.sim.trace import Trace
from latchline.sim.wire import Direction

# The world goes on in slices. Within one, nobody outside the board reacts to anything, so that none may be longer than
# a hand's reaction. The host hears at the end of a slice what was said in it: so one ends when an answer to what the
# host wrote, or the board's regular word, should be there. Under a model board, which stops where its lamp goes dark, a
# stroke with the lamp lit is one slice, and so is standing at the turn, or as much of it as the host waits: the hand
# reacts to nothing else meanwhile. A walk with the lamp dark is looked at closely, as by the doctor.
SLICE_US = 255_000
ANSWER_US = 3_000
REACTION_LEAST_S = 0.26

STATUS_US = 250_100  # from the end of one regular word of the board to that of the next
NEVER_US = 1 << 60
NO_PINS = np.zeros(0, np.uint8)

MakeBoard = Callable[[Analog], Board]


class World:
    """Everything around the host. Times are microseconds since the board was first put under power.

    make_board: another board than the model, given what its converter reads.
    coils: what hangs at the drivers, where it is not what the profile says.
    trace: keep what a VCD file needs. started_us: when the board was started, its clock at 0.
    """

    def __init__(
        self,
        profile: Profile,
        *,
        seed: int = 0,
        hand: Hand | None = None,
        faults: Faults | None = None,
        make_board: MakeBoard | None = None,
        trace: bool = False,
        memory: bytes | None = None,
        coils: Coils | None = None,
    ) -> None:
        self.profile = profile
        self.faults = faults = faults or Faults()
        hand = hand or Hand()
        hand = replace(hand, reaction_s=max(hand.reaction_s, REACTION_LEAST_S))
        edges = int(faults.amount("edges", profile.edges_per_needle))
        machine = profile if edges == profile.edges_per_needle else replace(profile, edges_per_needle=edges)
        hand_rng, sensor_rng, out_rng, in_rng, chosen_rng = (
            np.random.default_rng(part) for part in np.random.SeedSequence(seed).spawn(5)
        )
        coils = coils or Coils.of(profile, faults)
        chosen = int(chosen_rng.integers(1, 1 << 32))
        self._long_slices = make_board is None and not faults.told  # faults strike as time goes by
        self.board: Board = make_board(coils.read) if make_board else self._model(coils.read, chosen)
        if memory is not None:
            self.board.memory = memory
        self.knitter = Knitter(machine, profile, hand, faults, hand_rng)
        self.sensors = Sensors(machine, faults, sensor_rng, self.knitter.place)
        self.needles = Needles(machine, faults)
        self.trace = Trace(machine) if trace else None
        self._out, self._in = Direction(faults, out_rng), Direction(faults, in_rng)
        self._outgoing: deque[tuple[int, bytes]] = deque()
        self._incoming: deque[tuple[int, bytes]] = deque()
        self._starts = deque(sorted(_starts(faults)))
        self._lamp = False
        self._heard_us, self._answer_us = 0, ANSWER_US
        self._unplug_us = faults.amount("unplug", 1e12) * 1e6
        self._unplug_bytes = faults.amount("unplug-byte", 1e15)
        self._passed_bytes = 0
        self.now_us = 0
        self.started_us = [0]
        self.board.edges(np.zeros(1, np.int64), np.array([self.sensors.pins], np.uint8))
        self.board.power(0, POWER_ON)

    def _model(self, analog: Analog, chosen: int) -> ModelBoard:
        return ModelBoard(
            chosen=chosen,
            slots=int(self.faults.amount("full", SLOTS)),
            analog=analog,
            stops_dark=self._long_slices,
            edge_min_us=int(self.faults.amount("slow")),
        )

    # ---- the host's end of the line -------------------------------------------------------

    @property
    def unplugged(self) -> bool:
        """Has the cable been pulled?"""
        return self.now_us >= self._unplug_us or self._passed_bytes >= self._unplug_bytes

    def write(self, data: bytes) -> None:
        """Bytes from the host, handed to the line now."""
        if not data:
            return
        if "unplug-byte" in self.faults:
            data = data[: max(0, int(self._unplug_bytes) - self._passed_bytes)]
            self._passed_bytes += len(data)
        self.knitter.screen.host_said(data)
        self._outgoing += self._out.carry(self.now_us, data)
        self._answer_us = self._out.busy_us + ANSWER_US

    def waiting(self) -> int:
        """How many bytes have come in for the host."""
        total = 0
        for at_us, data in self._incoming:
            total += min(max((self.now_us - at_us) // BYTE_US + 1, 0), len(data))
        return total

    def read(self, size: int) -> bytes:
        """At most so many of the bytes that have come in."""
        out = bytearray()
        while self._incoming and len(out) < size:
            at_us, data = self._incoming[0]
            here = min(max((self.now_us - at_us) // BYTE_US + 1, 0), len(data), size - len(out))
            out += data[:here]
            if here < len(data):
                self._incoming[0] = (at_us + here * BYTE_US, data[here:])
                break
            self._incoming.popleft()
        self._passed_bytes += len(out)
        return bytes(out)

    # ---- time -----------------------------------------------------------------------------

    def run_until(self, until_us: int, *, wake: Callable[[], bool] | None = None) -> bool:
        """Let time pass, or stop sooner, at the end of the slice after which `wake` says so; tells whether it did."""
        while self.now_us < until_us:
            self._slice(min(until_us, self._slice_end_us()))
            if wake is not None and wake():
                return True
        return False

    @property
    def knitted(self) -> list[Knitted]:
        """Every time that the carriage has gone along the bed with the lamp lit."""
        return [one for one in self.needles.knitted if one.lamp]

    def _slice_end_us(self) -> int:
        now_us = self.now_us
        ends = [self.knitter.horizon_us(now_us)]
        if not (self._long_slices and self.knitter.minds_the_lamp_alone):
            ends += [now_us + SLICE_US, self._heard_us + STATUS_US, self._answer_us]
        if self._incoming:
            at_us, data = self._incoming[0]
            ends.append(at_us + (len(data) - 1) * BYTE_US)
        return min(end for end in ends if end > now_us)

    def _slice(self, end_us: int) -> None:
        board = self.board
        motion = self.knitter.coming(end_us)
        at_us, pins = self.sensors.sense(motion) if len(motion) else (motion.at_us, NO_PINS)
        taken = self._run_board(at_us, pins, end_us)
        if taken < len(at_us):
            end_us = int(at_us[taken]) - 1
            at_us, pins = at_us[:taken], pins[:taken]
        motion = self.knitter.move(end_us)
        signals = board.signals()
        self._look_at_lamp(signals)
        self.needles.signals(signals)
        self.needles.motion(motion, self.knitter.lines())
        if self.trace:
            self.trace.add(at_us, pins, motion, signals)
        for first_us, data in board.sent():
            for delivery in self._in.carry(first_us - BYTE_US, data):
                self._incoming.append(delivery)
            self._heard_us = first_us + (len(data) - 1) * BYTE_US
            self.knitter.screen.board_said(self._heard_us, data)
        self.now_us = end_us

    def _run_board(self, at_us: Times, pins: Pins, end_us: int) -> int:
        """Give the board all that comes to it up to then; tells how many of the edges it took before it stopped."""
        board, taken = self.board, 0
        while taken < len(at_us) or self._event_us() <= end_us:
            event_us = self._event_us()
            upto = len(at_us) if event_us > end_us else int(at_us.searchsorted(event_us))
            if upto > taken:
                taken += board.edges(at_us[taken:upto], pins[taken:upto])
            if taken < upto:
                return taken
            if event_us <= end_us:
                self._happen(event_us)
        board.run(end_us)
        return taken

    def _event_us(self) -> int:
        """When the next bytes come to the board, or power."""
        return min(queue[0][0] if queue else NEVER_US for queue in (self._outgoing, self._starts))

    def _happen(self, event_us: int) -> None:
        if self._outgoing and self._outgoing[0][0] == event_us:
            self.board.receive(*self._outgoing.popleft())
        else:
            self.board.power(*self._starts.popleft())
            self.started_us.append(event_us)

    def _look_at_lamp(self, signals: Signals) -> None:
        lamp = signals.lamp
        if not len(lamp) or (lamp[0] == self._lamp and (lamp == self._lamp).all()):
            return
        for at_us, lit in zip(signals.at_us.tolist(), lamp.tolist(), strict=True):
            self.knitter.saw(at_us, lit)
        self._lamp = bool(lamp[-1])


def _starts(faults: Faults) -> list[tuple[int, int]]:
    causes = (("reset", RESET_PIN), ("power-cut", POWER_ON))
    return [(round(at_s * 1e6), cause) for name, cause in causes for at_s in faults.amounts(name)]
