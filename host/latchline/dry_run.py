"""A dry run: knit a plan on the simulator through the real serial code, and compare every needle.

The needles are those of the simulator's carriage and coils, which know nothing of what the board
believes; a pass that the board counts is looked up among the ways that the carriage really went.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np
import numpy.typing as npt
import serial

from latchline.errors import KnittingError
from latchline.knit import events
from latchline.knit.session import Session
from latchline.knit.talk import GoesOn
from latchline.link.host import Host
from latchline.link.messages import TICK_US, Done
from latchline.link.port import cannot_open
from latchline.plan.hand import GONE, Position, goes, kind_of
from latchline.plan.listing import plain
from latchline.plan.model import Plan
from latchline.sim import carriage
from latchline.sim.needles import Knitted
from latchline.sim.port import SimPort, parse_url, register
from latchline.sim.world import World

STUCK_S = 600.0  # simulated time without a pass after which a run is given up
STEP_S = 2.5  # simulated time that a step waits for the board, if nothing is heard sooner
TICKS = 1 << 32
CLOSE_TICKS = 250  # 1 ms: a contact that bounces at the line begins the pass a little later
LOOKED_BACK = 64  # a report may come late, but not by more passes than the board has room for


Ahead = dict[int, npt.NDArray[np.bool_]]  # by the pass that they are pushed for: which needles of the span are


@dataclass(frozen=True)
class WrongNeedle:
    """A needle that stands otherwise than planned. selected: as it stands."""

    pass_number: int
    needle: int
    selected: bool


@dataclass(frozen=True)
class DryRun:
    """What came of a dry run.

    compared: needles compared with the plan, in all passes. seconds: simulated.
    faults: (number, pass) of each fault that the board named on the way.
    """

    address: str
    passes: int
    done: int
    compared: int
    wrong: tuple[WrongNeedle, ...]
    faults: tuple[tuple[int, int], ...]
    restarts: int
    resent: int
    seconds: float

    @property
    def as_planned(self) -> bool:
        return not self.wrong and self.done == self.passes


def address_of(plan: Plan, *, seed: int, pace: float | None, faults: Sequence[str], trace: str) -> str:
    """The simulator's address: what it takes to run this again."""
    options = [("seed", str(seed))]
    options += [("pace", f"{pace:g}")] if pace is not None else []
    options += [("fault", fault) for fault in faults]
    options += [("trace", trace)] if trace else []
    return f"sim://{plan.profile.name}?{urlencode(options, safe=':,@/')}"


def reached_rows_min(plan: Plan, address: str) -> float:
    """The pace, rows a minute, to which the hand at `address` comes over the plan's needles; it may ask for more."""
    hand = parse_url(address).hand
    clearance = plan.profile.turn_clearance_needles if hand.clearance_needles is None else hand.clearance_needles
    needles = plan.span.last - plan.span.first + 2 * clearance
    return carriage.reached_rows_min(plan.profile, hand, needles * plan.profile.edges_per_needle)


def dry_run(plan: Plan, address: str, progress: Callable[[int], None] = lambda done: None) -> DryRun:
    """Knit the whole plan on the simulated board at `address`.

    Raises LinkError and its children for what the simulated line and board do, KnittingError when
    nothing goes on.
    """
    port = _open(plan, address)
    try:
        return _knit(plan, address, port, progress)
    finally:
        port.close()


def _open(plan: Plan, address: str) -> SimPort:
    register()
    port = serial.serial_for_url(address, do_not_open=True)
    assert isinstance(port, SimPort)
    port.machine = plan.profile
    try:
        port.open()
    except (serial.SerialException, OSError, ValueError) as error:
        raise cannot_open(address, error) from None
    return port


def _knit(plan: Plan, address: str, port: SimPort, progress: Callable[[int], None]) -> DryRun:
    session = Session(
        Host(port, port.clock),
        plan,
        GoesOn(),
        clock=port.clock,
        waits_at_bands=False,
        waits_at_changes=False,
        wait_s=STEP_S,
    )
    wrong: list[WrongNeedle] = []
    compared = 0
    moved_s = port.clock()
    fault = ""
    pushed: Ahead = {}
    while not session.over:
        for event in session.step():
            if isinstance(event, events.Knitted) and event.report is not None:
                moved_s = port.clock()
                compared += len(_looked_at(plan))
                wrong += compare(plan, event.number, event.report, port.world)
                wrong += compare_acting(plan, event.number, event.report, port.world, pushed)
                progress(event.number)
            elif isinstance(event, events.Stopped):
                fault = event.error.sentence()
        if port.clock() - moved_s > STUCK_S:
            raise KnittingError(
                "nothing was knitted for ten minutes of simulated time",
                where=f"pass {session.done + 1}",
                hint=fault or "the simulated board never got ready",
            )
    told = session.summary()
    return DryRun(
        address=address,
        passes=plan.passes,
        done=told.done,
        compared=compared,
        wrong=tuple(wrong),
        faults=tuple(told.faults),
        restarts=told.restarts,
        resent=told.resent,
        seconds=told.seconds,
    )


def _looked_at(plan: Plan) -> range:
    """The needles that are compared: the whole bed.

    Where a coil that is off selects, only the span: past the turn lines all coils are off, so the
    needles there are selected on every pass. None of them works.
    """
    span = plan.span
    return range(span.first, span.last + 1) if plan.profile.selectors.active == "low" else range(plan.profile.needles)


def compare(plan: Plan, number: int, report: Done, world: World) -> list[WrongNeedle]:
    """The needles that stand otherwise than pass `number` has them.

    All of the span, if the carriage never went the way that the report tells of.
    """
    needles = _looked_at(plan)
    bits = np.frombuffer(plan.bed_mask(number), dtype=np.uint8)
    planned = np.unpackbits(bits, bitorder="little")[needles.start : needles.stop].astype(np.bool_)
    way = _way_of(report, world.needles.knitted[-LOOKED_BACK:], world.started_us)
    if way is None or way.rightward != bool(plan.rightward[number - 1]):
        return [WrongNeedle(number, plan.span.first + n, False) for n in range(plan.span.width)]
    different = np.flatnonzero(way.selected[needles.start : needles.stop] != planned) + needles.start
    return [WrongNeedle(number, int(needle), bool(way.selected[needle])) for needle in different]


def compare_acting(plan: Plan, number: int, report: Done, world: World, pushed: Ahead) -> list[WrongNeedle]:
    """The needles that knit otherwise than pass `number` has them, where the pass before it pushed them.

    They stand as that pass left them, then as hands set them, which know only what the steps of the plan say: a needle
    that a step may leave anywhere stands wrong until another one sets it. pushed: takes the needles as pass
    `number` leaves them. Only where the piece is shaped: elsewhere nothing comes between.
    """
    if plan.profile.drive != "next-pass" or not plan.shaped:
        return []
    span = slice(plan.span.first, plan.span.last + 1)
    stand = pushed.pop(number, None)
    way = _way_of(report, world.needles.knitted[-LOOKED_BACK:], world.started_us)
    working = plan.positions_of(number, number)[0] == Position.WORK
    if way is not None:
        pushed[number + 1] = way.selected[span] & working
    planned = plan.acting_masks(number, number)[0]
    if stand is None or plain(plan, number):
        return []
    for step in plan.hand_before(number):
        here = slice(step.first, step.last + 1)
        kind = kind_of(step)
        if kind.selects or kind.sets is not None:
            stand[here] = kind.name == "forward"
        elif kind.unsettles:
            onto = goes(step, plan.span.width)[here]
            stand[onto[onto != GONE]] = ~planned[onto[onto != GONE]]
            stand[here] = ~planned[here]
    return [
        WrongNeedle(number, plan.span.first + int(needle), bool(stand[needle]))
        for needle in np.flatnonzero((stand != planned) & working)
    ]


def _way_of(report: Done, ways: Sequence[Knitted], started_us: Sequence[int]) -> Knitted | None:
    """The carriage's way that began when the report says, by any of the board's starts."""
    for way in reversed(ways):
        for started in started_us:
            late = (way.begin_us - started) // TICK_US - report.start
            if way.rightward == bool(report.direction) and (late + CLOSE_TICKS) % TICKS <= 2 * CLOSE_TICKS:
                return way
    return None
