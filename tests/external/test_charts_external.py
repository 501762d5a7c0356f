"""Charts read from real bitmaps and scans, against readers that the project did not write.

XBM: the bitmaps of the Debian package xbitmaps, once as the C sources that they are, compiled by gcc,
and once by Pillow's XBM reader (ours is our own). Bit order as Xlib's XReadBitmapFile: the lowest bit of
a byte is the leftmost, each row begins a new byte.
PBM, PGM and PNG: written here from their specifications (Netpbm's pbm and pgm manual pages; ISO/IEC 15948)
with numpy.packbits and zlib, from the same bitmaps and from scikit-learn's scans of handwritten digits.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from chart.pictures import grey_png
from PIL import Image

from latchline.chart.model import Chart
from latchline.chart.read import read_chart

pytestmark = pytest.mark.external

BITMAPS = Path("/usr/include/X11/bitmaps")
Bits = npt.NDArray[np.uint8]


def absent(what: str, how: str) -> None:
    """Skip on a desk without the package; in continuous integration its absence is a fault."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is not installed; {how}")
    pytest.skip(f"{what} is not installed; {how}")


@pytest.fixture(scope="module")
def bitmaps() -> list[Path]:
    files = sorted(path for path in BITMAPS.glob("*") if path.is_file()) if BITMAPS.is_dir() else []
    if not files:
        absent("the collection of X bitmaps", "install the Debian package xbitmaps")
    return files


@pytest.fixture(scope="module")
def compiled(bitmaps: list[Path], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Bits]:
    """Every bitmap that is legal C, as gcc understands it: 1 for ink, top row first."""
    if shutil.which("gcc") is None:
        absent("gcc", "install the Debian package gcc")
    folder = tmp_path_factory.mktemp("compiled")
    drawn: dict[str, Bits] = {}
    source = ["#include <stdio.h>"]
    calls = []
    legal = [path for path in bitmaps if path.name.isidentifier()]  # 1x1 and 2x2 begin their names with a digit
    for number, path in enumerate(legal):
        defined = [line.split()[1] for line in path.read_text().splitlines() if line.startswith("#define")]
        stem = next(name.removesuffix("_width") for name in defined if name.endswith("_width"))
        source += [
            f"#define {stem}_bits bits_{number}",  # two of them share their name
            f'#include "{path}"',
            f"static void print_{number}(void) {{",
            f"  for (int y = 0; y < {stem}_height; y++) {{",
            f"    for (int x = 0; x < {stem}_width; x++)",
            f"      putchar('0' + (({stem}_bits[y * (({stem}_width + 7) / 8) + x / 8] >> (x % 8)) & 1));",
            "    putchar('\\n');",
            "  }",
            '  puts("end");',
            "}",
            *(f"#undef {stem}_{word}" for word in ("bits", "width", "height")),
        ]
        calls.append(f"  print_{number}();")
    source += ["int main(void) {", *calls, "  return 0;", "}"]
    (folder / "bitmaps.c").write_text("\n".join(source) + "\n")
    subprocess.run(["gcc", "-w", "-std=c99", "-o", folder / "bitmaps", folder / "bitmaps.c"], check=True, timeout=120)
    printed = subprocess.run([folder / "bitmaps"], check=True, capture_output=True, text=True, timeout=60).stdout
    for path, block in zip(legal, printed.split("end\n"), strict=False):
        drawn[path.name] = np.array([[int(bit) for bit in line] for line in block.split()], np.uint8)
    assert len(drawn) == len(legal) >= 50
    return drawn


def as_drawn(chart: Chart) -> Bits:
    """1 for ink, top row first."""
    assert [colour.hex for colour in chart.palette] == ["#ffffff", "#000000"]
    return chart.cells[::-1]


@pytest.mark.native
def test_every_x_bitmap_is_read_as_the_c_source_that_it_is(bitmaps: list[Path], compiled: dict[str, Bits]) -> None:
    for path in bitmaps:
        if path.name in compiled:
            assert np.array_equal(as_drawn(read_chart(path)), compiled[path.name]), path.name


def test_every_x_bitmap_is_read_as_pillow_reads_it(bitmaps: list[Path]) -> None:
    read_by_both = 0
    for path in bitmaps:
        try:
            with Image.open(path, formats=("XBM",)) as picture:
                theirs = np.asarray(picture)  # True for a bit that is set; Pillow shows it light, X shows it as ink
        except OSError:  # Pillow knows only some ways to lay out the source
            continue
        read_by_both += 1
        assert np.array_equal(as_drawn(read_chart(path)), theirs), path.name
    assert read_by_both >= 50


@pytest.mark.native
def test_the_same_bitmaps_packed_as_pbm_are_the_same_charts(compiled: dict[str, Bits], tmp_path: Path) -> None:
    for name, drawn in compiled.items():
        height, width = drawn.shape
        packed, plain = tmp_path / f"{name}-packed.pbm", tmp_path / f"{name}-plain.pbm"
        packed.write_bytes(f"P4\n{width} {height}\n".encode() + np.packbits(drawn, axis=1).tobytes())
        rows = "\n".join("\n".join("".join(map(str, row[at : at + 70])) for at in range(0, width, 70)) for row in drawn)
        plain.write_text(f"P1\n# {name}\n{width} {height}\n{rows}\n")
        for path in (packed, plain):
            assert np.array_equal(as_drawn(read_chart(path)), drawn), path.name


@pytest.fixture(scope="module")
def digits() -> npt.NDArray[np.uint8]:
    """Scans of 8 × 8, in 9 shades of grey from 0 to 8."""
    from sklearn.datasets import load_digits

    digits: npt.NDArray[np.uint8] = (load_digits().images[:100] // 2).astype(np.uint8)
    return digits


def shades(chart: Chart) -> npt.NDArray[np.uint8]:
    return np.array([colour.red for colour in chart.palette], np.uint8)[chart.cells[::-1]]


def test_scanned_digits_come_back_shade_by_shade_from_png_and_pgm(
    digits: npt.NDArray[np.uint8], tmp_path: Path
) -> None:
    path = tmp_path / "digit"
    for scan in digits:
        grey = scan * 31
        plain = "\n".join(" ".join(map(str, row)) for row in grey)
        for data in (grey_png(grey), b"P5\n8 8\n255\n" + grey.tobytes(), f"P2\n8 8\n255\n{plain}\n".encode()):
            path.write_bytes(data)
            chart = read_chart(path)
            assert np.array_equal(shades(chart), grey)
            assert chart.palette[0].red == grey.max()


def test_a_pgm_of_few_shades_is_scaled_to_full_brightness(digits: npt.NDArray[np.uint8], tmp_path: Path) -> None:
    # pgm: a sample stands for that part of maxval; 8 of 8 is white
    path = tmp_path / "digit.pgm"
    path.write_bytes(b"P5 8 8 8\n" + digits[0].tobytes())
    assert np.abs(shades(read_chart(path)) - digits[0] * (255 / 8)).max() <= 1


def test_scanned_digits_written_as_a_table_come_back(digits: npt.NDArray[np.uint8], tmp_path: Path) -> None:
    path = tmp_path / "digit.csv"
    for scan in digits:
        np.savetxt(path, scan, fmt="%d", delimiter=",")
        assert np.array_equal(read_chart(path).cells[::-1], scan)
