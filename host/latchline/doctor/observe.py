"""Observing a board for the doctor: listen, ask, have the carriage walked end to end, try each selector."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Protocol, TypeVar

from latchline.doctor.ailments import AILMENTS
from latchline.doctor.observed import LEFT, REST, RIGHT, Observed, Sample, Stretch, Try
from latchline.errors import LinkError, Silent
from latchline.link.host import ANSWER_S, Faulted, Host, Restarted
from latchline.link.messages import Ask, Bed, BoardInfo, Fault, Probe, Probed, Refused, Status
from latchline.sim.face import PIN_LEFT, PIN_RIGHT

LISTEN_S = 3.0  # to the board's own rhythm of a status each 250 ms
STATUS_S = 0.25
QUESTIONS = 60  # put in quick succession, to try the line
REST_S = 1.0
SAMPLE_S = 0.04
SETTLED_S = 1.0  # standing still past the sensor that was wanted: arrived
STANDING_S = 6.0  # standing still elsewhere: this is as far as it goes
PATIENCE_S = 30.0  # for the carriage to set off at all
PROBE_MS = 60
PROBE_TRIES = 5
STALLED_S = 4.0


Answer = TypeVar("Answer")


class Walker(Protocol):
    """Who moves the carriage."""

    def walk(self, side: str) -> None:
        """Begin to take it to this side, slowly, past the end sensor there; returns at once."""


class _StartedAnew(Exception):  # noqa: N818 - unwinds to what has been seen so far
    pass


class Watch:
    """One board under observation. `said` is told what is being done, for the operator's screen."""

    def __init__(self, host: Host, bed: Bed, clock: Callable[[], float], said: Callable[[str], None]) -> None:
        self._host, self._bed, self._clock, self._said = host, bed, clock, said
        self._faults: list[Fault] = []
        self._bad_before = host.bad_frames
        self._bad_on_board: list[int] = []
        self._asked = self._unanswered = 0
        self._clock_error: float | None = None
        self._stretches: list[Stretch] = []
        self._tries: list[Try] = []

    def observe(self, info: BoardInfo, walker: Walker | None, *, coils: bool = True) -> Observed:
        """Of a board that has been greeted. Without a walker the carriage is left alone.

        A plan in force is ended first: passes must not be knitted by the doctor's walk. Raises
        LinkError when the board refuses the bed, Silent or PortError when it is lost.
        """
        was_knitting = bool(self._host.fresh_status().flags & Status.PLANNED)
        if was_knitting:
            self._host.stop()
        restarts = 0
        try:
            self._host.set_bed(self._bed)
            self._all(walker, coils)
        except _StartedAnew:
            restarts = 1
            self._stretches, self._tries = [], []
        on_board = max(self._bad_on_board, default=0) - min(self._bad_on_board, default=0)
        return Observed(
            info=info,
            bed=self._bed,
            clock_error=self._clock_error,
            asked=self._asked,
            unanswered=self._unanswered,
            bad_frames=self._host.bad_frames - self._bad_before + on_board,
            restarts=restarts,
            walk=tuple(self._stretches),
            tries=tuple(self._tries),
            was_knitting=was_knitting,
        )

    def _all(self, walker: Walker | None, coils: bool) -> None:
        self._said("listening to the board's clock")
        self._clock_error = self._listen()
        self._said("trying the line")
        for _ in range(QUESTIONS):
            self._sample()
        if walker is not None:
            self._said("leave the carriage alone for a moment")
            self._rest()
            for side in (LEFT, RIGHT, LEFT):
                self._walk(walker, side)
        if coils:
            self._try_coils()

    # ---- the line -----------------------------------------------------------------------------

    def _listen(self) -> float | None:
        """How far the board's clock is off, by the rhythm of its statuses; None when too few came."""
        began = said = self._clock()
        last, gaps, came = self._host.status, [], began
        while (now := self._clock()) - began < LISTEN_S:
            if now - said >= 0.4:  # keeps it talking, and asks for no status
                self._host.send(Ask(Ask.CHECKPOINT))
                said = now
            self._step(0.02)
            if self._host.status is not last:
                last, now = self._host.status, self._clock()
                gaps.append(now - came)
                came = now
        # Statuses out of turn, and the one before the first, tell nothing of the rhythm.
        regular = [gap for gap in gaps[1:] if abs(gap - STATUS_S) < 0.2 * STATUS_S]
        return sum(regular) / len(regular) / STATUS_S - 1 if len(regular) >= 4 else None

    def _step(self, wait_s: float) -> None:
        for event in self._host.step(wait_s):
            if isinstance(event, Restarted):
                raise _StartedAnew
            if isinstance(event, Faulted):
                self._faults.append(event.fault)
                self._host.clear(event.fault.fault)

    def _sample(self) -> Sample:
        began = self._clock()
        counts = self._patiently(self._host.counts)
        between = self._clock()
        status = self._patiently(self._host.fresh_status)
        self._asked += 2
        self._unanswered += (between - began >= ANSWER_S) + (self._clock() - between >= ANSWER_S)
        self._bad_on_board.append(counts.bad_frames)
        self._step(0.0)
        return Sample(between, status, counts)

    def _patiently(self, question: Callable[[], Answer]) -> Answer:
        """One more chance after a silence: answers that pile up on a stalling line come in a burst."""
        try:
            return question()
        except Silent:
            self._wait(STALLED_S)
            return question()

    def _wait(self, seconds: float) -> None:
        until = self._clock() + seconds
        while (left := until - self._clock()) > 1e-4:
            self._step(left)

    # ---- the walk -----------------------------------------------------------------------------

    def _rest(self) -> None:
        samples = [self._sample()]
        self._wait(REST_S)
        samples.append(self._sample())
        self._stretches.append(Stretch(REST, tuple(samples), self._taken_faults()))

    def _walk(self, walker: Walker, side: str) -> None:
        samples = [self._sample()]
        walker.walk(side)
        began, moved_at = self._clock(), None
        pin = PIN_LEFT if side == LEFT else PIN_RIGHT
        while True:
            self._wait(SAMPLE_S)
            sample, now = self._sample(), self._clock()
            if _moved(samples[-1], sample):
                samples.append(sample)
                moved_at = now
            elif moved_at is None:
                if now - began > PATIENCE_S:
                    break
            elif now - moved_at > (STANDING_S if sample.status.pins & pin else SETTLED_S):
                break
        samples.append(sample)
        self._stretches.append(Stretch(side, tuple(samples), self._taken_faults()))

    def _taken_faults(self) -> tuple[Fault, ...]:
        taken, self._faults = tuple(self._faults), []
        return taken

    # ---- coils --------------------------------------------------------------------------------

    def coils_alone(self) -> tuple[Try, ...]:
        """Each selector switched on by itself for a moment, and nothing else looked at.

        Of a board that has been greeted and has no plan. Raises LinkError where it refuses the bed or starts anew.
        """
        self._host.set_bed(self._bed)
        try:
            self._try_coils()
        except _StartedAnew:
            ailment = AILMENTS["board-restarts"]
            raise LinkError(ailment.says, hint=ailment.next_step()) from None
        return tuple(self._tries)

    def _try_coils(self) -> None:
        last = self._bed.count - 1
        which = f"selectors 0 to {last} in turn: each" if last else "selector 0: it"
        self._said(f"switching on {which} should click once")
        for selector in range(self._bed.count):
            idle = self._sample().counts
            self._taken_faults()
            probed = self._probe(selector)
            faults = self._taken_faults()
            self._tries.append(Try(selector, idle, probed, faults[0].fault if faults else 0))

    def _probe(self, selector: int) -> Probed | None:
        """Several tries: an answer that was lost makes the board refuse the question's repetition."""
        question = Probe(selector, min(PROBE_MS, self._bed.limit_ms - 1))
        for _ in range(PROBE_TRIES):
            with contextlib.suppress(Silent):
                answer = self._host.ask(question, lambda m: isinstance(m, Probed | Refused), tries=1)
                if isinstance(answer, Probed) and answer.selector == selector:
                    return answer
            self._wait(2 * PROBE_MS / 1000)
            if self._faults:
                return None
        return None


def _moved(one: Sample, other: Sample) -> bool:
    return one.counts.edges != other.counts.edges or one.status.pins != other.status.pins
