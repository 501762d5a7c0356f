"""What a check finds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from latchline.mend import Mend

MUST_MEND = "must mend"
LOOK_AT = "look at"
GOOD_TO_KNOW = "good to know"
SEVERITIES = (MUST_MEND, LOOK_AT, GOOD_TO_KNOW)


@dataclass(frozen=True)
class Finding:
    """One fault or remark.

    rule: its name in `docs/reference/findings.md`. severity: one of SEVERITIES. what, why, todo:
    one sentence each, without the full stop. chart_row: from 1, 0 where it belongs to none.
    pass_first, pass_last: where the worst of its places lies, from 1; 0 where it belongs to no
    pass. needles: span of the worst place, empty where it belongs to none. places: how many there
    are in this chart row (or band). measured, limit: in the unit that `what` names. mends: tried, the
    best first.
    """

    rule: str
    severity: str
    band: str
    what: str
    why: str
    todo: str
    chart_row: int = 0
    pass_first: int = 0
    pass_last: int = 0
    needles: str = ""
    places: int = 1
    measured: float | None = None
    limit: float | None = None
    mends: tuple[Mend, ...] = ()


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Worst first, then as the piece is knitted."""
    return tuple(
        sorted(findings, key=lambda item: (SEVERITIES.index(item.severity), item.pass_first, item.rule, item.chart_row))
    )
