"""The small drawings of the set-up sheet, all of our own design: bed, piece, and what needles do."""

from __future__ import annotations

from functools import lru_cache

from latchline.drawing.scene import Scene
from latchline.machine.needles import Span
from latchline.machine.profile import Profile
from latchline.plan.model import Plan
from latchline.preview.stitches import Strand, float_past, outline, purl_head, purl_legs, purl_tuck
from latchline.technique.model import Does

WIDTH_MM = 180.0
INK, GREY, PALE = "#000000", "#767676", "#d8d8d8"


def turn_marks(profile: Profile, span: Span) -> tuple[int, int]:
    """The needles past which the carriage goes before it turns, as indices; they may lie off the bed."""
    clear = profile.turn_clearance_needles
    return span.first - clear, span.last + clear


def bed_drawing(profile: Profile, span: Span, *, rightward: bool, turns: Span | None = None) -> Scene:
    """The bed from above, as the operator sees it: needles in work, turn marks, the first pass.

    turns: the needles past which the carriage turns, where they are not those in work.
    """
    low, high = turn_marks(profile, turns or span)
    left_end, right_end = min(low, 0) - 2, max(high, profile.needles - 1) + 2
    scale = WIDTH_MM / (right_end - left_end + 1)
    scene = Scene(WIDTH_MM, 34.0, "the bed, needles in work, and where to turn")

    def x(needle: float) -> float:
        return (needle - left_end) * scale

    scene.box(x(0), 14, profile.needles * scale, 6, "#ffffff", INK, 0.3)
    scene.box(x(span.first), 14, span.width * scale, 6, INK, INK, 0.3)
    centre = x(profile.centre)
    scene.line(centre, 11.5, centre, 22.5, 0.5)
    scene.line(centre, 14, centre, 20, 0.5, "#ffffff")
    scene.words(centre, 26, "centre", 3.2, anchor="middle", fill=GREY)
    ends = ((span.first, "start"), (span.last, "end"))
    for needle, anchor in ends:
        at = x(needle if anchor == "start" else needle + 1)
        scene.words(at, 31.5, profile.needle_name(needle), 4.4, anchor=anchor, bold=True)
    for needle, anchor in ((low, "middle"), (high, "middle")):
        at = x(needle + 0.5)
        scene.area([(at - 2, 21.5), (at + 2, 21.5), (at, 25.5)], INK)
        scene.line(at, 12, at, 21.5, 0.7, INK, (1.2, 0.8))
        scene.words(min(max(at, 7), WIDTH_MM - 7), 31.5, "turn", 3.6, anchor=anchor, bold=True)
    start, end = (x(low), x(low) + 26) if rightward else (x(high + 1), x(high + 1) - 26)
    scene.box(min(start, end) if rightward else end + 18, 3, 8, 6, PALE, INK, 0.4)
    shaft = (start + 9, end - 2) if rightward else (start - 9, end + 2)
    scene.line(shaft[0], 6, shaft[1], 6, 1.0)
    scene.arrow(end, 6, 5, rightward=rightward)
    words, at = "first pass", end + 4 if rightward else end - 4
    scene.words(at, 7.4, words, 4.0, anchor="start" if rightward else "end", bold=True)
    return scene


def piece_drawing(plan: Plan) -> Scene:
    """The bands one above the other, tall by their passes, the first one lowest."""
    least = min(5.5, 180.0 / len(plan.bands))
    height = max(30.0, least * len(plan.bands), min(120.0, 9.0 * len(plan.bands) + plan.passes * 0.12))
    scene = Scene(WIDTH_MM, height + 6, "the bands of the piece, the first one lowest")
    free = max(0.0, height - least * len(plan.bands))
    size = min(4.0, least * 0.75)
    y = height + 3
    for number, band in enumerate(plan.bands, 1):
        tall = least + free * band.passes / plan.passes
        y -= tall
        fill = "#ffffff" if not band.technique.needs_chart else PALE
        scene.box(2, y, 46, tall, fill, INK, 0.4)
        scene.words(25, y + tall / 2 + 0.35 * size, f"{number}", size, anchor="middle", bold=True)
        passes = f"passes {band.first} to {band.last}" if band.passes > 1 else f"pass {band.first}"
        scene.words(52, y + tall / 2 + 0.35 * size, f"{band.name}: {passes}"[:70], size)
    return scene


@lru_cache(maxsize=64)
def needle_drawing(selected: Does, unselected: Does, yarns: tuple[str, ...]) -> Scene:
    """What a selected and an unselected needle make of the yarn, as seen from the purl side.

    yarns: colours, main first.
    """
    scene = Scene(WIDTH_MM, 31.0, "what selected and unselected needles do")
    for place, (act, words) in enumerate(((selected, "selected"), (unselected, "not selected"))):
        left = 4 + place * 90
        scene.box(left, 2, 24, 27, "#ffffff", INK, 0.3)
        _loop(scene, act, left + 4.5, 26, 15.0, yarns)
        scene.words(left + 28, 13, words, 4.2, bold=True)
        for line, part in enumerate(ACT_WORDS[act].split("; ")):
            scene.words(left + 28, 19 + 5 * line, part, 4.2)
    return scene


ACT_WORDS = {  # a semicolon begins a new line
    Does.KNIT: "knits",
    Does.KNIT_CONTRAST: "knits contrast",
    Does.TUCK: "tucks: keeps its loop,; takes the yarn too",
    Does.MISS: "misses: keeps its loop,; the yarn goes past",
    Does.HELD: "holds: stays out,; keeps its loop",
    Does.LAID_OVER: "knits,; laid-in yarn over it",
    Does.LAID_UNDER: "knits,; laid-in yarn under it",
}


def act_in_words(act: Does) -> str:
    """What a needle does, in one line."""
    return ACT_WORDS[act].replace(";", "")


OLD = "#cfcfcf"  # the loop that hangs on the needle before the pass


def _loop(scene: Scene, act: Does, x: float, y: float, size: float, yarns: tuple[str, ...]) -> None:
    """What a pass makes of the old loop (grey) in a square of `size` mm with its foot at (x, y), purl side."""
    main, other = yarns[0], yarns[-1]
    course = 0.75
    kept = act in (Does.TUCK, Does.MISS, Does.HELD)
    rise = 0.78 if kept else 0.36
    if act == Does.LAID_UNDER:
        _strands(scene, float_past(course), x, y - 0.62 * size, size, other)
    _strands(scene, purl_legs(rise, course), x, y, size, OLD)
    if not kept:
        yarn = other if act == Does.KNIT_CONTRAST else main
        _strands(scene, purl_legs(0.42, course), x, y - rise * size, size, yarn)
        _strands(scene, purl_head(course), x, y - 0.78 * size, size, yarn)
    _strands(scene, purl_head(course), x, y - rise * size, size, OLD)
    if act == Does.TUCK:
        _strands(scene, purl_tuck(0.5, course), x, y - 0.2 * size, size, main)
    elif act == Does.MISS:
        _strands(scene, float_past(course), x, y - 0.35 * size, size, main)
    elif act == Does.LAID_OVER:
        _strands(scene, float_past(course), x, y - 0.62 * size, size, other)


def _strands(scene: Scene, strands: tuple[Strand, ...], x: float, y: float, size: float, colour: str) -> None:
    for strand in strands:
        for grow, fill in ((1.3, INK), (1.0, colour)):
            points = [(x + px * size, y - py * size) for px, py in outline(strand, grow)]
            scene.area(points, fill)
