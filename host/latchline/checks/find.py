"""Can it be knitted? Every rule in one table. Nothing here reads or writes."""

from __future__ import annotations

from collections.abc import Sequence

from latchline.checks import across, drawing, hands, upward, yarns
from latchline.checks.look import Look, Rule
from latchline.checks.mends import with_mends
from latchline.checks.model import MUST_MEND, Finding, in_order
from latchline.plan.limits import Limits
from latchline.plan.model import Plan

# The first group looks only at bands whose technique names the rule among its `checks`; the second
# looks at every band.
OF_TECHNIQUES: dict[str, Rule] = {
    "float-across": across.float_across,
    "float-over-turn": across.float_over_turn,
    "laid-in-float": across.laid_in_float,
    "tucks-beside": across.tucks_beside,
    "tucks-stacked": upward.tucks_stacked,
    "loop-kept": upward.loop_kept,
    "never-knits": upward.never_knits,
    "edge-needle": upward.edge_needle,
    "colour-not-carried": drawing.colour_not_carried,
    "yarn-idle": drawing.yarn_idle,
    "rows-alike": drawing.rows_alike,
    "weights": yarns.weights,
}
OF_ALL: dict[str, Rule] = {
    "chart-cut": drawing.chart_cut,
    "motif-edge": drawing.motif_edge,
    "seam": drawing.seam,
    "rows-not-shown": drawing.rows_not_shown,
    "yarn-class": yarns.yarn_class,
    "stitch-size": yarns.stitch_size,
    "tightness": yarns.tightness,
    "curls": yarns.curls,
    "empty-needles": hands.empty_needles,
    "loops-crowded": hands.loops_crowded,
    "cable-reach": hands.cable_reach,
    "loops-left": hands.loops_left,
    "second-bed-loops": hands.second_bed_loops,
}
RULES: dict[str, Rule] = OF_TECHNIQUES | OF_ALL


def findings(plan: Plan, limits: Limits | None = None, *, mends: bool = True) -> tuple[Finding, ...]:
    """Everything that the rules find in a plan, worst first. mends: with the ways out, each of them tried.

    For a rule that is broken in many places there is one finding a chart row (or a band), with
    the worst place and the number of places.
    """
    look = Look(plan, limits or Limits())
    found = [finding for rule in RULES.values() for finding in rule(look)]
    worst_first = in_order(found)
    return tuple(with_mends(look, worst_first, RULES)) if mends else worst_first


def can_be_knitted(found: Sequence[Finding]) -> bool:
    """Whether nothing must be mended first."""
    return not any(finding.severity == MUST_MEND for finding in found)
