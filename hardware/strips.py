"""The encoder strip and the needle tape of a bed, at exact scale, as pages to print.

    python hardware/strips.py standard-200 --out strips.pdf
    python hardware/strips.py ./my-bed.toml --long-bar 249.3 --out strips.pdf

Print at 100 %, measure the 250 mm bar with a steel ruler, and print again with what it measured: every length
along the bed is then stretched by 250 over that. A printer that is 0.5 % short would be a whole needle out after 200.
"""

from __future__ import annotations

import argparse
from math import ceil
from pathlib import Path

from latchline.drawing.pdf import scenes_pdf
from latchline.drawing.scene import Scene
from latchline.machine.profile import Profile, load_profile

PAGE_MM = (297.0, 210.0)
MARGIN_MM = 14.0
SHORT_BAR_MM, LONG_BAR_MM = 100.0, 250.0
STRIP_MM, TAPE_MM = 15.0, 12.0
ROW_MM = 32.0
FIRST_ROW_MM = 62.0
SPARE_NEEDLES = 8  # the strip goes on so far beyond each end sensor


def factor_of(long_bar_mm: float) -> float:
    """By how much lengths are stretched for a printer whose 250 mm bar measured so much; 0.95 to 1.05."""
    if not 0.95 <= LONG_BAR_MM / long_bar_mm <= 1.05:
        raise ValueError(f"a 250 mm bar of {long_bar_mm:g} mm was printed to fit the page: print it at 100 %")
    return LONG_BAR_MM / long_bar_mm


def pages(profile: Profile, factor: float = 1.0) -> list[Scene]:
    """All pages: pieces of the encoder strip, then of the needle tape, in order from the left end of the bed."""
    length_needles = profile.needles - 1 + profile.left_sensor_needles + profile.right_sensor_needles
    first = -profile.left_sensor_needles - SPARE_NEEDLES
    whole = ceil(length_needles + 2 * SPARE_NEEDLES)
    room = int((PAGE_MM[0] - 2 * MARGIN_MM) / (profile.pitch_mm * factor))
    rows = [
        (kind, first + start, min(room, whole - start)) for kind in ("strip", "tape") for start in range(0, whole, room)
    ]
    rows = [
        (kind, start, count) for kind, start, count in rows if kind == "strip" or _has_needles(profile, start, count)
    ]
    on_page = int((PAGE_MM[1] - FIRST_ROW_MM - 6) / ROW_MM)
    sheets = [rows[at : at + on_page] for at in range(0, len(rows), on_page)]
    return [_page(profile, factor, sheet, number + 1, len(sheets)) for number, sheet in enumerate(sheets)]


def _has_needles(profile: Profile, start: float, count: int) -> bool:
    return start + count > 0 and start < profile.needles


def _page(profile: Profile, factor: float, rows: list[tuple[str, float, int]], number: int, of: int) -> Scene:
    scene = Scene(*PAGE_MM)
    scene.words(MARGIN_MM, 12, f"{profile.title}: encoder strip and needle tape, page {number} of {of}", 4.0, bold=True)
    scene.words(MARGIN_MM, 18, "Print at 100 %, never to fit. Measure the long bar with a steel ruler, then print "
                f"again with --long-bar and what it measured. Stretched here by {factor:.5f}.", 3.0)  # fmt: skip
    scene.words(MARGIN_MM, 23, "Cut at the outer lines and join the ends in the order of their numbers. Then lay "
                "the tape on the bed: from first to last needle it may be off by a quarter of a needle.", 3.0,
                )  # fmt: skip
    for level, bar_mm in ((32.0, SHORT_BAR_MM), (43.0, LONG_BAR_MM)):
        _bar(scene, level, bar_mm, factor)
    for row, (kind, start, count) in enumerate(rows):
        top = FIRST_ROW_MM + ROW_MM * row
        (_strip if kind == "strip" else _tape)(scene, profile, factor, top, start, count)
    return scene


def _bar(scene: Scene, level: float, bar_mm: float, factor: float) -> None:
    end = MARGIN_MM + bar_mm * factor
    scene.line(MARGIN_MM, level, end, level, 0.2)
    for x in (MARGIN_MM, end):
        scene.line(x, level - 2.5, x, level + 2.5, 0.1)
    scene.words(MARGIN_MM + 4, level - 1.2, f"{bar_mm:g} mm", 3.0)


def _strip(scene: Scene, profile: Profile, factor: float, top: float, start: float, count: int) -> None:
    """Dark bars, half of each period, the first edge of one on needle 0's centre."""
    period_mm = 4 * profile.edge_mm
    begin_mm, end_mm = start * profile.pitch_mm, (start + count) * profile.pitch_mm

    def x(at_mm: float) -> float:
        return MARGIN_MM + (at_mm - begin_mm) * factor

    number = ceil(begin_mm / period_mm - 0.5)
    while (left_mm := number * period_mm) < end_mm:
        left, right = max(left_mm, begin_mm), min(left_mm + period_mm / 2, end_mm)
        if right > left:
            scene.box(x(left), top, x(right) - x(left), STRIP_MM, fill="#000000", stroke=None)
        number += 1
    _frame(scene, x(begin_mm), x(end_mm), top, STRIP_MM)
    words = f"strip, needles {start:g} to {start + count:g} from the leftmost, period {period_mm:.4g} mm; "
    words += f"switches A and B stand {period_mm / 4:.4g} mm apart, or whole periods more"
    scene.words(x(begin_mm), top - 1.5, words, 2.6)


def _tape(scene: Scene, profile: Profile, factor: float, top: float, start: float, count: int) -> None:
    begin_mm, end_mm = start * profile.pitch_mm, (start + count) * profile.pitch_mm

    def x(at_mm: float) -> float:
        return MARGIN_MM + (at_mm - begin_mm) * factor

    for needle in range(profile.needles):
        at_mm = needle * profile.pitch_mm
        if not begin_mm <= at_mm < end_mm:
            continue
        name = profile.needle_name(needle)
        tenth = int(name[1:]) % 10 == 0
        scene.line(x(at_mm), top, x(at_mm), top + (6.0 if tenth else 4.5 if int(name[1:]) % 5 == 0 else 3.0), 0.2)
        if tenth or int(name[1:]) in (1, 5):
            scene.words(x(at_mm), top + 10.0, name, 2.8, anchor="middle", bold=tenth)
    centre_mm = (profile.centre - 0.5) * profile.pitch_mm
    if begin_mm <= centre_mm < end_mm:
        scene.line(x(centre_mm), top, x(centre_mm), top + TAPE_MM, 0.5)
    _frame(scene, x(begin_mm), x(end_mm), top, TAPE_MM)
    scene.words(x(begin_mm), top - 1.5, "tape: each stroke is a needle, the thick one the centre", 2.6)


def _frame(scene: Scene, left: float, right: float, top: float, height: float) -> None:
    for y in (top, top + height):
        scene.line(left, y, right, y, 0.1)
    for x in (left, right):
        scene.line(x, top - 1.0, x, top + height + 1.0, 0.1)


def pdf(profile: Profile, factor: float = 1.0) -> bytes:
    return scenes_pdf(pages(profile, factor), f"{profile.title}: encoder strip and needle tape")


def main() -> None:
    parser = argparse.ArgumentParser(description="Encoder strip and needle tape of a bed, at exact scale.")
    parser.add_argument("profile", help="a shipped profile, or the path of your own")
    parser.add_argument(
        "--long-bar", type=float, default=LONG_BAR_MM, metavar="MM", help="what the 250 mm bar measured"
    )
    parser.add_argument("--out", type=Path, required=True, metavar="FILE.pdf")
    given = parser.parse_args()
    try:
        factor = factor_of(given.long_bar)
    except ValueError as wrong:
        parser.error(str(wrong))
    given.out.write_bytes(pdf(load_profile(given.profile), factor))


if __name__ == "__main__":
    main()
