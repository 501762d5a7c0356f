"""Which needles a story's carriage really found selected, told from where it went and what the outputs did.

It looks at nothing that the board believes or says, but for which passes it counts.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from conformance.story import Record, Said, Story

from latchline.link.messages import TICK_US, Bed, Done, Message, Pass, PlanStart, from_wire
from latchline.sim.board.heat import duty
from latchline.sim.board.way import lines_of

Places = npt.NDArray[np.int64]


def said(story: Story, kind: type[Message]) -> list[Message]:
    """What the host has said of one kind, in order."""
    found = []
    for _, event in story.events:
        if isinstance(event, Said):
            found += [from_wire(frame) for frame in event.data.split(b"\0") if frame]
    return [message for message in found if isinstance(message, kind)]


def counted(record: Record) -> dict[int, tuple[int, Done]]:
    """The passes that the board has counted: when each began, and its report."""
    found = {}
    for at_us, message in record.frames:
        if isinstance(message, Done):
            powered_us = max(start for start in record.starts if start <= at_us)
            found[message.pass_number] = powered_us + message.start * TICK_US, message
    return found


def wrong_needles(story: Story, record: Record) -> list[str]:
    """For each counted pass: the needles that did not find their selector as the plan has it.

    A coil selects from the time on that the bed gives it to act (section 7), less a tick or two.
    """
    bed, found = story.bed, []
    plan = said(story, PlanStart)[-1]
    assert isinstance(plan, PlanStart)
    passes = {one.pass_number: one for one in said(story, Pass) if isinstance(one, Pass)}
    at_us = np.concatenate([part for part, _ in story.way])
    places = np.concatenate([part for _, part in story.way])
    for number, (begin_us, _) in counted(record).items():
        planned = passes[number]
        sign = 1 if planned.direction else -1
        left, right = lines_of(plan, planned)
        begin = int(np.searchsorted(at_us, begin_us - TICK_US))
        finish = right if sign > 0 else -left
        over = begin + int(np.argmax(sign * places[begin:] >= finish))
        met = _met(bed, plan, sign, at_us[begin : over + 1], places[begin : over + 1])
        bits = int.from_bytes(planned.mask, "little")
        for needle, met_us in met.items():
            selected = bool(bits >> needle & 1)
            if _selects(bed, record, _coil(bed, needle, planned.direction), met_us) != selected:
                found.append(f"pass {number}, needle {needle}: planned {selected}")
        missing = [n for n in range(plan.first_needle, plan.last_needle + 1) if bits >> n & 1 and n not in met]
        found += [f"pass {number}, needle {needle}: never met" for needle in missing]
    return found


def _met(bed: Bed, plan: PlanStart, sign: int, at_us: Places, places: Places) -> dict[int, int]:
    """When each needle was last met, going forward."""
    met = {}
    lead = bed.lead_rightward if sign > 0 else bed.lead_leftward
    forward = np.diff(places, prepend=places[0] - sign) == sign
    for needle in range(plan.first_needle, plan.last_needle + 1):
        here = np.flatnonzero((places == needle * bed.edges_per_needle - sign * lead) & forward)
        if len(here):
            met[needle] = int(at_us[here[-1]])
    return met


def _coil(bed: Bed, needle: int, direction: int) -> int:
    if bed.layout_kind == 1:
        return needle % bed.count
    return 0 if bed.count == 1 or direction else 1


def _selects(bed: Bed, record: Record, coil: int, at_us: int) -> bool:
    """Has this coil's selector come to where it selects by now?"""
    signals = record.signals
    on = (signals.register >> coil & 1 == 1) & signals.enabled
    now = int(np.searchsorted(signals.at_us, at_us, "right")) - 1
    if now < 0:
        return bool(bed.active_low)
    since = now
    while since > 0 and on[since - 1] == on[now]:
        since -= 1
    acted = at_us - int(signals.at_us[since]) >= TICK_US * (bed.advance - bed.advance // 4 - 2)
    return bool(on[now] and acted) ^ bool(bed.active_low)


def excess_s(bed: Bed, record: Record) -> float:
    """By how much a coil was on for longer than its budget allows, over the worst stretch of time; negative if never.

    on − share × T is greatest from one going on to one going off, so only these need be looked at.
    """
    share = duty(bed) / 16
    allowed_s = 2 * bed.limit_ms / 1000 * (1 - share) + 0.001
    worst = -allowed_s
    signals = record.signals
    ends = np.append(signals.at_us[1:], record.end_us)
    for coil in range(bed.count):
        on = (signals.register >> coil & 1 == 1) & signals.enabled
        over, most = 0.0, 0.0
        for span_us, lit in zip((ends - signals.at_us).tolist(), on.tolist(), strict=True):
            over = max(0.0, over + span_us / 1e6 * ((1 - share) if lit else -share))
            most = max(most, over)
        worst = max(worst, most - allowed_s)
    return worst
