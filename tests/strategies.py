"""Every Hypothesis strategy of the project, so that a chart is drawn the same way in all the rooms."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import cycle

import numpy as np
import numpy.typing as npt
from conformance.story import Story, unmistakable
from hypothesis import reject
from hypothesis import strategies as st

from latchline.chart.model import COLOURS_MAX, Chart, Colour
from latchline.errors import InputError, ProfileError
from latchline.link.messages import (
    PROTOCOL,
    Ask,
    Bed,
    Buzz,
    Clear,
    Greet,
    Message,
    Pass,
    Pause,
    PlanStart,
    Probe,
    Seen,
    Stop,
)  # fmt: skip
from latchline.machine.electrical import CLAMPS, RANGES
from latchline.machine.parts import load_part, part_names
from latchline.machine.profile import Profile, load_profile, parse_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.hand import HAND_KINDS, Position
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import AllNeedles, AtRate, ByHand, CastOn, Groups, Neck, ShortRows, Work
from latchline.shaping.gauge import Gauge
from latchline.technique.table import TECHNIQUES


def colours() -> st.SearchStrategy[Colour]:
    channel = st.integers(0, 255)
    return st.builds(Colour, channel, channel, channel)


@st.composite
def charts(
    draw: st.DrawFn,
    *,
    stitches: tuple[int, int] = (1, 24),
    rows: tuple[int, int] = (1, 16),
    colours_most: int = 4,
) -> Chart:
    """Charts of any content; the palette has 1 to `colours_most` different colours, not all of them in use."""
    assert colours_most <= COLOURS_MAX
    palette = tuple(draw(st.lists(colours(), min_size=1, max_size=colours_most, unique=True)))
    width, height = draw(st.integers(*stitches)), draw(st.integers(*rows))
    size = width * height
    cells = np.frombuffer(draw(st.binary(min_size=size, max_size=size)), np.uint8) % len(palette)
    return Chart(cells.astype(np.uint8).reshape(height, width), palette, "drawn.png")


def two_colour_charts(
    *, stitches: tuple[int, int] = (1, 24), rows: tuple[int, int] = (1, 16)
) -> st.SearchStrategy[Chart]:
    """Charts of background and one more colour."""
    return charts(stitches=stitches, rows=rows, colours_most=2)


@st.composite
def damaged(draw: st.DrawFn, whole: bytes) -> bytes:
    """A file after an accident: cut short, some bytes changed, or both."""
    data = bytearray(whole[: draw(st.integers(0, len(whole)))] if draw(st.booleans()) else whole)
    for _ in range(draw(st.integers(0, 4)) if data else 0):
        data[draw(st.integers(0, len(data) - 1))] = draw(st.integers(0, 255))
    return bytes(data)


@st.composite
def misspelt(draw: st.DrawFn, whole: str) -> str:
    """A settings file after a slip or two: a value changed, a line lost, doubled or moved, letters lost or put in."""
    lines = whole.splitlines()
    values = st.sampled_from(
        ['""', '"L1-R1"', "0", "-1", "1e300", "nan", "inf", "-0.0", "true", "[]", "[1, 2]", "{}", "1979-05-27", "0x" + "f" * 400]
    ) | st.text(max_size=8)  # fmt: skip
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.sampled_from(["value", "value", "drop", "double", "move", "letter"])):
            case "value":
                lines[at] = f"{lines[at].partition('=')[0]}= {draw(values)}"
            case "drop" if len(lines) > 1:
                del lines[at]
            case "double":
                lines.insert(draw(st.integers(0, len(lines))), lines[at])
            case "move":
                lines.insert(draw(st.integers(0, len(lines) - 1)), lines.pop(at))
            case _:
                place = draw(st.integers(0, len(lines[at])))
                lines[at] = lines[at][:place] + draw(st.characters(codec="utf-8")) + lines[at][place + 1 :]
    return "\n".join(lines)


# --- electrical -----------------------------------------------------------------------------------


@st.composite
def coils(draw: st.DrawFn) -> dict[str, float]:
    """Coils that pull in on their supply, as keys of an [electrical] table."""
    supply_v = draw(st.floats(5, 30))
    resistance_ohm = draw(st.floats(10, 300))
    pull_in_a = supply_v / resistance_ohm * draw(st.floats(0.15, 0.6))
    return {
        "supply_v": supply_v,
        "resistance_ohm": resistance_ohm,
        "inductance_mh": draw(st.floats(1, 300)),
        "pull_in_a": pull_in_a,
        "drop_out_a": pull_in_a * draw(st.floats(0.3, 0.9)),
    }


@st.composite
def electrical_tables(draw: st.DrawFn) -> dict[str, float | str]:
    """[electrical] tables of values that are each in range, sensible together or not."""
    table: dict[str, float | str] = {key: draw(st.floats(low, high)) for key, (low, high) in RANGES.items()}
    if draw(st.integers(0, 3)):
        table |= draw(coils())
    table["wire_awg"] = draw(st.sampled_from([22, 24, 26]))
    table["fuse_a"] = draw(st.sampled_from([0.0, *load_part("supply").fuses_a]))
    table["driver"] = draw(st.sampled_from(part_names("driver")))
    table["clamp"] = draw(st.sampled_from(CLAMPS))
    return table


@st.composite
def selections(draw: st.DrawFn, *, needles: int) -> tuple[npt.NDArray[np.bool_], int]:
    """Masks of a few passes (passes × needles of a span) and the span's first needle on a bed of `needles`."""
    width = draw(st.integers(1, min(needles, 60)))
    first = draw(st.integers(0, needles - width))
    passes = draw(st.integers(1, 5))
    bits = np.unpackbits(np.frombuffer(draw(st.binary(min_size=passes * 8, max_size=passes * 8)), np.uint8))
    return bits.reshape(passes, 64)[:, :width].astype(np.bool_), first


@st.composite
def profiles(draw: st.DrawFn) -> Profile:
    """Machines that a profile file may describe: any layout, drive, leads and place of the centre."""
    needles, edges = draw(st.integers(20, 120)), draw(st.integers(1, 8))
    bank = draw(st.booleans())
    leads = [draw(st.integers(-4 * edges, 4 * edges)) / edges for _ in range(2)]
    text = f"""
        title = "drawn"
        drive = "{draw(st.sampled_from(["this-pass", "next-pass"]))}"
        [bed]
        needles = {needles}
        pitch_mm = {draw(st.sampled_from([3.6, 4.5, 5.0, 6.5, 9.0]))}
        centre = {draw(st.integers(0, needles))}
        turn_clearance_needles = 25
        [sensors]
        edges_per_needle = {edges}
        left_needles_beyond = {draw(st.integers(14, 24))}
        right_needles_beyond = {draw(st.integers(14, 24))}
        speed_max_m_s = 1.0
        [selectors]
        layout = "{"bank" if bank else "carriage"}"
        count = {draw(st.integers(8, 16)) if bank else draw(st.integers(1, 2))}
        lead_leftward_needles = {leads[0]}
        lead_rightward_needles = {leads[1]}
        pull_in_ms = {draw(st.sampled_from([0.3, 0.8])) if bank else 0.1}
        mechanical_ms = {draw(st.sampled_from([0, 2, 4])) if bank else 0}
        release_ms = 0.5
        limit_ms = 1000
        active = "{draw(st.sampled_from(["high", "low"]))}"
    """
    try:
        return parse_profile(text, name="drawn", file="drawn.toml")
    except ProfileError:  # its selectors would still be busy
        reject()


# ---- the board and the carriage -----------------------------------------------------------------


@st.composite
def board_beds(draw: st.DrawFn) -> Bed:
    """Beds within the limits of docs/protocol.md, section 4; small, so that a pass is soon over."""
    needles = draw(st.integers(2, 40))
    edges = draw(st.integers(1, 8))
    layout = draw(st.sampled_from((0, 1)))
    count = draw(st.integers(1, 16 if layout else 2))
    share = edges * (count if layout else 1)
    if share < 2:
        count, edges, share = 2, max(edges, 2), max(edges, 2) * (2 if layout else 1)
    hold = draw(st.integers(1, min(share - 1, 16)))
    advance_max = draw(st.integers(1, min(share - hold, 255)))
    left, right = -draw(st.integers(8, 60)), (needles - 1) * edges + draw(st.integers(8, 60))
    middle = draw(st.one_of(st.just((0, -1)), st.tuples(st.integers(left + 1, right - 5), st.integers(3, 9))))
    middle_left, middle_right = middle if middle[1] < 0 else (middle[0], min(sum(middle), right - 1))
    return Bed(
        needles=needles,
        edges_per_needle=edges,
        left_sensor=left,
        right_sensor=right,
        tolerance=draw(st.integers(0, 4)),
        backing=draw(st.integers(0, 40)),
        layout_kind=layout,
        count=count,
        lead_leftward=draw(st.integers(-8, 8)),
        lead_rightward=draw(st.integers(-8, 8)),
        advance=draw(st.integers(1, 3000)),
        advance_max=advance_max,
        hold=hold,
        limit_ms=draw(st.sampled_from((5, 20, 100, 2000))),
        active_low=draw(st.sampled_from((0, 0, 0, 1))),
        patience_ms=draw(st.sampled_from((0, 500, 45_000))),
        supply_min=draw(st.sampled_from((0, 0, 700))),
        current_max=draw(st.sampled_from((0, 0, 150))),
        duty=draw(st.sampled_from((0, 0, 1, 4, 15))),
        brisk=draw(st.sampled_from((0, 0, 300, 2000))),
        passing=draw(st.integers(0, 1)),
        middle_left=middle_left,
        middle_right=middle_right,
    )


Move = tuple[str, int, int]


def board_moves(bed: Bed) -> st.SearchStrategy[list[Move]]:
    """What happens to a board, as (kind, value, value): strokes of the hand, waits, messages and glitches.

    Kinds: `pass` over the bed at so many microseconds an edge, with a backing up of so many edges in
    its middle; `stroke` to an edge position; `wait` for so many milliseconds; `send` one more pass and
    whatever the test chooses by the number; `glitch`.
    """
    soonest_us = 4 * bed.advance // max(bed.advance_max - 1, 1) + 50
    pace = st.one_of(st.integers(soonest_us * 2, soonest_us * 5), st.integers(max(soonest_us // 2, 20), 9000))
    over = st.tuples(st.just("pass"), pace, st.sampled_from((0, 0, 1, 5, bed.backing, bed.backing + 1)))
    stroke = st.tuples(st.just("stroke"), st.integers(bed.left_sensor - 5, bed.right_sensor + 5), pace)
    wait = st.tuples(st.just("wait"), st.integers(1, 700), st.just(0))
    send = st.tuples(st.just("send"), st.integers(0, 9), st.integers(0, 9))
    glitch = st.tuples(st.just("glitch"), st.just(0), st.just(0))
    usual = st.one_of(over, over, send)
    rare = st.one_of(over, over, over, stroke, send, wait, glitch)
    return st.lists(st.one_of(usual, usual, rare), min_size=4, max_size=16)


# ---- plans ----------------------------------------------------------------------------------------


def coloured_palette(colours: int) -> tuple[Colour, ...]:
    return tuple(Colour(60 * index, 255 - 60 * index, 0) for index in range(colours))


@st.composite
def coloured_charts(draw: st.DrawFn, colours: int, *, stitches: int = 12, rows: tuple[int, int] = (1, 8)) -> Chart:
    """Charts with a palette of exactly so many colours, which need not all be used."""
    height = draw(st.integers(*rows))
    size = stitches * height
    cells = np.frombuffer(draw(st.binary(min_size=size, max_size=size)), np.uint8) % colours
    return Chart(cells.astype(np.uint8).reshape(height, stitches), coloured_palette(colours), "drawn.png")


@st.composite
def band_requests(draw: st.DrawFn, number: int, stitches: int) -> BandRequest:
    """One band of any technique; by hand, so that any band may follow any other."""
    technique = TECHNIQUES[draw(st.sampled_from(sorted(TECHNIQUES)))]
    colours = draw(st.integers(2, technique.colours_max)) if technique.separations else 2
    fits = [item.name for item in technique.separations if item.colours_min <= colours <= item.colours_max]
    options = Options(
        rows=draw(st.integers(1, 16)),
        row_repeat=draw(st.integers(1, 3)),
        edge_needles=draw(st.sampled_from((None, "knit", "as-chart"))),
        one_way=draw(st.sampled_from(("leftward", "rightward"))) if technique.one_way else "rightward",
        separation=draw(st.sampled_from(fits)) if fits else None,
        changer="hand" if fits else None,
        mirror_rows=draw(st.booleans()),
        break_floats=draw(st.sampled_from((0, 0, 2))) if colours == 2 and not technique.double_bed else 0,
    )
    return BandRequest(f"band {number}", technique, options, draw(coloured_charts(colours, stitches=stitches)))


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Pieces of one to three bands on the bed that can do everything."""
    profile = load_profile("double-180")
    stitches = draw(st.integers(2, 14))
    bands = [draw(band_requests(number, stitches)) for number in range(1, draw(st.integers(1, 3)) + 1)]
    start = draw(st.sampled_from(("left", "right")))
    return compile_plan("drawn", profile, profile.centred(stitches), bands, start=start)


# The kinds that a piece file may ask for, those that hand loops on more often.
_ASKED = sorted(kind.name for kind in HAND_KINDS.values() if not kind.of_plan) + ["move", "cross"] * 4


@st.composite
def works(draw: st.DrawFn, stitches: int) -> Work:
    """Shaping or something done by hand in a band over so many needles; not all of it can be done."""
    first = draw(st.integers(0, stitches - 1))
    last = min(stitches - 1, first + draw(st.integers(0, 3)))
    side = draw(st.sampled_from(("both", "left", "right")))
    kind, by = draw(st.sampled_from(_ASKED)), draw(st.integers(-2, 2))
    if kind == "cross":
        first = min(first, stitches - 2)
        last = max(last, first + 1)
        by = draw(st.integers(1, last - first)) * draw(st.sampled_from((-1, 1)))
    step = ByHand(draw(st.integers(1, 6)), kind, first, last, by,
                  draw(st.sampled_from((Position.OUT, Position.WORK))))  # fmt: skip
    work: Work = draw(
        st.one_of(
            st.just(step),
            st.just(step),
            st.builds(AtRate, st.just(side), st.sampled_from((-1, 1)), st.integers(1, 3), st.integers(1, 3),
                      st.integers(0, 3)),
            st.builds(Groups, st.lists(st.integers(1, 2), min_size=1, max_size=2).map(tuple), st.just(side),
                      st.booleans()),
            st.builds(ShortRows, st.lists(st.integers(1, 2), min_size=1, max_size=2).map(tuple), st.just(side),
                      st.sampled_from(("at once", "in steps", "later"))),
            st.just(AllNeedles(1, "hang-hem")),
            st.just(AllNeedles(None, "lift-hem")),
            st.just(Neck(4, 2, (1,), shoulder_steps=2)),
        )
    )  # fmt: skip
    return work


@st.composite
def shaped_plans(draw: st.DrawFn, *, drives: tuple[str, ...] = ("this-pass", "next-pass")) -> Plan:
    """Pieces that are shaped, worked on by hand, cast on and bound off, of any technique."""
    source = load_profile("double-180").source.replace(
        'drive = "this-pass"', f'drive = "{draw(st.sampled_from(drives))}"'
    )
    profile = parse_profile(source, name="double-180", file="double-180.toml")
    stitches = draw(st.integers(6, 14))
    requests = []
    for number in range(1, draw(st.integers(1, 3)) + 1):
        request = draw(band_requests(number, stitches))
        requests.append(replace(request, works=tuple(draw(st.lists(works(stitches), max_size=2)))))
    if draw(st.booleans()):
        begin = CastOn(draw(st.sampled_from(("wrapped", "every-other"))), 0, stitches - 1)
        plain = BandRequest("beginning", TECHNIQUES["stocking"], Options(rows=4), works=(begin,))
        requests.insert(0, plain)
    if draw(st.booleans()):
        end = BandRequest("end", TECHNIQUES["stocking"], Options(rows=2), works=(AllNeedles(3, "bind-off"),))
        requests.append(end)
    try:
        return compile_plan(
            "drawn", profile, profile.centred(stitches), requests, start=draw(st.sampled_from(("left", "right")))
        )
    except InputError:
        reject()


@st.composite
def gauges(draw: st.DrawFn) -> Gauge:
    """Any gauge that a domestic bed could give, and some that it could not."""
    return Gauge(draw(st.floats(6, 60)), draw(st.floats(6, 90)))


@st.composite
def simulator_addresses(draw: st.DrawFn) -> str:
    """`sim://` with a shipped profile and any hand: pace, unevenness, pauses and backing up."""
    name = draw(st.sampled_from(("standard-200", "double-180", "mid-150", "chunky-112")))
    options = {
        "seed": draw(st.integers(0, 2**32)),
        "pace": draw(st.integers(10, 60)),
        "jitter": draw(st.sampled_from((0, 0.04, 0.08))),
        "pauses": draw(st.sampled_from((0, 0.5, 1))),
        "backing-up": draw(st.sampled_from((0, 0.5, 1))),
        "clearance": draw(st.sampled_from((0, 4, 15, 20))),
    }
    return f"sim://{name}?" + "&".join(f"{key}={value}" for key, value in options.items())


# --- stories for boards ------------------------------------------------------------------------------


@st.composite
def beds(draw: st.DrawFn, *, limit_ms: tuple[int, int] = (5, 300)) -> Bed:
    """Any bed that a board accepts, small enough that a pass over it is soon told."""
    bank = draw(st.booleans())
    count = draw(st.integers(1, 16) if bank else st.integers(1, 2))
    edges = draw(st.integers(1, 16))
    room = (count if bank else 1) * edges
    if room < 2:
        edges = room = 2
    advance_max = draw(st.integers(1, room - 1))
    needles = draw(st.integers(2, 24))
    return Bed(
        needles=needles,
        edges_per_needle=edges,
        left_sensor=-draw(st.integers(20, 90)),
        right_sensor=(needles - 1) * edges + draw(st.integers(20, 90)),
        tolerance=draw(st.integers(0, 8)),
        backing=draw(st.integers(0, 60)),
        layout_kind=int(bank),
        count=count,
        lead_leftward=draw(st.integers(-20, 20)),
        lead_rightward=draw(st.integers(-20, 20)),
        advance=draw(st.integers(1, 2000)),
        advance_max=advance_max,
        hold=draw(st.integers(1, room - advance_max)),
        limit_ms=draw(st.integers(*limit_ms)),
        active_low=draw(st.integers(0, 1)),
        patience_ms=draw(st.sampled_from((0, 0, 200, 900))),
        supply_min=0,
        current_max=0,
    )


def messages_to_a_board(fingerprint: int, bed: Bed) -> st.SearchStrategy[Message]:
    """What a host may say at any time, sensible or not."""
    number = st.integers(0, 8)
    return st.one_of(
        st.builds(Seen, st.just(fingerprint), number),
        st.builds(Pause, st.integers(0, 1)),
        st.builds(Clear, st.integers(0, 14)),
        st.builds(Ask, st.integers(0, 4)),
        st.builds(Probe, st.integers(0, 3), st.integers(0, 30)),
        st.builds(Buzz, st.integers(0, 5)),
        st.builds(Greet, st.just(PROTOCOL), number),
        st.just(Stop()),
        st.just(bed),
        st.builds(Pass, st.just(fingerprint), number, st.integers(0, 1), st.just(bytes(32))),
    )


@st.composite
def stories(draw: st.DrawFn, *, edge_us: tuple[int, int] = (60, 20_000), steady: bool = False) -> Story:
    """A host and a hand that do as they like, over any bed.

    edge_us: shortest and longest time from edge to edge. steady: only such times as a clock a few ticks off
    would read alike, for boards that take time to follow.
    """
    bed = draw(beds(limit_ms=(1500, 2000)) if steady else beds())  # a rest may fall to one beat or the next
    turn = 15
    lines = max(bed.left_sensor + 1, -turn), min(bed.right_sensor - 1, (bed.needles - 1) * bed.edges_per_needle + turn)
    plan = PlanStart(77, 1, draw(st.integers(1, 8)), *lines, 0, bed.needles - 1)
    story = Story(bed, place=draw(st.integers(-5, 30))).power().say(b"\0", Greet(PROTOCOL, 7), bed, plan)
    rightward = draw(st.booleans())
    for passes in range(1, plan.last + 1):
        mask = draw(st.integers(0, (1 << bed.needles) - 1)).to_bytes(32, "little")
        story.say(Pass(77, passes, int((passes % 2 == 1) == rightward), mask))
    waits = (60_000,) if steady else (500, 60_000)  # long enough to have written a checkpoint, or not
    ends = (bed.left_sensor - 3, bed.right_sensor + 3)
    story.walk(ends[0] if rightward else ends[1], 700)
    for _ in range(draw(st.integers(1, 9))):
        match draw(st.sampled_from(("cross", "cross", "cross", "turn", "wait", "say", "noise", "slip", "power"))):
            case "cross":
                to = ends[1] if story.place < sum(ends) // 2 else ends[0]
                story.walk(to, _paces(draw, bed, edge_us, steady)).wait(draw(st.sampled_from(waits)))
            case "turn":
                story.walk(draw(st.integers(*ends)), _paces(draw, bed, edge_us, steady)).wait(min(waits))
            case "wait":
                story.wait(1000 * draw(st.integers(1, 1200)) + 500)
            case "say":
                story.say(draw(messages_to_a_board(77, bed)))
            case "noise":
                story.say(draw(st.binary(min_size=1, max_size=60)))
            case "slip":
                story.slip(draw(st.sampled_from((-1, 1))))
            case "power":
                story.wait(60_000).power(draw(st.sampled_from((1, 2, 4, 8)))).say(
                    b"\0", Greet(PROTOCOL, 9), Ask(2), bed, plan
                )
                for passes in range(1, plan.last + 1):
                    story.say(Pass(77, passes, int((passes % 2 == 1) == rightward), bytes(32)))
    return story.wait(60_000).say(Ask(1), Ask(2), Ask(3), Ask(0))


def _paces(draw: st.DrawFn, bed: Bed, edge_us: tuple[int, int], steady: bool) -> Iterator[int]:
    """Times from edge to edge, without end: one pace and another, and between them a few changes."""
    shortest, longest = edge_us
    paces = draw(st.lists(st.integers(shortest, longest), min_size=1, max_size=4))
    if steady:
        paces = [unmistakable(pace, bed.advance) for pace in paces]
    each = draw(st.integers(1, 40))
    return (pace for pace in cycle(paces) for _ in range(each))


# --- timing ---------------------------------------------------------------------------------------


def figures() -> st.SearchStrategy[list[float]]:
    """Two to sixty hundredths above 0, not all alike: scipy warns of values that differ by rounding alone."""
    some = st.lists(st.integers(1, 10_000).map(lambda n: n / 100), min_size=2, max_size=60)
    return some.filter(lambda values: len(set(values)) > 1)


@st.composite
def late_reports(draw: st.DrawFn) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """True times of a few passes on the board's clock, up to eleven hours apart, and by how much each report is late."""
    gaps = draw(st.lists(st.floats(0.2, 40_000), min_size=1, max_size=12))
    begin = draw(st.floats(0, 2**32 * 4e-6))
    times = begin + np.concatenate([[0.0], np.cumsum(gaps)])
    late = draw(st.lists(st.floats(0, 5_000), min_size=len(times), max_size=len(times)))
    return times, np.array(late)


@st.composite
def carriage_and_wire_faults(draw: st.DrawFn) -> str:
    """`fault=` of the simulator: what may happen to wire, carriage and board, and is noticed or mended."""
    chances = {
        "flip": (1e-5, 1e-3),
        "drop": (1e-4, 1e-2),
        "double": (1e-4, 1e-2),
        "stall": (0.01, 0.2),
        "split": (0.1, 1.0),
        "extra": (1e-5, 5e-4),
        "bounce": (1e-4, 1e-2),
        "early-turn": (0.05, 0.5),
        "reversal": (0.05, 0.5),
        "too-fast": (0.05, 0.5),
        "reset": (3.0, 15.0),
        "power-cut": (3.0, 15.0),
    }
    names = draw(st.lists(st.sampled_from(sorted(chances)), max_size=4, unique=True))
    faults = [f"{name}:{draw(st.floats(*chances[name])):.6f}" for name in names]
    if draw(st.booleans()):  # one at a time: two running would be a slip of the encoder, which no board can see
        faults.append(f"lost:@{draw(st.integers(1, 6000))}")
    if draw(st.booleans()):
        faults.append(f"full:{draw(st.integers(1, 4))}")
    return ",".join(faults)


@st.composite
def rocking(draw: st.DrawFn) -> list[tuple[int, int]]:
    """A carriage rocked so as to keep coils on: (edges to go, µs for each of them), over and over again."""
    swings = st.tuples(st.integers(-6, 6).filter(bool), st.sampled_from((90, 400, 1000, 4000, 40_000, 200_000)))
    return draw(st.lists(swings, min_size=1, max_size=6)) * draw(st.integers(1, 40))


@st.composite
def coil_changes(draw: st.DrawFn) -> list[tuple[int, bool, int]]:
    """(coil, goes on, tick) in order of time, each coil going on first and then off and on by turns."""
    on: set[int] = set()
    tick, changes = 0, []
    for coil, ticks in draw(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2000)), max_size=60)):
        tick += ticks
        on ^= {coil}
        changes.append((coil, coil in on, tick))
    return changes


@st.composite
def lies(draw: st.DrawFn, bed: Bed) -> list[tuple[str, int, int]]:
    """What sensors and encoder do to the board in one crossing: (kind, place, how many edges).

    The encoder's own lies stand well apart: two of them within a few edges may hide each other.
    """
    anywhere = st.integers(bed.left_sensor - 20, bed.right_sensor + 20)
    near_an_end = st.one_of(
        st.integers(bed.left_sensor - 14, bed.left_sensor + 1), st.integers(bed.right_sensor - 1, bed.right_sensor + 14)
    )
    edges = st.sampled_from((1, 2, 3, 4, 8, 12))
    of_sensors = draw(
        st.lists(
            st.one_of(
                st.tuples(st.sampled_from(("left on", "right on")), anywhere, st.integers(1, 3)),
                st.tuples(st.sampled_from(("left off", "right off")), near_an_end, st.integers(1, 12)),
            ),
            max_size=2,
        )
    )
    kinds = st.sampled_from(("lost", "lost", "a dies", "b dies", "a low", "b low", "a high", "b high"))
    apart = draw(st.integers(2 * 40 + 10, 240))
    of_the_encoder = draw(st.lists(st.tuples(kinds, anywhere, edges), max_size=2))
    if len(of_the_encoder) == 2:
        (_, first, _), (kind, _, count) = of_the_encoder
        of_the_encoder[1] = kind, first + apart, count
    return of_sensors + of_the_encoder
