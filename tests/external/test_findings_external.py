"""Findings on real charts, counted again by a script that knows only `compile --format csv`.

The charts are the bitmaps of the Debian package xbitmaps and lines of glyphs in Pillow's own font, each
knitted in every technique. The script below shares no code with the checks: it reads which needles are
selected, applies the table of techniques in its own words, and counts with plain loops. The limits are
those of D. J. Spencer, Knitting Technology, 3rd ed. 2001, ch. 9, and for floats five needles at 4.5 mm and
four at 5 mm (common practice, no source).
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections import Counter
from collections.abc import Iterable
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any

import pytest
from cli.running import run
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont

pytestmark = [pytest.mark.external, pytest.mark.slow]

BITMAPS = Path("/usr/include/X11/bitmaps")
GLYPHS = ("Harbour 27", "WIND & tide", "áéø ñ?!", "0123456789")
WIDTH_MOST = 150
COUNTED = ("float-across", "tucks-beside", "tucks-stacked", "loop-kept", "laid-in-float", "never-knits", "edge-needle")

# What a needle does: k knits (or c the contrast), t tucks, m misses, h is held, o and u laid over and under.
TABLE = {
    "stocking": ("kk", "kk"),
    "tuck": ("kt", "kt"),
    "tuck-one-way": ("kt", "kk"),
    "slip": ("km", "km"),
    "slip-one-way": ("km", "kk"),
    "fair-isle": ("ck", "ck"),
    "slip-colours": ("km", "km"),
    "jacquard": ("km", "km"),
    "inlay": ("ou", "ou"),
    "hold": ("hk", "kk"),
}


def needles_of(text: str, technique: str) -> list[str]:
    """Each pass as a string of what its needles do."""
    return needles_of_lines(csv.DictReader(io.StringIO(text)), technique)


def needles_of_lines(lines: Iterable[dict[str, str]], technique: str) -> list[str]:
    rows = []
    for line in lines:
        pattern, back = TABLE[technique]
        does = pattern if line["direction"] == "rightward" else back
        rows.append("".join(does[0] if bit == "1" else does[1] for bit in line["selected"]))
    return rows


def stretches(text: str, letters: str, longer_than: int) -> int:
    """How many stretches of those letters are longer than allowed."""
    return sum(
        1
        for inside, group in groupby(text, key=lambda letter: letter in letters)
        if inside and len(list(group)) > longer_than
    )


def gaps(text: str, takers: str, longer_than: int) -> int:
    """How many stretches without a taker lie between two takers."""
    places = [place for place, letter in enumerate(text) if letter in takers]
    return sum(1 for left, right in pairwise(places) if right - left - 1 > longer_than)


def counted(rows: list[str], technique: str, float_most: int) -> Counter[str]:
    count: Counter[str] = Counter()
    columns = ["".join(row[needle] for row in rows) for needle in range(len(rows[0]))]
    never = [column for column in columns if not set(column) & set("kcou")]
    for row in rows:
        if technique in ("slip", "slip-one-way", "slip-colours", "hold"):
            count["float-across"] += gaps(row, "k", float_most)
        if technique == "fair-isle":
            count["float-across"] += gaps(row, "k", float_most) + gaps(row, "c", float_most)
        if technique in ("tuck", "tuck-one-way"):
            count["tucks-beside"] += stretches(row, "t", 2)
        if technique == "inlay":
            count["laid-in-float"] += stretches(row, "o", float_most) + stretches(row, "u", float_most)
    for column in columns:
        if column in never:
            continue
        if technique in ("tuck", "tuck-one-way"):
            count["tucks-stacked"] += stretches(column, "t", 4)
        if technique in ("slip", "slip-one-way", "slip-colours", "jacquard", "hold"):
            count["loop-kept"] += stretches(column, "mh", 4)
    if technique not in ("stocking", "fair-isle", "inlay"):
        count["never-knits"] = len(never) if len(rows) > 4 else 0  # a needle may rest for four passes and be done with
    if technique in ("tuck", "tuck-one-way", "slip", "slip-one-way", "hold"):
        count["edge-needle"] = sum(letter not in "kcou" for letter in columns[0] + columns[-1])
    return +count


@pytest.fixture(scope="module")
def bitmaps() -> Path:
    if not BITMAPS.is_dir():
        if os.environ.get("CI"):
            pytest.fail("xbitmaps is not installed; apt-get install xbitmaps")
        pytest.skip("xbitmaps is not installed; apt-get install xbitmaps")
    return BITMAPS


@pytest.fixture(scope="module")
def charts(bitmaps: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("charts")
    paths = []
    for path in sorted(bitmaps.iterdir()):
        with Image.open(path) as picture:
            if 2 <= picture.width <= WIDTH_MOST:
                paths.append(path)
    for number, text in enumerate(GLYPHS):
        font = ImageFont.load_default()
        left, top, right, bottom = font.getbbox(text)
        drawn = Image.new("1", (int(right - left) + 4, int(bottom - top) + 4), 1)
        ImageDraw.Draw(drawn).text((2 - left, 2 - top), text, fill=0, font=font)
        paths.append(folder / f"glyphs-{number}.png")
        drawn.save(paths[-1])
    return paths


@pytest.mark.parametrize("edges", ["knit", "as-chart"])
@pytest.mark.parametrize("technique", [name for name in TABLE if name != "stocking"])
def test_findings_on_real_charts_are_those_that_the_script_counts(
    technique: str, edges: str, charts: list[Path]
) -> None:
    machine, float_most = ("double-180", 4) if technique == "jacquard" else ("standard-200", 5)
    totals: Counter[str] = Counter()
    assert len(charts) > 50
    for path in charts:
        asked = [path, "--technique", technique, "--machine", machine, "--edge-needles", edges, "--colours", 2]
        data = json.loads(run("check", *asked, "--json").out)
        found: Counter[str] = Counter()
        for finding in data["findings"]:
            if finding["rule"] in COUNTED:
                found[finding["rule"]] += finding["places"]
        compiled = run("compile", *asked, "--format", "csv").out
        wanted = counted(needles_of(compiled, technique), technique, float_most)
        assert found == wanted, path.name
        totals += found
    if technique not in ("jacquard", "slip-one-way", "tuck-one-way"):
        assert totals, "real charts in this technique give something to find"


def test_the_floats_of_a_real_bitmap_are_caught_with_few_stitches(bitmaps: Path) -> None:
    """The letter box with its flag up: 48 × 48 stitches, of which every other needle changed 523 once."""
    flag = bitmaps / "flagup"
    options = ("--technique", "fair-isle", "--format", "csv")
    plain, broken = (run("compile", flag, *options, *more).out for more in ((), ("--break-floats", 5)))
    pairs = list(zip(csv.DictReader(io.StringIO(plain)), csv.DictReader(io.StringIO(broken)), strict=True))
    changed = [
        sum(one != other for one, other in zip(before["selected"], after["selected"], strict=True))
        for before, after in pairs
    ]
    assert sum(len(before["selected"]) for before, _ in pairs) == 2304
    assert 0 < sum(changed) <= 60
    for _, after in pairs:
        assert not gaps(after["selected"], "0", 5)
        assert not gaps(after["selected"], "1", 5)
    for (before, _), number in zip(pairs, changed, strict=True):  # a float of n asks for n // 6 catches at least
        ones = [len(list(group)) for bit, group in groupby(before["selected"].strip("0")) if bit == "0"]
        zeros = [len(list(group)) for bit, group in groupby(before["selected"].strip("1")) if bit == "1"]
        assert number == sum(size // 6 for size in ones + zeros)


# ---- rules of a whole band, counted again ---------------------------------------------------------------


def charts_of_digits(data: st.DataObject, stitches: int, rows: int) -> list[str]:
    """Lines of a text chart, the last one knitted first."""
    bits = data.draw(st.integers(0, 2 ** (stitches * rows) - 1))
    digits = f"{bits:0{stitches * rows}b}"
    return [digits[at : at + stitches] for at in range(0, stitches * rows, stitches)]


def findings_and_passes(path: Path, *options: object) -> tuple[dict[str, dict[str, Any]], list[dict[str, str]]]:
    found = json.loads(run("check", path, "--json", *options).out)["findings"]
    table = list(csv.DictReader(io.StringIO(run("compile", path, "--format", "csv", *options).out)))
    return {item["rule"]: item for item in found}, table


@given(data=st.data(), technique=st.sampled_from(["fair-isle", "slip", "slip-one-way", "hold"]))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_floats_over_turns_are_those_of_a_thread_followed_by_hand(
    tmp_path: Path, data: st.DataObject, technique: str
) -> None:
    """Each yarn is led from needle to needle as the carriage goes; a step to another pass past more than 5 is one."""
    path = tmp_path / "drawn.txt"
    path.write_text("\n".join(charts_of_digits(data, 16, 6)).replace("0", ".").replace("1", "x") + "\n")
    found, table = findings_and_passes(path, "--technique", technique, "--edge-needles", "as-chart")
    steps: list[int] = []
    last: dict[str, tuple[int, int]] = {}
    for number, (line, does) in enumerate(zip(table, needles_of_lines(table, technique), strict=True)):
        order = range(16) if line["direction"] == "rightward" else range(15, -1, -1)
        for needle in order:
            yarn = {"k": "main", "c": "contrast"}.get(does[needle])
            if yarn is None:
                continue
            if yarn in last and last[yarn][0] != number:
                steps.append(abs(last[yarn][1] - needle) - 1)
            last[yarn] = (number, needle)
    long = [step for step in steps if step > 5]
    if long:
        assert found["float-over-turn"]["places"] == len(long)
        assert found["float-over-turn"]["measured"] == max(long)
    else:
        assert "float-over-turn" not in found


@given(data=st.data())
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_rows_that_are_alike_are_counted_with_a_ruler(tmp_path: Path, data: st.DataObject) -> None:
    """More than twenty rows running with the same needles selected, in two-colour work."""
    stretches = data.draw(
        st.lists(st.tuples(st.integers(0, 3), st.sampled_from([1, 7, 20, 21, 25])), min_size=1, max_size=4)
    )
    lines = [f"{kind:02b}".replace("0", ".").replace("1", "x") for kind, rows in stretches for _ in range(rows)]
    path = tmp_path / "drawn.txt"
    path.write_text("\n".join([*lines, "x."]) + "\n")
    found, table = findings_and_passes(path, "--technique", "fair-isle")
    runs = [len(list(group)) for _, group in groupby(line["selected"] for line in table)]
    long = [size for size in runs if size > 20]
    assert ("rows-alike" in found) == bool(long)
    if long:
        assert (found["rows-alike"]["places"], found["rows-alike"]["measured"]) == (len(long), max(long))


@pytest.mark.parametrize(
    ("technique", "options", "rows", "courses"),
    [
        ("fair-isle", (), 34, 1),
        ("slip-colours", ("--separation", "doubled"), 24, 2),
        ("slip-colours", ("--separation", "blank-return"), 35, 1),
        ("hold", (), 21, 1),
    ],
)
def test_weights_move_up_each_time_that_ten_courses_have_grown(
    tmp_path: Path, technique: str, options: tuple[str, ...], rows: int, courses: int
) -> None:
    """Common practice, no source: every ten rows of the fabric. Before the row with which the eleventh course begins."""
    path = tmp_path / "drawn.txt"
    path.write_text("x.x.\n.x.x\n")
    found, _ = findings_and_passes(path, "--technique", technique, "--rows", rows, *options)
    moves = sum((row * courses) // 10 > ((row - 1) * courses) // 10 for row in range(1, rows))
    times = {1: "once", 2: "twice"}.get(moves, f"{moves} times")
    assert found["weights"]["what"] == f"move the edge weights up every 10 rows, {times} in this band"
