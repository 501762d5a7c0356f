"""The packaged pieces load and compile, and show on the knit side what was drawn."""

from __future__ import annotations

from importlib.resources import as_file, files

import numpy as np
import pytest

from latchline.chart.transform import mirror
from latchline.checks.find import can_be_knitted, findings
from latchline.fabric.hanging import hanging
from latchline.piece.file import load_piece
from latchline.plan.model import Plan

PIECES = sorted(item.name for item in files("latchline").joinpath("examples").iterdir() if item.name.endswith(".toml"))


def plan_of(name: str) -> Plan:
    with as_file(files("latchline").joinpath("examples")) as folder:
        return load_piece(folder / name).plan()


def test_the_pieces_show_every_kind_of_pattern() -> None:
    shown = {band.technique.name for name in PIECES for band in plan_of(name).bands}
    assert {"stocking", "fair-isle", "tuck", "slip", "slip-colours", "jacquard"} <= shown
    assert "harbour-blanket.toml" in PIECES


@pytest.mark.parametrize("name", PIECES)
def test_every_packaged_piece_compiles(name: str) -> None:
    plan = plan_of(name)
    assert plan.passes > 0
    assert plan.acting_masks().any() or plan.hand
    assert plan.acting_masks().shape[1] == plan.span.width


def test_the_lettering_of_the_blanket_reads_on_the_knit_side() -> None:
    plan = plan_of("harbour-blanket.toml")
    band = next(band for band in plan.bands if band.name == "lettering")
    drawn = band.drawing
    assert drawn is not None
    seen_from_the_knit_side = plan.acting_masks(band.first, band.last)[:, ::-1]
    assert np.array_equal(seen_from_the_knit_side[:, : drawn.stitches], drawn.cells != 0)
    assert not np.array_equal(mirror(drawn).cells, drawn.cells)


@pytest.mark.parametrize(("name", "technique"), [("net-cushion.toml", "tuck"), ("tide-mat.toml", "slip")])
def test_the_end_needles_of_the_textures_knit(name: str, technique: str) -> None:
    plan = plan_of(name)
    band = next(band for band in plan.bands if band.technique.name == technique)
    masks = plan.acting_masks(band.first, band.last)
    assert masks[:, [0, -1]].all()
    assert not masks[:, 1:-1].all()


@pytest.mark.parametrize("name", PIECES)
def test_the_yarns_of_a_piece_follow_the_colours_of_its_charts(name: str) -> None:
    for band in plan_of(name).bands:
        if band.drawing is not None and band.technique.colour_work:
            assert [yarn.colour for yarn in band.yarns] == [colour.hex for colour in band.drawing.palette]


@pytest.mark.parametrize(
    ("name", "fingerprint"),
    [
        ("bench-bunting.toml", "4072959d"),
        ("door-banner.toml", "0226fbac"),
        ("harbour-blanket.toml", "d0bc2590"),
        ("net-cushion.toml", "9089565e"),
        ("signal-flags.toml", "26b1af7e"),
        ("tide-mat.toml", "b84818d9"),
    ],
)
def test_a_piece_from_before_shaping_keeps_its_fingerprint(name: str, fingerprint: str) -> None:
    assert f"{plan_of(name).fingerprint:08x}" == fingerprint


@pytest.mark.parametrize(
    "name", ["bench-cushion.toml", "harbour-hat.toml", "net-scarf.toml", "ferry-sweater-front.toml"]
)
def test_a_whole_piece_can_be_knitted_and_leaves_no_loop(name: str) -> None:
    plan = plan_of(name)
    assert can_be_knitted(findings(plan))
    assert not list(hanging(plan))[-1].loops.any()
    assert not plan.cast_on_loops().any()
