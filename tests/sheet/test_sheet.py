"""The set-up sheet, read back from Markdown, HTML and PDF."""

from __future__ import annotations

import io
from dataclasses import replace
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

import pypdf
import pytest
from fabric.charts_by_hand import chart

from latchline.drawing.scene import Shape
from latchline.knit.prompts import What, before
from latchline.machine.cautions import SHORT_CAUTIONS
from latchline.machine.profile import Profile, load_profile
from latchline.piece.file import load_piece
from latchline.piece.measure import Swatch
from latchline.piece.model import Piece
from latchline.plan.compile import BandRequest
from latchline.plan.model import Yarn
from latchline.plan.options import Options
from latchline.sheet.make import Facts, Figure, Grid, Listed, Page, Sheet, make_sheet
from latchline.sheet.write import sheet_html, sheet_markdown, sheet_pdf
from latchline.technique.table import TECHNIQUES, technique_named

EXAMPLES = Path(str(resources.files("latchline") / "examples"))
CREAM, NAVY = Yarn("cream", "#f4ead8", 200.0, 7.0, 12.0), Yarn("navy", "#1f3a5f", 200.0, 7.0, 12.0)


def piece(*bands: BandRequest, profile: Profile | None = None, needles: str = "L10-R10", name: str = "trial") -> Piece:
    profile = profile or load_profile("standard-200")
    return Piece(name, profile, profile.span(needles), None, (CREAM, NAVY), bands)


def band(technique: str, rows: int = 24, name: str = "band", **options: object) -> BandRequest:
    found = technique_named(technique)
    drawing = chart(["x.x.", ".x.x", "xx.."]) if found.needs_chart else None
    return BandRequest(name, found, Options(rows=rows, **options), drawing, (CREAM, NAVY))  # type: ignore[arg-type]


def sheet_of(made: Piece) -> Sheet:
    return make_sheet(made, made.plan())


def facts(page: Page) -> dict[str, str]:
    return {label: value for block in page.blocks if isinstance(block, Facts) for label, value in block.rows}


def items(page: Page) -> list[str]:
    return [item for block in page.blocks if isinstance(block, Listed) for item in block.items]


def grid(page: Page, title: str) -> Grid:
    return next(block for block in page.blocks if isinstance(block, Grid) and block.title.startswith(title))


def test_there_is_a_page_for_the_piece_and_one_for_each_band() -> None:
    made = piece(band("stocking", name="hem"), band("fair-isle", name="waves"), band("stocking", name="top"))
    pages = sheet_of(made).pages
    assert [page.title.split()[-1] for page in pages] == ["trial", "hem", "waves", "top"]


@pytest.mark.parametrize(
    ("needles", "words"),
    [
        ("L10-R10", "L25 and R25"),
        ("L60-R40", "L75 and R55"),
        ("L95-R100", "10 needles past the left end and 15 needles past the right end"),
        ("L85-R86", "L100 and 1 needle past the right end"),
    ],
)
def test_the_carriage_turns_fifteen_needles_past_the_last_one(needles: str, words: str) -> None:
    page = sheet_of(piece(band("fair-isle"), needles=needles)).pages[1]
    assert facts(page)["turn"].startswith(words)
    assert "15 needles past the last one" in facts(page)["turn"]


def test_levers_are_called_what_the_profile_calls_them() -> None:
    own = {"tuck": {"leftward": "side lever up", "rightward": "both levers up"}}
    profile = replace(load_profile("standard-200"), levers=own)
    rows = grid(sheet_of(piece(band("tuck"), profile=profile)).pages[1], "carriage").rows
    assert rows == (("leftward", "side lever up"), ("rightward", "both levers up"))


@pytest.mark.parametrize("way", ["leftward", "rightward"])
def test_a_one_way_pattern_sets_each_direction_apart(way: str) -> None:
    settings = grid(sheet_of(piece(band("tuck-one-way", one_way=way))).pages[1], "carriage").rows
    rows = {setting[0]: setting[1] for setting in settings}
    other = {"leftward": "rightward", "rightward": "leftward"}[way]
    assert rows[way].startswith("tuck")
    assert rows[other].startswith("plain")


@pytest.mark.parametrize("technique", TECHNIQUES)
def test_without_words_of_the_profile_every_setting_is_told_plainly(technique: str) -> None:
    profile = load_profile("double-180")
    page = sheet_of(piece(band(technique), profile=profile)).pages[1]
    for _, setting in grid(page, "carriage").rows:
        assert len(setting) > 10


def test_edge_weights_are_due_every_ten_passes_of_two_colour_work() -> None:
    made = piece(band("stocking", rows=6), band("fair-isle", rows=34))
    hem, waves = sheet_of(made).pages[1:]
    assert not any("weights" in item for item in items(hem))
    assert any(item.endswith("at row counter 16, 26, 36.") for item in items(waves))


def test_sheet_and_knitting_move_the_edge_weights_before_the_same_passes() -> None:
    made = piece(band("slip-colours", rows=12, separation="doubled"))
    told = [item for item in items(sheet_of(made).pages[1]) if "weights" in item]
    plan = made.plan()
    marks = [
        number - 1
        for number in range(1, plan.passes + 1)
        if What.WEIGHTS in (prompt.what for prompt in before(plan, number))
    ]
    assert told == [f"Move the edge weights up every 10 rows of fabric: at row counter {', '.join(map(str, marks))}."]
    assert marks == [20, 40]


def test_what_the_needles_do_is_said_in_words_where_no_drawing_can_be() -> None:
    text = sheet_markdown(sheet_of(piece(band("fair-isle"))))
    assert "selected: knits contrast; not selected: knits" in text


def test_colour_changes_are_told_as_a_rhythm_or_one_by_one() -> None:
    even = sheet_of(piece(band("slip-colours", rows=12, separation="doubled"))).pages[1]
    assert any("Every 2 passes, in turn: cream, navy." in item for item in items(even))
    paired = sheet_of(piece(band("slip-colours", rows=12, separation="paired"))).pages[1]
    assert any("Before pass: 1 cream, 2 navy, 4 cream, 6 navy" in item for item in items(paired))


def test_the_row_counter_goes_on_through_the_bands() -> None:
    pages = sheet_of(piece(band("stocking", rows=6), band("fair-isle", rows=34))).pages
    assert facts(pages[1])["row counter"] == "0 when the band starts, 6 when it is done"
    assert facts(pages[2])["row counter"] == "6 when the band starts, 40 when it is done"


def test_what_goes_in_which_feeder_with_its_stitch_size() -> None:
    rows = grid(sheet_of(piece(band("fair-isle"))).pages[1], "thread").rows
    assert [row[:3] for row in rows] == [("main yarn", "cream", "200 tex"), ("contrast yarn", "navy", "200 tex")]
    assert rows[0][3] == "7 (medium: 4 to 8 of 12)"


def test_size_and_yarn_weight_come_from_the_swatch() -> None:
    made = replace(piece(band("stocking", rows=39), needles="L15-R15"), swatch=Swatch(40, 60, 133.3, 153.8))
    found = facts(sheet_of(made).pages[0])
    assert found["finished size"].startswith("about 10.0 × 10.0 cm")
    assert "from your swatch" in found["gauge"]
    assert "www.YarnStandards.com" in found["yarn weight"]


def test_an_estimate_says_that_it_is_one() -> None:
    page = sheet_of(piece(band("stocking"))).pages[0]
    assert "an estimate" in facts(page)["gauge"]
    assert "yarn weight" not in facts(page)


def test_a_slack_stitch_is_something_to_look_at() -> None:
    # √200 / 12 = 1.18, under the 1.3 to 1.5 of machine-made plain fabric
    assert any("tightness 1.18 is slacker" in item for item in items(sheet_of(piece(band("stocking"))).pages[0]))


def test_a_shaped_piece_says_what_to_set_and_beware_of_before_its_outline() -> None:
    whole = load_piece(EXAMPLES / "bench-cushion.toml")
    sheet = make_sheet(whole, whole.plan())
    titles = [block.title for block in sheet.pages[0].blocks]
    assert titles.index("before power goes on") < titles.index("the piece, in cm")
    first, second = (page.extract_text() for page in pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet))).pages[:2])
    assert "bands, in the order of knitting" in first
    assert "the piece, in cm" in second


def test_every_caution_stands_on_the_first_page_in_every_format() -> None:
    sheet = sheet_of(piece(band("fair-isle")))
    markdown, html = sheet_markdown(sheet), sheet_html(sheet)
    first = " ".join(pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet))).pages[0].extract_text().split())
    for caution in SHORT_CAUTIONS:
        assert caution in markdown
        assert caution.replace("'", "&#x27;") in html
        assert caution in first


def test_bands_that_need_hands_say_to_stop_the_carriage_first() -> None:
    for technique in ("slip-colours", "inlay", "hold"):
        page = sheet_of(piece(band(technique))).pages[1]
        assert any(item.startswith("Stop the carriage") for item in items(page)), technique
    assert not any(item.startswith("Stop the carriage") for item in items(sheet_of(piece(band("tuck"))).pages[1]))


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_example_has_a_sheet_with_numbered_pages_that_names_each_band(path: Path) -> None:
    made = load_piece(path)
    plan = made.plan()
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(sheet_pdf(make_sheet(made, plan)))).pages]
    assert 2 <= len(pages) <= 3 + len(plan.bands)
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page
    whole = " ".join(" ".join(pages).split())
    for band_of_plan in plan.bands:
        first, last = band_of_plan.first, band_of_plan.last
        assert (f"passes {first} to {last}" if last > first else f"pass {first}") in whole
    assert plan.profile.span_name(plan.span) in whole
    assert f"{plan.fingerprint:08x}" not in whole, "no handout tells a fingerprint"


def test_the_summary_names_each_band_its_setting_and_which_yarn_knits_where() -> None:
    made = piece(band("stocking", rows=6, name="hem"), band("fair-isle", name="waves"))
    rows = grid(sheet_of(made).pages[0], "bands").rows
    assert rows == (
        ("1  hem", "1 to 6", "plain", "cream"),
        ("2  waves", "7 to 30", "two-colour", "cream; navy on selected needles"),
    )


def test_a_band_that_is_set_like_an_earlier_one_says_so_and_no_more() -> None:
    made = piece(band("fair-isle", name="waves"), band("stocking", rows=2), band("fair-isle", name="more waves"))
    page = sheet_of(made).pages[3]
    assert facts(page)["levers, yarns"] == "as for band 1, waves"
    assert not any(isinstance(block, Grid) for block in page.blocks)


def test_a_sheet_for_two_beds_tells_how_to_begin() -> None:
    made = piece(band("jacquard", backing="alternate"), profile=load_profile("double-180"))
    told = facts(sheet_of(made).pages[1])
    assert "alternating by itself" in told["second bed"] or "alternating by itself" in told["carriages"]
    for label, word in (("pattern bed", "selected"), ("racking", "half pitch"), ("cast on", "zigzag")):
        assert word in told[label]
    assert "cast on" not in facts(sheet_of(piece(band("fair-isle"))).pages[1])


def test_floats_to_catch_by_hand_are_listed() -> None:
    told = items(sheet_of(piece(band("fair-isle", rows=2, catch_floats=1))).pages[1])
    assert any(item.startswith("before pass 2: catch the float of navy on ") for item in told)


class Tags(HTMLParser):
    """Collects what a browser would load, and holds that every tag is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.loaded: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.loaded += [value or "" for name, value in attrs if name in ("src", "href")]
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_for_a_browser_is_whole_and_loads_nothing() -> None:
    tags = Tags()
    tags.feed(sheet_html(sheet_of(piece(band("fair-isle"), band("tuck")))))
    tags.close()
    assert tags.open == []
    assert tags.loaded == []


def test_names_cannot_break_out_of_the_page_or_the_table() -> None:
    name = "<script>alert(1)</script> | *bold* `x` # 糸"
    made = piece(band("fair-isle", name=name), name=name)
    sheet = sheet_of(made)
    assert "<script" not in sheet_html(sheet)
    markdown = sheet_markdown(sheet)
    assert "\\<script\\>" in markdown
    assert "\\|" in markdown
    assert sheet_pdf(sheet).startswith(b"%PDF")


def test_every_drawing_says_the_same_in_words() -> None:
    for page in sheet_of(piece(band("tuck"), band("inlay"), band("hold"))).pages:
        for block in page.blocks:
            if isinstance(block, Figure):
                assert len(block.words) > 10
                assert block.words in sheet_markdown(Sheet("x", (page,))).replace("\\", "")


def test_the_same_piece_gives_the_same_pdf() -> None:
    one, other = (sheet_pdf(sheet_of(piece(band("fair-isle")))) for _ in range(2))
    assert one == other


def test_a_piece_of_many_bands_still_fits_its_pages() -> None:
    made = piece(*(band("stocking", rows=2, name=f"stripe {number} " + "x" * 150) for number in range(1, 61)))
    sheet = sheet_of(made)
    assert len(pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet))).pages) < 35
    figure = next(block for block in sheet.pages[0].blocks if isinstance(block, Figure))
    heights = [y for item in figure.scene.items if isinstance(item, Shape) for _, y in item.points]
    assert min(heights) >= 0
    assert max(heights) <= figure.scene.height_mm
