"""Rows counted by the carriage's way, while nothing is selected."""

from __future__ import annotations

from latchline.link.messages import Status
from latchline.plan.model import Plan


class RowCounter:
    """Counts by the sides of the needles that work before pass `coming` at which the carriage is seen in turn."""

    def __init__(self, plan: Plan, coming: int) -> None:
        self._left_line, self._right_line = plan.profile.turn_lines(plan.turn_span(coming))
        self._side = 0
        self.rows = 0

    def see(self, status: Status | None) -> None:
        """Where the carriage is now."""
        if status is None:
            return
        side = -1 if status.position <= self._left_line else 1 if status.position >= self._right_line else 0
        if side and side != self._side:
            self.rows += self._side != 0
            self._side = side
