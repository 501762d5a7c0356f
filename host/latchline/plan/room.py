"""Needles beyond those named: a piece that widens takes them itself, and everything else stays where it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from latchline.errors import InputError
from latchline.machine.needles import Span
from latchline.plan.hand import OUT
from latchline.plan.options import Options
from latchline.plan.positions import Bools, Worked, lay_out
from latchline.plan.shape import ByHand, CastOn, Work
from latchline.plan.signs import Signs


def room_for(
    span: Span,
    begun: Span | None,
    bands: Sequence[Worked],
    rightward: Bools,
    called: Callable[[Span], str],
    *,
    needles: int,
    options: Sequence[Options],
) -> Span:
    """The needles that a piece takes which was to have only those of `span`.

    needles: of the bed. options: of the bands; where a ground or its catches count needles from the left, so many
    more are taken that they fall where they fell, where rows are mirrored as many on both sides. Raises InputError as
    `lay_out` does, and where the bed ends.
    """
    bed = Span(0, needles - 1)
    moved = [(name, starts, tuple(moved_by(work, span.first) for work in works)) for name, starts, works in bands]
    laid = lay_out(bed, begun, moved, rightward, called)
    used: list[int] = np.flatnonzero((laid.positions.table != OUT).any(axis=0)).tolist()
    for step in laid.hand:  # some needles come into work and leave it before a pass is knitted
        further = step.by if step.kind == "move" else 0
        used += [step.first + min(further, 0), step.last + max(further, 0)]
    left, right = max(span.first - min(used), 0), max(max(used) - span.last, 0)
    if any(option.mirror_rows and option.once_at is None for option in options):
        left = right = max(left, right)
    apart = 4 if any(option.break_floats or option.catch_floats for option in options) else 1
    apart = max(apart, 2 if any(option.alternate_needles != "off" for option in options) else 1)
    left = -(-left // apart) * apart
    if span.first < left or span.last + right >= needles:
        raise InputError("widening leaves the bed", hint="begin on fewer needles, or nearer to the middle")
    return Span(span.first - left, span.last + right)


def moved_by(work: Work, needles: int) -> Work:
    """The same in a span that begins so many needles further left."""
    if isinstance(work, ByHand | CastOn | Signs):
        return replace(work, first=work.first + needles, last=work.last + needles)
    return work
