"""Whatever stands in a file or an option, a command ends with a result or with one sentence."""

from __future__ import annotations

import io
import string
from pathlib import Path

import pytest
from cli.running import Ran, run
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

import strategies
from latchline.machine.profile import profile_text

CHART = "#..#..\n.##...\n"
PIECE = """\
name = "bench cover"
machine = "bed.toml"
needles = "L8-R8"
start = "left"
[yarns.sand]
colour = "#e8dfcc"
count = "2/24 worsted"
loop_length_mm = 11
[yarns.sea]
stitch_size = 7
[gauge]
stitches = 30
rows = 40
width_mm = 100
height_mm = 100
[limits]
held_passes = 4
[[bands]]
technique = "stocking"
rows = 4
yarns = ["sand"]
[[bands]]
technique = "slip-colours"
separation = "doubled"
chart = "waves.txt"
crop_rows = [1, 2]
enlarge = [2, 3]
once_at = "L4"
[[bands]]
technique = "tuck"
alternate_needles = "only"
rows = 4
reversal = "every:2"
"""
quick = settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


def one_sentence(ran: Ran) -> bool:
    return ran.status in (1, 2) and ran.err.startswith("latchline: ") and ran.err.count("\n") == 1


def pictures() -> dict[str, bytes]:
    found = {}
    for kind in ("PNG", "BMP", "GIF", "PPM"):
        out = io.BytesIO()
        Image.new("P" if kind != "PPM" else "L", (6, 5), 1).save(out, kind)
        found[f"chart.{kind.lower()}"] = out.getvalue()
    bits = ", ".join(["0x2a"] * 5)
    found["chart.xbm"] = f"#define c_width 6\n#define c_height 5\nstatic char c_bits[] = {{ {bits} }};\n".encode()
    found["chart.txt"] = (CHART + "legend:\n# = navy #1f3a5f\n. = sand\n").encode()
    found["chart.csv"] = b'0,1,2,1\n1,0,0,2\n"3",1,1,1\n'
    return found


PICTURES = pictures()


def folder_of(folder: Path, piece: str = PIECE) -> Path:
    """The piece, its chart and its machine; returns the piece's path."""
    (folder / "waves.txt").write_text(CHART)
    (folder / "bed.toml").write_text(profile_text("double-180"))
    (folder / "cover.toml").write_text(piece, encoding="utf-8")
    return folder / "cover.toml"


def test_without_damage_everything_here_is_taken(tmp_path: Path) -> None:
    for name, content in PICTURES.items():
        (tmp_path / name).write_bytes(content)
        assert run("compile", tmp_path / name, "--technique", "slip-colours").err.count("fingerprint") == 1
    assert run("compile", folder_of(tmp_path)).status == 0


@quick
@pytest.mark.parametrize("name", PICTURES)
@given(data=st.data())
def test_any_damaged_chart_is_compiled_or_refused(name: str, data: st.DataObject, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(data.draw(strategies.damaged(PICTURES[name])))
    ran = run("compile", tmp_path / name, "--technique", "slip-colours", "--colours", 3, "--format", "csv")
    assert ran.status == 0 or one_sentence(ran)


@quick
@given(text=strategies.misspelt(PIECE))
def test_any_piece_file_is_checked_or_refused(text: str, tmp_path: Path) -> None:
    ran = run("check", folder_of(tmp_path, text))
    assert ran.status == 0 or (ran.status == 1 and ran.out) or one_sentence(ran)


@quick
@given(text=strategies.misspelt(profile_text("standard-200")))
def test_any_profile_is_used_or_refused(text: str, tmp_path: Path) -> None:
    (tmp_path / "bed.toml").write_text(text, encoding="utf-8")
    for arguments in (["profiles", "--json"], ["budget", "--json"]):
        ran = run(arguments[0], tmp_path / "bed.toml", *arguments[1:])
        assert ran.status == 0 or (ran.status == 1 and ran.out) or one_sentence(ran)


OPTIONS = ["--needles", "--technique", "--reversal", "--once-at", "--crop-rows", "--crop-stitches", "--enlarge"]
OPTIONS += ["--separation", "--background", "--machine", "--passes"]
PREVIEWED = ["--gauge", "--size"]


@quick
@pytest.mark.parametrize("option", [*OPTIONS, *PREVIEWED])
@given(value=st.text(string.digits + "LRx-.:, é²٣∞\n\0", min_size=1, max_size=8) | st.text(max_size=12))
def test_any_value_of_an_option_is_taken_or_refused(option: str, value: str, tmp_path: Path) -> None:
    (tmp_path / "waves.txt").write_text(CHART)
    where = ["preview", "--out", tmp_path / "w.svg"] if option in PREVIEWED else ["compile", "--format", "csv"]
    ran = run(where[0], tmp_path / "waves.txt", *where[1:], f"{option}={value}")
    assert ran.status == 0 or one_sentence(ran)
