"""What the model board takes of a bed, a plan and a pass (docs/protocol.md, sections 4 and 6)."""

from __future__ import annotations

from latchline.link.messages import Bed, Pass, PlanStart
from latchline.sim.board.heat import room
from latchline.sim.board.way import lines_of

NEEDLES_MAX = 255


def bed_is_good(bed: Bed) -> bool:
    """The limits of section 4."""
    middle = bed.middle_left > bed.middle_right or (
        bed.left_sensor < bed.middle_left and bed.middle_left + 3 <= bed.middle_right < bed.right_sensor
    )
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
        and bed.advance_max + bed.hold <= room(bed)
        and bed.duty <= 15
        and bed.passing in (0, 1)
        and middle
    )


def lines_are_good(bed: Bed, lines: tuple[int, int]) -> bool:
    return bed.left_sensor < lines[0] < lines[1] < bed.right_sensor


def plan_is_good(bed: Bed, plan: PlanStart) -> bool:
    return (
        plan.fingerprint != 0
        and 1 <= plan.first <= plan.last + 1
        and lines_are_good(bed, (plan.left_line, plan.right_line))
        and plan.first_needle <= plan.last_needle < bed.needles
    )


def pass_is_good(bed: Bed, plan: PlanStart, taken: Pass) -> bool:
    """Whatever its number and the plan that it belongs to."""
    bits = int.from_bytes(taken.mask, "little")
    return (
        taken.direction in (0, 1)
        and bits >> (plan.last_needle + 1) == 0
        and bits & ((1 << plan.first_needle) - 1) == 0
        and lines_are_good(bed, lines_of(plan, taken))
    )
