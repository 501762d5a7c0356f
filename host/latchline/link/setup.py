"""What the board is told of the machine: the BED message of a profile."""

from __future__ import annotations

from math import floor, sqrt

from latchline.link.messages import TICK_US, Bed
from latchline.machine.profile import Profile

NO_MIDDLE = (0, -1)
HARDEST_M_S2 = 50.0  # no hand stops a carriage harder, or pulls it free (assumed; a brisk hand does 3)
PATIENCE_MS = 45_000  # a host may sleep for 20 s with passes loaded ahead; past this the coils go off


def bed_message(profile: Profile, *, patience_ms: int = PATIENCE_MS, supply_min: int = 0, current_max: int = 0) -> Bed:
    """BED for this profile (docs/protocol.md section 4)."""
    selectors = profile.selectors
    middle = profile.middle_sensor_edges or NO_MIDDLE
    return Bed(
        needles=profile.needles,
        edges_per_needle=profile.edges_per_needle,
        left_sensor=profile.left_sensor_edge,
        right_sensor=profile.right_sensor_edge,
        tolerance=profile.tolerance_edges,
        backing=profile.backing_needles * profile.edges_per_needle,
        layout_kind=0 if selectors.layout == "carriage" else 1,
        count=selectors.count,
        lead_leftward=profile.lead_edges("leftward"),
        lead_rightward=profile.lead_edges("rightward"),
        advance=-(-profile.advance_us // TICK_US),
        advance_max=profile.advance_max_edges,
        hold=selectors.hold_edges,
        limit_ms=selectors.limit_ms,
        active_low=int(selectors.active == "low"),
        patience_ms=patience_ms,
        supply_min=supply_min,
        current_max=current_max,
        duty=profile.selectors.duty_sixteenths,
        brisk=brisk_ticks(profile),
        passing=int(profile.end_sensors == "passing"),
        middle_left=middle[0],
        middle_right=middle[1],
    )


def brisk_ticks(profile: Profile) -> int:
    """The longest interval of a carriage that no hand could stop and set going again within one edge, in ticks."""
    return min(floor(sqrt(profile.edge_mm / 1000 / HARDEST_M_S2) * 1e6 / TICK_US), 0xFFFF)
