"""`import latchline`: what it hands on, and at what cost."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

import latchline
from latchline import errors
from latchline.knit.journal import Journal
from latchline.knit.talk import GoesOn

PACKAGE = Path(latchline.__file__).parent
WAVES = "X..X\n.XX.\n"


@pytest.mark.parametrize("name", latchline.__all__)
def test_each_name_is_handed_on(name: str) -> None:
    assert getattr(latchline, name).__doc__


def test_the_list_is_in_order_and_names_every_error() -> None:
    assert list(latchline.__all__) == sorted(latchline.__all__)
    tree = {name for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, Exception)}
    assert tree <= set(latchline.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'unravel'"):
        _ = latchline.unravel


def test_no_name_is_that_of_a_room_or_a_file() -> None:
    """Importing a room sets an attribute of its name, which would hide what the door hands on."""
    assert not {path.stem for path in PACKAGE.iterdir()} & set(latchline.__all__)


def test_importing_it_imports_no_room() -> None:
    told = "import sys, latchline; print(*sorted(name for name in sys.modules if name.startswith('latchline.')))"
    assert subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True).stdout == "\n"


def test_types_are_told_to_whoever_asks() -> None:
    assert (PACKAGE / "py.typed").exists()


@pytest.fixture
def piece(tmp_path: Path) -> latchline.Piece:
    (tmp_path / "waves.txt").write_text(WAVES)
    return latchline.piece_of(tmp_path / "waves.txt", technique="slip", rows=6)


def test_a_piece_is_checked_drawn_and_knitted_through_the_door(piece: latchline.Piece) -> None:
    assert piece.plan().passes == 6
    assert {finding.rule for finding in latchline.check(piece)} <= {"rows-alike", "curls", "weights", "seam"}
    with Image.open(io.BytesIO(latchline.draw_fabric(piece, stitch_px=8))) as picture:
        assert picture.width > 4 * 8
    assert latchline.draw_fabric(piece, "svg", side="purl", passes=(2, 3)).startswith(b"<?xml")
    assert latchline.draw_working_chart(piece, "svg").startswith(b"<?xml")
    assert latchline.draw_working_chart(piece).startswith(b"%PDF-")
    assert latchline.write_sheet(piece).startswith(b"# ")
    assert latchline.yarn_need(piece).totals[0].metres > 0
    told: list[int] = []
    assert latchline.knit_dry(piece, seed=3, progress=told.append).as_planned
    assert told == [1, 2, 3, 4, 5, 6]


def test_a_piece_is_knitted_through_the_door_and_written_down(piece: latchline.Piece, tmp_path: Path) -> None:
    file = tmp_path / "waves.latchline"
    with latchline.begin(piece, "sim://?seed=3", journal=file, operator=GoesOn()) as session:
        while not session.over:
            session.step()
        assert session.summary().finished
    with Journal.open(file) as journal:
        assert journal.finished


def test_what_cannot_be_knitted_is_not_begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    (tmp_path / "never.txt").write_text("X.X\n" * 8)
    never = latchline.piece_of(tmp_path / "never.txt", technique="tuck", rows=40)
    with pytest.raises(latchline.NotKnittable) as caught, latchline.begin(never, "sim://?seed=3"):
        pass
    assert caught.value.sentence().endswith("; knit it all the same with regardless; see all of it.")
    assert not list(tmp_path.rglob("*.latchline"))


@pytest.mark.parametrize(
    ("asked", "complaint"),
    [
        (lambda piece: latchline.draw_fabric(piece, "pdf"), '"pdf" is no format that can be written here; accepted: png, svg.'),
        (lambda piece: latchline.draw_fabric(piece, passes=(0, 3)), "passes 0-3 are not in the plan; it has passes 1 to 6."),
        (lambda piece: latchline.draw_working_chart(piece, passes=(3, 9)), "passes 3-9 are not in the plan; it has passes 1 to 6."),
        (lambda piece: latchline.piece_of(technique="lace"), "technique: no technique is called"),
    ],
)  # fmt: skip
def test_a_mistake_gets_one_sentence(
    piece: latchline.Piece, asked: Callable[[latchline.Piece], object], complaint: str
) -> None:
    with pytest.raises(latchline.LatchlineError) as caught:
        asked(piece)
    assert latchline.sentence(caught.value).startswith(complaint)
