"""What the page is shown of a piece: its size, its yarn, its findings with the cells they speak of, its fabric."""

from __future__ import annotations

import io
import re
import tomllib
from itertools import groupby
from typing import Any

import numpy as np
import numpy.typing as npt

from latchline.chart.drawing import arranged
from latchline.chart.model import Chart
from latchline.checks import report
from latchline.checks.find import can_be_knitted, findings
from latchline.checks.model import SEVERITIES, Finding
from latchline.desk.document import Looked
from latchline.errors import InputError
from latchline.fabric.layout import courses_of
from latchline.fabric.loops import pass_yarns
from latchline.fabric.outline import outline
from latchline.fabric.yarn_need import yarn_need
from latchline.mend import PIECE_FILE
from latchline.piece.measure import gauge_of
from latchline.piece.write import bands_of
from latchline.plan.model import Band, Plan
from latchline.preview.picture import SIDES, STITCH_PX, draw_fabric
from latchline.shaping.gauge import Gauge

CELLS_MAX = 4000  # of one finding that are marked; more than that is the whole chart
PLACES_SHOWN = 12  # of one rule in one band
ROW_PASSES_MAX = 400  # drawn at once; no screen is taller
PNG_EFFORT = 1


def gauge_in(looked: Looked) -> Gauge:
    return gauge_of(looked.plan.profile, pass_yarns(looked.plan).yarns, looked.piece.swatch)


def size(looked: Looked) -> dict[str, Any]:
    """How large it gets: what a page must know to ask for the picture that is in its sight."""
    plan, gauge = looked.plan, gauge_in(looked)
    if plan.shaped:
        shape = outline(plan, gauge)
        width, height = gauge.finished_cm(shape.width, shape.rows)
    else:
        wide = max((band.scale[0] for band in plan.bands if band.counts), default=1.0)
        width, height = gauge.finished_cm(plan.span.width * wide, courses_of(plan))
    return {
        "passes": plan.passes,
        "width": plan.span.width,
        "size_cm": [round(width, 1), round(height, 1)],
        "gauge": [round(gauge.stitches, 1), round(gauge.rows, 1)],
        "estimated": gauge.estimated,
    }


def verdict(looked: Looked, *, mends: bool = True) -> dict[str, Any]:
    """Whether it can be knitted, how large it gets, what it takes. Raises InputError when there is no plan.

    mends: with the ways out, each of them tried.
    """
    piece, plan = looked.piece, looked.plan
    found = findings(plan, piece.limits, mends=mends)
    need = yarn_need(plan, piece.swatch)
    places = _Places(looked)
    return {
        "fingerprint": f"{plan.fingerprint:08x}",
        **size(looked),
        "needles": plan.profile.span_name(plan.span),
        "machine": plan.profile.name,
        "start": plan.start,
        "yarns": [
            {
                "name": total.yarn.name,
                "colour": total.yarn.colour,
                "metres": round(total.metres_with_margin, 1),
                "grams": None if total.grams_with_margin is None else round(total.grams_with_margin),
            }
            for total in need.totals
        ],
        "bands": [
            {"name": band.name, "first": band.first, "last": band.last, "technique": band.technique.name}
            for band in plan.bands
        ],
        "can_be_knitted": can_be_knitted(found),
        "says": report.verdict(found),
        "mends": mends,
        "findings": [_group(places, list(alike)) for _, alike in groupby(sorted(found, key=_alike), key=_alike)],
    }


def _alike(item: Finding) -> tuple[int, str, str, str]:
    return SEVERITIES.index(item.severity), item.rule, item.why, item.todo


def _group(places: _Places, alike: list[Finding]) -> dict[str, Any]:
    """What a rule found, told once, with its worst places: those of each band first, each with the band's mends.

    what: of all of them; empty where each has its own.
    """
    alike = sorted(alike, key=lambda item: -(item.measured or 0))
    worst = list({item.band: item for item in reversed(alike)}.values())[::-1]
    others = [item for item in alike if all(item is not one for one in worst)]
    shown = [_finding(places, item) for item in [*worst, *others][: max(PLACES_SHOWN, len(worst))]]
    mends = [mend for one in shown[: len(worst)] for mend in one["mends"]]
    what = shown[0]["what"] if len({item.what for item in alike}) == 1 else ""
    return shown[0] | {"what": what, "at": shown, "more": len(alike) - len(shown), "mends": mends}


def _finding(places: _Places, item: Finding) -> dict[str, Any]:
    chart, cells = places.of(item)
    return {
        "rule": item.rule,
        "severity": item.severity,
        "band": item.band,
        "what": item.what,
        "why": item.why,
        "todo": item.todo,
        "chart_row": item.chart_row,
        "passes": [item.pass_first, item.pass_last],
        "needles": item.needles,
        "places": item.places,
        "mends": [
            {"what": mend.what, "key": PIECE_FILE.setting(mend.key, mend.value), "band": places.number(item.band)}
            for mend in item.mends
        ],
        "chart": chart,
        "cells": cells,
    }


class _Places:
    """From the needles that a finding speaks of back to the cells of the drawing."""

    def __init__(self, looked: Looked) -> None:
        self._looked = looked
        self._values = bands_of(looked.state.text)
        self._maps: dict[str, tuple[str, npt.NDArray[np.int64]] | None] = {}
        self._names = [band.name for band in looked.piece.bands]

    def number(self, name: str) -> int:
        """The band's place in the file, from 0; −1 for what the file does not have, as a set-up pass."""
        return self._looked.piece.tables[self._names.index(name)] if name in self._names else -1

    def of(self, item: Finding) -> tuple[str, list[list[int]]]:
        """The drawing's name, and [row, stitch] of its cells, from 0; none where they cannot be told."""
        if not item.chart_row or not item.needles:
            return "", []
        if item.band not in self._maps:
            self._maps[item.band] = self._map(item.band)
        known = self._maps[item.band]
        if known is None:
            return "", []
        name, cells = known
        plan = self._looked.plan
        try:
            span = plan.profile.span(item.needles if "-" in item.needles else f"{item.needles}-{item.needles}")
        except InputError:
            return name, []
        first, last = max(span.first - plan.span.first, 0), span.last - plan.span.first
        row = cells[(item.chart_row - 1) % len(cells), first : last + 1]
        stitches = self._looked.state.drawings[name].stitches
        found = sorted({int(cell) - 1 for cell in row if cell})[:CELLS_MAX]
        return name, [list(divmod(cell, stitches)) for cell in found]

    def _map(self, name: str) -> tuple[str, npt.NDArray[np.int64]] | None:
        """For each chart row and needle of the span the number of its cell in the drawing, from 1; 0 for none."""
        band = next((band for band in self._looked.plan.bands if band.name == name), None)
        values = self._values[self.number(name)] if self.number(name) >= 0 else {}
        chart = values.get("chart")
        drawn = self._looked.state.drawings.get(chart) if isinstance(chart, str) else None
        if band is None or drawn is None or band.chart is None or not isinstance(chart, str):
            return None
        numbers = np.arange(1, len(drawn.rows) * drawn.stitches + 1, dtype=np.int64).reshape(len(drawn.rows), -1)
        as_chart = Chart(numbers, drawn.palette[:2], name)  # type: ignore[arg-type]
        pairs = {key: tuple(values[key]) for key in ("crop_rows", "crop_stitches") if key in values}
        turned = arranged(
            as_chart,
            turns=values.get("turn", 0),
            flipped=values.get("flip", False),
            mirrored=values.get("mirror", False),
            enlarged=tuple(values.get("enlarge", (1, 1))),
            **pairs,
        ).cells
        return chart, _on_needles(turned.astype(np.int64), band, self._looked.plan)


def _on_needles(cells: npt.NDArray[np.int64], band: Band, plan: Plan) -> npt.NDArray[np.int64]:
    """As `plan.compile.fit` lays a drawing on the needles."""
    shown = band.options.shown_side or ("knit" if band.technique.colour_work else "purl")
    cells = cells[:, ::-1] if shown == "knit" else cells
    width = plan.span.width
    if band.options.once_at is None:
        return cells[:, (np.arange(width) - band.options.shift) % cells.shape[1]]
    placed = np.zeros((len(cells), width), dtype=np.int64)
    at = band.options.once_at - plan.span.first
    placed[:, at : at + cells.shape[1]] = cells
    return placed


def mend_of(key: str) -> dict[str, Any]:
    """A mend's line of a piece file as key and value. Raises InputError."""
    try:
        values = tomllib.loads(key)
    except tomllib.TOMLDecodeError:
        values = {}
    if not values or not all(re.fullmatch(r"[a-z_]+", name) for name in values):
        raise InputError(f'"{key[:60]}" is no mend', hint="look at the findings again")
    return values


def fabric(looked: Looked, side: str, stitch_px: int, first: int, last: int) -> bytes:
    """The fabric of passes first to last, as PNG. Raises InputError."""
    plan = looked.plan
    if not 1 <= first <= last:
        raise InputError(f"there are no passes {first} to {last}", hint=f"accepted: 1 to {plan.passes}")
    first, last = min(first, plan.passes), min(last, plan.passes)  # a piece may have become shorter meanwhile
    if side not in SIDES or not STITCH_PX[0] <= stitch_px <= STITCH_PX[1] or last - first >= ROW_PASSES_MAX:
        raise InputError("there is no such picture of the fabric", hint="ask for fewer passes, or another size")
    picture = draw_fabric(plan, side, gauge_in(looked), stitch_px=stitch_px, first=first, last=last)
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=PNG_EFFORT)
    return out.getvalue()
