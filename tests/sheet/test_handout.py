"""The page that a teacher gives to a class."""

from __future__ import annotations

import io
from importlib import resources

import pypdf
import pytest
from hypothesis import given, settings

import latchline
from latchline.machine.needles import Span
from latchline.piece.file import load_piece
from latchline.piece.model import Piece
from latchline.plan.hand import HAND_KINDS
from latchline.plan.model import Plan
from latchline.sheet.handout import glossary, hand_drawing, make_handout
from latchline.sheet.make import Figure, Listed
from strategies import shaped_plans


def example(name: str) -> Piece:
    with resources.as_file(resources.files("latchline") / "examples") as folder:
        return load_piece(folder / name)


@pytest.mark.parametrize("name", ["net-scarf.toml", "net-cushion.toml"])
def test_a_simple_piece_goes_on_two_sides(name: str) -> None:
    piece = example(name)
    pdf = pypdf.PdfReader(io.BytesIO(latchline.write_sheet(piece, "pdf", handout=True)))
    assert len(pdf.pages) <= 2
    assert "font-size: 19px" in latchline.write_sheet(piece, "html", handout=True).decode()


def test_its_steps_are_the_bands_and_hands_in_order() -> None:
    piece = example("ferry-sweater-front.toml")
    page = make_handout(piece, piece.plan()).pages[0]
    (steps,) = (block.items for block in page.blocks if isinstance(block, Listed))
    named = [band.name for band in piece.plan().bands]
    assert [line.split(":")[0] for line in steps if line.split(":")[0] in named] == named
    assert steps[-1].startswith("at the end: thread a cord")


def test_every_word_that_occurs_has_a_drawing() -> None:
    plan = example("net-scarf.toml").plan()
    titles = [block.title for block in glossary(plan) if isinstance(block, Figure)]
    for kind in {step.kind for step in plan.hand}:
        assert any(title.startswith(HAND_KINDS[kind].title) for title in titles)


@pytest.mark.parametrize("name", sorted(HAND_KINDS))
def test_every_kind_of_hand_step_can_be_drawn(name: str) -> None:
    assert hand_drawing(HAND_KINDS[name]).items


@given(shaped_plans())
@settings(max_examples=10)
def test_any_shaped_piece_has_a_handout(plan: Plan) -> None:
    piece = Piece(plan.name, plan.profile, Span(plan.span.first, plan.span.last), None, (), ())
    assert make_handout(piece, plan).pages
