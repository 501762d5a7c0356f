"""What the knitter sees and types."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from knit.rig import small_plan
from knit.test_session import Run
from rich.console import Console

from latchline.chart.model import Chart, Colour
from latchline.cli import layout, screen
from latchline.cli.keys import LONGEST_SEQUENCE, Typing, parse
from latchline.cli.stretches import whole
from latchline.cli.wording import STATES, TITLES, in_letters
from latchline.errors import BoardFault
from latchline.knit import candidates as picture
from latchline.knit import events as told
from latchline.knit import prompts
from latchline.knit import view as seen
from latchline.knit.by_hand import HandSession
from latchline.knit.events import Answer, Kind, Note, Pause, PlainRows, Question, Reply, State, StepBack, Stop, Wish
from latchline.knit.folding import OUT, marks_of
from latchline.knit.prompts import Prompt, What
from latchline.knit.view import Coming, View
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.technique.table import technique_named
from latchline.timing.statistics import TimeLeft
from strategies import shaped_plans

PLAN = small_plan(24, bands=2)
TUCK = small_plan(12, technique="tuck")
WEIGHTS = (Prompt(What.WEIGHTS, 11),)
VIEW = View(
    state=State.READY,
    number=9,
    passes=24,
    done=8,
    row=seen.row_of(PLAN, 9),
    next_row=seen.row_of(PLAN, 10),
    band="part 1",
    chart_row=0,
    coming=Coming(11, 2, WEIGHTS),
    rows_per_min=28.4,
    left=TimeLeft(600.0, 65.0, 8),
    loaded=4,
    place=None,
    lamp=True,
    question=None,
    fault=None,
    plain_rows=4,
    event=8,
)
ROW = Question(Kind.ROW, 6, (), (6, 7), "the board was restarted", 5)


def drawn(
    view: View = VIEW, question: Question | None = None, typed: str = "", width: int = 80, height: int = 60
) -> str:
    view = replace(view, question=question)
    lines = layout.layout(PLAN, view, typed, ["Pass 8 of 24 done."], width, height)
    return "\n".join(line.plain for line in lines)


def test_the_screen_tells_everything_at_one_glance() -> None:
    text = drawn()
    for part in (
        "PASS", "LEFTWARD", "STILL TO DO", "READY: GO", "main", "contrast", "IN 2: WEIGHTS UP",
        "28 rows a minute, about 10 min left ± 65 s", "4 passes loaded ahead", "Pass 8 of 24 done.", "p pause",
    ):  # fmt: skip
        assert part in text


def test_the_state_is_a_bar_across_the_whole_width_with_a_shape_of_its_own() -> None:
    bars = set()
    for state in State:
        lines = layout.layout(PLAN, replace(VIEW, state=state), "", [], 80, 24)
        assert len(lines[0].plain) == 80
        assert "reverse" in str(lines[0].style)
        bars.add(lines[0].plain.strip()[0])
    assert len(bars) == len(State) - 1  # out of reach is out of reach, by cable or by silence


def test_a_yarn_is_a_block_of_its_colour() -> None:
    (line,) = [line for line in layout.layout(PLAN, VIEW, "", [], 80, 24) if "contrast" in line.plain]
    assert line.plain.startswith("█")
    assert PLAN.yarns_of(9)[1].colour in [str(span.style) for span in line.spans]


def test_pass_and_passes_left_stand_in_figures_five_lines_high() -> None:
    lines = drawn().splitlines()
    at = next(n for n, line in enumerate(lines) if "PASS" in line) + 1
    for line, nine, sixteen in zip(lines[at : at + 5], layout.big(9), layout.big(16), strict=True):
        assert line.strip().startswith(nine.strip())
        assert line.rstrip().endswith(sixteen.rstrip())


NUMBERS = (1, 9, 10, 99, 1865, 2000, 9999, 18656, 19999, 100000)


@pytest.mark.parametrize("width", [20, 40, 60, 80, 200])
@pytest.mark.parametrize("number", NUMBERS)
def test_a_figure_is_never_cropped(number: int, width: int) -> None:
    """Pass and passes still to do: in large figures where they fit, else in plain type, and always whole."""
    view = replace(VIEW, number=number, passes=100000 + number - 1)
    lines = layout.layout(PLAN, view, "", [], width, 24)
    text = "\n".join(line.plain for line in lines)
    assert all(len(line.plain) <= width for line in lines)
    assert shows(text, number)
    assert shows(text, 100000)


def shows(text: str, number: int) -> bool:
    """Whether a number stands there whole, large or plain, with no figure before or after it."""
    if re.search(rf"(?<!\d){number}(?!\d)", text):
        return True
    lines, rows = text.splitlines(), layout.big(number)
    for at, line in enumerate(lines):
        for place in (match.start() for match in re.finditer(re.escape(rows[0].strip()), line)):
            start = place - (len(rows[0]) - len(rows[0].lstrip()))
            if all(
                part.ljust(200)[start : start + len(row)] == row
                for part, row in zip(lines[at : at + 5], rows, strict=False)
            ):
                return True
    return False


def test_the_arrow_points_the_way_of_the_carriage() -> None:
    left, right = (layout.arrow(way) for way in ("leftward", "rightward"))
    assert [line[::-1] for line in left] == right
    heads = [line.index("█") for line in left]
    assert heads == [4, 2, 0, 2, 4]
    assert all(any(part in line for line in drawn().splitlines()) for part in left)


@pytest.mark.parametrize("digit", range(10))
def test_no_figure_looks_like_another(digit: int) -> None:
    others = [layout.big(other) for other in range(10) if other != digit]
    assert layout.big(digit) not in others
    assert {len(line) for line in layout.big(digit)} == {5}


@pytest.mark.parametrize("state", list(State))
def test_every_state_of_the_session_has_words_of_its_own(state: State) -> None:
    assert STATES[state][0].upper() in drawn(replace(VIEW, state=state))


@pytest.mark.parametrize("width", [40, 80, 200])
@pytest.mark.parametrize("kind", list(Kind))
def test_every_question_is_written_out_at_any_width(kind: Kind, width: int) -> None:
    carriage = Question(kind, 9, (Prompt(What.CARRIAGE, 9, side="right"),))
    question = replace(ROW, kind=kind) if kind in (Kind.ROW, Kind.SURE) else carriage
    text = drawn(question=question, width=width)
    assert TITLES[kind].split()[0] in text
    assert "space bar" in " ".join(text.split()) or kind is Kind.ROW


WIDE = compile_plan(
    "wide",
    load_profile("standard-200"),
    load_profile("standard-200").centred(200),
    [BandRequest("part", technique_named("fair-isle"), Options(rows=400, alternate_needles="only"))],
)


@pytest.mark.parametrize("plan", [PLAN, WIDE], ids=["24 needles", "200 needles"])
@pytest.mark.parametrize(("width", "height"), [(80, 24), (40, 20), (200, 50)])
@pytest.mark.parametrize("candidates", [(6, 7), (0, 1), (6, 8)])
def test_every_candidate_row_and_what_is_typed_are_in_sight(
    plan: Plan, width: int, height: int, candidates: tuple[int, int]
) -> None:
    view = replace(VIEW, question=replace(ROW, candidates=candidates))
    lines = [line.plain for line in layout.layout(plan, view, "23", [], width, height)]
    assert len(lines) <= height
    assert all(len(line) <= width for line in lines)
    assert lines[-1] == "> 23"
    for number in candidates:
        (at,) = [n for n, line in enumerate(lines) if line.startswith(f"{number:3}  ")]
        assert not number or "■" in "".join(lines[at : at + 5])
    assert "Enter" in "\n".join(lines)


def test_where_there_is_little_room_the_rows_are_drawn_where_they_differ() -> None:
    plan = small_plan(24, technique="stocking")
    assert picture.candidates(plan, (6, 7), 40, 4)
    marks = [line for line in picture.candidates(WIDE, (6, 7), 40, 6) if "■" in line or "·" in line]
    assert len(set(marks)) == len(marks)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (40, 20), (20, 10), (10, 6), (200, 60)])
@pytest.mark.parametrize("kind", list(Kind))
def test_nothing_is_ever_wider_or_higher_than_the_terminal(kind: Kind, width: int, height: int) -> None:
    long = tuple(Prompt(What.NOTE, 9, "a long sentence about levers and yarns " * 4) for _ in range(12))
    question = replace(ROW, kind=kind, prompts=() if kind in (Kind.ROW, Kind.SURE) else long)
    for asked in (question, None):
        lines = layout.layout(PLAN, replace(VIEW, question=asked), "12", ["said " * 30] * 4, width, height)
        assert len(lines) <= height
        assert all(len(line.plain) <= width for line in lines)
        assert lines[-1].plain == "> 12"


def test_a_fault_is_one_word_and_one_action() -> None:
    fault = BoardFault("the carriage turned back", number=6, where="pass 9", hint="undo this row")
    text = drawn(replace(VIEW, fault=fault), Question(Kind.FAULT, 9, prompts.mend(fault, 8)))
    assert "TURNED EARLY: undo this pass" in text


def test_what_is_being_typed_takes_the_place_of_the_help() -> None:
    assert "> n a knot" in drawn(typed="n a knot")


def test_the_two_candidate_rows_are_drawn_with_their_ends_and_the_side_of_the_carriage() -> None:
    lines = "\n".join(picture.candidates(PLAN, (6, 7)))
    assert "  6  the last whole pass went rightward, so the carriage stands at the right" in lines
    assert "  7  the last whole pass went leftward, so the carriage stands at the left" in lines
    assert " L12 ·■·■·■·■·■·■·■·■·■·■·■·■ R12" in lines
    assert " L12 ■·■·■·■·■·■·■·■·■·■·■·■· R12" in lines
    assert "■ a new loop of contrast   · a new loop of main" in lines


def test_a_tuck_row_is_told_by_the_yarn_laid_over_its_loops() -> None:
    assert picture.meaning(TUCK, 3) == ["■ a new loop of main   · yarn laid over the old loop"]


def test_no_row_at_all_can_be_a_candidate() -> None:
    assert "  0  nothing of this piece is knitted; the carriage stands at the right" in picture.candidates(PLAN, (0, 1))


def test_rows_that_look_alike_are_said_to() -> None:
    assert any("look alike" in line for line in picture.candidates(PLAN, (6, 8)))
    assert not any("look alike" in line for line in picture.candidates(PLAN, (6, 7)))


def test_a_wide_row_is_drawn_in_lines_that_fit() -> None:
    lines = picture.drawing(PLAN, 1, 32)
    assert [line.split()[0] for line in lines] == ["L12", "L2"] or len(lines) == 2
    assert all(len(line) <= 32 for line in lines)
    assert "".join(line.split()[1] for line in lines) == picture.drawing(PLAN, 1, 80)[0].split()[1]


READY = Question(Kind.READY, 1)
PAUSED = Question(Kind.PAUSED, 1)
SURE = Question(Kind.SURE, 7, (), (7,))


@pytest.mark.parametrize(
    ("entry", "question", "meaning"),
    [
        (" ", READY, Answer.GO_ON),
        ("", READY, Answer.GO_ON),
        ("p", PAUSED, Answer.GO_ON),
        ("s", READY, Stop()),
        ("7", ROW, 7),
        ("0", ROW, 0),
        ("p", None, Pause()),
        ("r", None, PlainRows()),
        ("s", None, Stop()),
        ("b", None, StepBack(1)),
        ("b 3", None, StepBack(3)),
        ("B12", None, StepBack(12)),
        ("n a knot", None, Note("a knot")),
        ("n a knot", READY, Note("a knot")),
        ("no", SURE, Answer.NO),
        ("No", SURE, Answer.NO),
        ("n o", SURE, Note("o")),
    ],
)
def test_each_key_has_its_meaning(entry: str, question: Question | None, meaning: Wish | Reply) -> None:
    assert parse(entry, question) == meaning


@pytest.mark.parametrize(
    ("entry", "question"),
    [("x", None), ("", None), ("7", None), ("7", READY), ("", ROW), ("b x", None), ("n", None), ("no", READY)],
)
def test_what_means_nothing_gets_a_sentence(entry: str, question: Question | None) -> None:
    said = parse(entry, question)
    assert isinstance(said, str)
    assert said


def test_letters_that_need_no_more_count_at_once_and_others_wait_for_enter() -> None:
    typing = Typing()
    assert list(typing.feed("p")) == ["p"]
    assert list(typing.feed("b 2")) == []
    assert typing.so_far == "b 2"
    assert list(typing.feed("\n")) == ["b 2"]
    assert list(typing.feed("n prs\x7f and\n")) == ["n pr and"]
    assert list(typing.feed("\r")) == [""]


def test_escape_takes_back_what_was_typed() -> None:
    typing = Typing()
    assert list(typing.feed("12\x1b")) == []
    assert list(typing.feed("7\n")) == ["7"]
    list(typing.feed("12\x1b"))
    list(typing.feed(""))
    assert typing.so_far == ""


# As terminals send them: function keys, arrows, Delete, Home and the like, with and without modifiers, pasting,
# the mouse, focus, answers to what a program asked.
SEQUENCES = (
    "\x1bOP", "\x1bOQ", "\x1bOR", "\x1bOS", "\x1b[15~", "\x1b[17~", "\x1b[24~", "\x1b[[A", "\x1b[[B", "\x1b[1;2P",
    "\x1b[1;5S", "\x1b[A", "\x1b[B", "\x1bOA", "\x1b[3~", "\x1b[2~", "\x1b[H", "\x1b[F", "\x1b[5~", "\x1b[3;5~", "\x1b[Z",
    "\x1b[200~", "\x1b[201~", "\x1b[<0;10;10M", "\x1b[I", "\x1b[O", "\x1bp", "\x1bs", "\x1bR", "\x1b[24;80R",
    "\x1bP1$r0m\x1b\\", "\x1b]11;rgb:ffff/ffff/ffff\x07", "\x9b3~", "\x8fP",
)  # fmt: skip


@pytest.mark.parametrize("sequence", SEQUENCES, ids=repr)
@pytest.mark.parametrize("pieces", [False, True], ids=["at once", "letter by letter"])
def test_a_key_without_a_letter_is_no_command_and_leaves_nothing_behind(sequence: str, pieces: bool) -> None:
    if pieces and sequence[1:2] not in ("[", "O"):
        return  # Escape, then a letter a while later: two keys
    typing = Typing()
    said = [entry for part in (sequence if pieces else [sequence]) for entry in typing.feed(part)]
    assert said == []
    assert typing.so_far == ""
    assert list(typing.feed(" ")) == [" "]
    assert list(typing.feed("b 2\n")) == ["b 2"]


@given(st.text(st.sampled_from("\x1b[O3;~ABPp rs5\\]\x07\x9b"), max_size=40))
def test_no_rubbish_ever_locks_the_space_bar(rubbish: str) -> None:
    typing = Typing()
    list(typing.feed(rubbish))
    for _ in range(LONGEST_SEQUENCE + 5):
        list(typing.feed("\x1b"))
        list(typing.feed(""))
        if list(typing.feed(" ")) == [" "]:
            return
    raise AssertionError("the space bar is lost")


def test_a_fault_is_written_out_with_its_hint() -> None:
    error = BoardFault("the carriage turned back", number=6, where="pass 9", hint="undo this row")
    said: list[str] = []
    lines = screen.Lines(PLAN, said.append)
    lines.told(told.Stopped(error))
    lines.told(told.Asked(Question(Kind.FAULT, 9, prompts.mend(error, 8))))
    assert "The board stopped: pass 9: the carriage turned back; undo this row." in said
    assert "  · undo this row" in said


def test_what_must_not_be_missed_rings_the_bell() -> None:
    console = Console(file=io.StringIO(), force_terminal=True)
    shown = screen.Screen(PLAN, console)
    shown.told(told.LinkBack())
    assert "\a" not in console.file.getvalue()  # type: ignore[attr-defined]
    shown.told(told.Due(11, WEIGHTS))
    assert "\a" in console.file.getvalue()  # type: ignore[attr-defined]


def test_the_bell_rings_the_oftener_the_sooner_somebody_must_come() -> None:
    now = [0.0]
    console = Console(file=io.StringIO(), force_terminal=True)
    shown = screen.Screen(PLAN, console, lambda: now[0])
    shown.told(told.Stopped(BoardFault("x", number=6)))
    for _ in range(20):
        now[0] += 0.1
        shown._ring()
    assert console.file.getvalue().count("\a") == 4  # type: ignore[attr-defined]


def test_what_was_said_does_not_stay_for_hours() -> None:
    now = [0.0]
    shown = screen.Screen(PLAN, Console(file=io.StringIO()), lambda: now[0])
    shown.say("0 of 92 passes are knitted.")
    now[0] += 61
    shown.show(Run(PLAN).session, "")
    assert shown._said == []


def test_a_terminal_without_blocks_gets_letters() -> None:
    stream = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    assert in_letters(stream, "  L12 ·■·■ R12") == "  L12 .#.# R12"
    assert in_letters(io.TextIOWrapper(io.BytesIO(), encoding="utf-8"), "·■") == "·■"


def by_hand(plan: Plan) -> View:
    question = Question(Kind.PASS, 9, (Prompt(What.KNIT, 9, side=plan.direction(9)),), serial=3)
    return replace(VIEW, passes=plan.passes, row=seen.row_of(plan, 9), coming=None, question=question)


RANDOM = np.random.default_rng(1).integers(0, 2, (12, 180)).astype(np.uint8)
PATCHES = compile_plan(
    "patches",
    load_profile("standard-200"),
    load_profile("standard-200").centred(180),
    [
        BandRequest(
            "part", technique_named("fair-isle"), Options(), Chart(RANDOM, (Colour(0, 0, 0), Colour(255, 255, 255)))
        )
    ],
)


@pytest.mark.parametrize(("width", "height"), [(40, 10), (40, 20), (80, 24), (200, 50)])
def test_by_hand_no_needle_is_ever_left_out_and_pass_and_way_stay_in_sight(width: int, height: int) -> None:
    view = by_hand(PATCHES)
    drawn_marks = ""
    pages = layout.stretches_of(PATCHES, view, width, height)
    for stretch in range(pages):
        lines = [line.plain for line in layout.layout(PATCHES, view, "", ["said"], width, height, stretch)]
        assert len(lines) <= height
        assert all(len(line) <= width for line in lines)
        text = "\n".join(lines)
        assert shows(text, 9)
        assert "LEFTWARD" in text
        assert "space bar" in " ".join(text.split())
        drawn_marks += "".join(match[1] for match in re.finditer(r"^ *[LR]\d+ ([■·–]+) [LR]\d+$", text, re.MULTILINE))
    marks = marks_of(PATCHES, 9).translate(str.maketrans("10-", "■·–"))
    assert drawn_marks == marks
    assert (pages > 1) is (width < 80)


def test_the_space_bar_shows_the_next_stretch_and_the_last_press_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setenv("LINES", "10")
    now = [10.0]
    session = HandSession(PATCHES, clock=lambda: now[0], sleep=lambda _: None)
    display = screen.Screen(PATCHES, Console(file=io.StringIO(), width=40, height=10), lambda: now[0])
    session.step()
    assert session.question is not None
    session.answer(session.question.serial, Answer.GO_ON)
    session.step()
    session.step()
    display.show(session, "")
    assert display.turn()  # a press that bounced
    presses = 0
    while now[0] < 60.0:
        now[0] += 1.0
        if not display.turn():
            break
        assert display.turn()  # the same press once more
        display.show(session, "")
        presses += 1
    assert presses + 1 == layout.stretches_of(PATCHES, session.view(), 40, 10) > 2


def test_by_hand_nobody_is_told_to_wait_for_a_lamp() -> None:
    session = HandSession(PLAN, clock=lambda: 1.0, sleep=lambda _: None)
    session.step()
    text = "\n".join(line.plain for line in layout.layout(PLAN, session.view(), "", [], 80, 24))
    assert "LAMP" not in text
    assert "WAITING FOR YOU" in text


def test_plain_lines_by_hand_tell_the_way_and_how_many_are_left() -> None:
    said: list[str] = []
    question = by_hand(PLAN).question
    assert question is not None
    screen.Lines(PLAN, said.append).told(told.Asked(question))
    assert said[0].endswith(f"(pass 9, {PLAN.direction(9)}, {PLAN.passes - 8} still to do)")


@given(shaped_plans())
@settings(max_examples=10, deadline=None)
def test_a_needle_that_no_hand_touches_is_drawn_apart(plan: Plan) -> None:
    text = "".join(line.split()[-2] for line in whole(plan, plan.passes, 300)[-1:])
    assert [mark == "–" for mark in text] == [mark == OUT for mark in marks_of(plan, plan.passes)]
