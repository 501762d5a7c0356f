"""Ways out, each tried before it is offered: the band is compiled with it, and the same rule asked again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from latchline.checks.look import Look, Rule
from latchline.checks.model import GOOD_TO_KNOW, MUST_MEND, Finding
from latchline.counted import counted
from latchline.errors import LatchlineError
from latchline.fabric.loops import does
from latchline.mend import Mend
from latchline.plan.compile import BandRequest, compile_plan, shown_rows
from latchline.plan.model import Band, Plan, Yarn

PASSES_TRIED_MOST = 10_000  # when so many have been compiled, no other band is begun: a long piece is soon answered

GROUND = {"alternate_needles": "background"}, "let every other needle knit where the chart leaves the background"
EDGES = {"edge_needles": "knit"}, "make the end needles knit in every pass"
CONTRAST = {"edge_needles": "contrast"}, "let the end needles knit the contrast yarn, so that it is caught at the turn"
MIRRORED = {"mirror_rows": True}, "knit every second row as its mirror image"
ONCE = {"row_repeat": 1}, "knit each chart row once"
TWICE = {"row_repeat": 2}, "knit each chart row twice"
EXCHANGED = {"reversal": 2}, "exchange selected and unselected needles every second row"
DOUBLED = {"separation": "doubled"}, "separate every row into all its colours, each out and back"

Way = tuple[dict[str, Any], str]


def _broken(needles: int) -> Way:
    what = f"catch what passes by more than {counted(needles, 'needle')} with the fewest stitches"
    return {"break_floats": needles}, what


def _caught(needles: int) -> Way:
    return {"catch_floats": needles}, "leave the chart alone and have a list of the places to catch by hand"


def _ways(look: Look, band: Band, rule: str) -> Iterator[Way]:
    """What may help against a rule's findings, not tried yet."""
    own, options = look.own, band.options
    one_yarn = band.technique.yarns == 1
    match rule:
        case "float-across":
            yield from (_broken(own.float_needles or 0), _caught(own.float_needles or 0))
            if one_yarn:
                yield GROUND
        case "float-over-turn":
            yield from (CONTRAST, EDGES, DOUBLED)
        case "laid-in-float":
            yield _broken(own.laid_in_needles or 0)
        case "tucks-beside":
            yield from (_broken(own.tucks_beside), GROUND)
        case "tucks-stacked" | "loop-kept" | "never-knits" if one_yarn:
            yield from (ONCE, MIRRORED, EXCHANGED, GROUND)
        case "edge-needle":
            yield EDGES
        case "colour-not-carried":
            yield DOUBLED
        case "rows-not-shown":
            yield TWICE
        case "chart-cut" if band.drawing is not None and options.once_at is None:
            shift = look.plan.span.width % band.drawing.stitches // 2
            yield {"shift": shift}, "shift the pattern so that both ends are cut alike"


@dataclass(frozen=True)
class _Tried:
    """A way out that helps: places left or new, whether some are caught by hand, stitches that change, the mend."""

    left: int
    by_hand: bool
    stitches: int
    mend: Mend


@dataclass(frozen=True)
class _Places:
    """How many places each rule finds: any, and those to look at or to mend; and the rules that must be mended."""

    any: Counter[str]
    grave: Counter[str]
    must: set[str]

    def of(self, rule: str) -> int:
        return self.any[rule]


def _sum(found: Sequence[Finding]) -> Counter[str]:
    counted: Counter[str] = Counter()
    for item in found:
        counted[item.rule] += item.places
    return counted


class Tries:
    """The mends of one piece's findings. Bands that are alike are tried once."""

    def __init__(self, look: Look, rules: dict[str, Rule]) -> None:
        self._look, self._rules = look, rules
        self._known: dict[tuple[Any, ...], tuple[Mend, ...]] = {}
        self._plans: dict[tuple[Any, ...], Plan | None] = {}
        self._counted: dict[int, _Places] = {}
        self._begun: set[tuple[Any, ...]] = set()
        self._passes = 0

    def helpful(self, band: Band, rule: str) -> tuple[Mend, ...]:
        """What helps against a rule's findings in a band, best first."""
        key = (*_sort(band), rule)
        if key not in self._known:
            ways = list(_ways(self._look, band, rule))
            self._known[key] = self._tried(band, rule, ways) if ways and self._may_try(band) else ()
        return self._known[key]

    def _may_try(self, band: Band) -> bool:
        """Whether a band is tried: one that has been begun is, for all its rules."""
        if self._passes < PASSES_TRIED_MOST:
            self._begun.add(_sort(band))
        return _sort(band) in self._begun

    def _tried(self, band: Band, rule: str, ways: list[Way]) -> tuple[Mend, ...]:
        before = self._compiled(band, {})
        if before is None:
            return ()
        helped = []
        for changes, what in ways:
            after = self._compiled(band, changes)
            if after is None or all(getattr(band.options, name) == value for name, value in changes.items()):
                continue
            were, left = self._places(before), self._places(after)
            if left.of(rule) < were.of(rule) and left.must <= were.must:
                stitches, told = _changed(before, after)
                still = left.of(rule)
                rest = f"{still} of {counted(were.of(rule), 'place')} left" if still else "no place left"
                new = left.grave - were.grave
                rest += "".join(f", {more} more of {other}" for other, more in new.items())
                by_hand, mend = "catch_floats" in changes, _mend(changes, what, f"{told}; {rest}")
                helped.append(_Tried(left.of(rule) + sum(new.values()), by_hand, stitches, mend))
        return tuple(item.mend for item in sorted(helped, key=lambda item: (item.left, item.by_hand, item.stitches)))

    def _compiled(self, band: Band, changes: dict[str, Any]) -> Plan | None:
        """The band alone, with changes; None where it cannot be compiled so."""
        key = (*_sort(band), *changes.items())
        if key not in self._plans:
            try:
                self._plans[key] = plan = _alone(self._look.plan, band, changes)
                self._passes += plan.passes
            except LatchlineError:
                self._plans[key] = None
        return self._plans[key]

    def _places(self, plan: Plan) -> _Places:
        if id(plan) not in self._counted:
            look = Look(plan, self._look.limits)
            found = [item for rule in self._rules.values() for item in rule(look)]
            worth = [item for item in found if item.severity != GOOD_TO_KNOW]
            self._counted[id(plan)] = _Places(
                _sum(found), _sum(worth), {item.rule for item in worth if item.severity == MUST_MEND}
            )
        return self._counted[id(plan)]


def with_mends(look: Look, found: Sequence[Finding], rules: dict[str, Rule]) -> list[Finding]:
    """The findings with what helps against them."""
    tries = Tries(look, rules)
    named: dict[str, Callable[[str], tuple[Mend, ...]]] = {}
    for band in look.plan.bands:
        named.setdefault(band.name, lambda rule, band=band: tries.helpful(band, rule))  # type: ignore[misc]
    return [replace(item, mends=named[item.band](item.rule)) if item.band in named else item for item in found]


def _sort(band: Band) -> tuple[Any, ...]:
    """Bands with the same of these knit alike, but for the side on which they begin."""
    return band.technique.name, band.options, id(band.drawing), band.yarns, band.passes


def _alone(plan: Plan, band: Band, changes: dict[str, Any]) -> Plan:
    """One band of a plan, compiled with other options. It begins where the carriage stands, unless it can't."""
    options = replace(band.options, **{"start": None, **changes})
    yarns = band.yarns
    if band.colours:
        by_number = dict(zip(band.colours, band.yarns, strict=True))
        yarns = tuple(by_number.get(number, Yarn("")) for number in range(max(band.colours) + 1))
    if band.options.rows is None and band.chart is not None:  # rows count what is knitted, whatever the repeat
        options = replace(options, rows=None)
    request = BandRequest(band.name, band.technique, options, band.drawing, yarns)
    ahead = plan.profile.drive == "next-pass" and band.technique.needs_chart  # a set-up pass comes first
    start = "left" if bool(plan.rightward[band.first - 1]) != ahead else "right"
    try:
        return compile_plan("", plan.profile, plan.span, [request], start=start)
    except LatchlineError:
        return compile_plan("", plan.profile, plan.span, [request])


def _changed(before: Plan, after: Plan) -> tuple[int, str]:
    """How many stitches differ, and that, or the passes where their number does, in words."""
    one, other = (plan.bands[-1] for plan in (before, after))
    by_hand = sum(step.words.count(",") + 1 for step in after.hand if step.kind == "catch")
    if by_hand:
        return 0, f"changes no stitch, {by_hand} to catch by hand"
    if one.passes != other.passes:
        return 0, f"takes {counted(other.passes, 'pass')} instead of {one.passes}"
    if one.separation is not None:
        rows = int(before.knitted_row[-1])
        tables = [shown_rows(band, before.span, rows) for band in (one, other)]
        first, second = (shown.table[shown.of_row] for shown in tables)
    else:
        first, second = does(before), does(after)
    stitches = int(np.count_nonzero(first != second))
    return stitches, f"changes {counted(stitches, 'stitch')}"


def _mend(changes: dict[str, Any], what: str, told: str) -> Mend:
    ((name, value),) = changes.items()
    return Mend(what, name, f"every:{value}" if name == "reversal" else value, changes=told)
