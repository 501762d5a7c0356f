"""What the knitter sees and types."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from knit.rig import small_plan
from rich.console import Console

from latchline.cli import screen
from latchline.cli.keys import Typing, parse
from latchline.errors import BoardFault
from latchline.knit import candidates as picture
from latchline.knit import events as told
from latchline.knit import prompts
from latchline.knit import view as seen
from latchline.knit.events import Answer, Kind, Note, Pause, PlainRows, Question, Reply, State, StepBack, Stop, Wish
from latchline.knit.prompts import Prompt, What
from latchline.knit.view import Coming, View
from latchline.timing.statistics import TimeLeft

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


def drawn(view: View = VIEW, question: Question | None = None, typed: str = "", width: int = 80) -> str:
    console = Console(file=io.StringIO(), width=width, height=60)
    view = replace(view, question=question)
    with console.capture() as capture:
        console.print(screen.render(PLAN, view, typed, ["Pass 8 of 24 done."], width))
    return capture.get()


def test_the_screen_tells_everything_at_one_glance() -> None:
    text = drawn()
    for part in (
        "PASS", "LEFTWARD", "STILL TO DO", "READY: GO", "main and contrast", "before pass 11, in 2: move the weights up",
        "28 rows a minute, about 10 min left ± 65 s", "4 passes loaded ahead", "Pass 8 of 24 done.", "p pause",
    ):  # fmt: skip
        assert part in text


def test_pass_and_passes_left_stand_in_figures_five_lines_high() -> None:
    lines = drawn().splitlines()
    nine = ["█████", "█   █", "█████", "    █", "█████"]
    sixteen = ["  █    █████", "███    █    ", "  █    █████", "  █    █   █", "█████  █████"]
    at = next(n for n, line in enumerate(lines) if "PASS" in line) + 1
    for line, first, last in zip(lines[at : at + 5], nine, sixteen, strict=True):
        assert line.strip().startswith(first.strip())
        assert line.rstrip().endswith(last.rstrip())


def test_the_arrow_points_the_way_of_the_carriage() -> None:
    left, right = (screen.arrow(way).plain.split("\n") for way in ("leftward", "rightward"))
    assert [line[::-1] for line in left] == right
    heads = [line.index("█") for line in left]
    assert heads == [4, 2, 0, 2, 4]
    lines = drawn().splitlines()
    at = next(n for n, line in enumerate(lines) if "█████████████" in line)
    assert [line[30:60].index("█") - lines[at][30:60].index("█") for line in lines[at - 2 : at + 3]] == heads


@pytest.mark.parametrize("digit", range(10))
def test_no_figure_looks_like_another(digit: int) -> None:
    others = [screen.big(other).plain for other in range(10) if other != digit]
    assert screen.big(digit).plain not in others
    assert {len(line) for line in screen.big(digit).plain.split("\n")} == {5}


@pytest.mark.parametrize("state", list(State))
def test_every_state_of_the_session_has_words_of_its_own(state: State) -> None:
    assert screen.STATES[state][0].upper() in drawn(replace(VIEW, state=state))


@pytest.mark.parametrize("width", [40, 80, 200])
@pytest.mark.parametrize("kind", sorted(Kind, key=lambda kind: kind.name))
def test_every_question_is_written_out_at_any_width(kind: Kind, width: int) -> None:
    carriage = Question(kind, 9, (Prompt(What.CARRIAGE, 9, side="right"),))
    question = replace(ROW, kind=kind) if kind in (Kind.ROW, Kind.SURE) else carriage
    text = drawn(question=question, width=width)
    assert screen.TITLES[kind].split()[0] in text
    assert ("space bar" in text) == (kind is not Kind.ROW)


def test_what_is_being_typed_takes_the_place_of_the_help() -> None:
    assert "> n a knot" in drawn(typed="n a knot")


def test_the_two_candidate_rows_are_drawn_with_their_ends_and_the_side_of_the_carriage() -> None:
    lines = "\n".join(picture.candidates(PLAN, (6, 7)))
    assert "  6  the last whole pass went rightward, so the carriage is at the right" in lines
    assert "  7  the last whole pass went leftward, so the carriage is at the left" in lines
    assert " L12 ·■·■·■·■·■·■·■·■·■·■·■·■ R12" in lines
    assert " L12 ■·■·■·■·■·■·■·■·■·■·■·■· R12" in lines
    assert "■ a new loop of contrast   · a new loop of main" in lines


def test_a_tuck_row_is_told_by_the_yarn_laid_over_its_loops() -> None:
    assert picture.meaning(TUCK, 3) == ["■ a new loop of main   · yarn laid over the old loop"]


def test_no_row_at_all_can_be_a_candidate() -> None:
    assert "  0  nothing of this piece is knitted; the carriage is at the right" in picture.candidates(PLAN, (0, 1))


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


@pytest.mark.parametrize(
    ("entry", "question", "meaning"),
    [
        (" ", READY, Answer.GO_ON),
        ("", READY, Answer.GO_ON),
        ("p", PAUSED, Answer.GO_ON),
        ("s", READY, Answer.STOP),
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
    ],
)
def test_each_key_has_its_meaning(entry: str, question: Question | None, meaning: Wish | Reply) -> None:
    assert parse(entry, question) == meaning


@pytest.mark.parametrize(
    ("entry", "question"), [("x", None), ("", None), ("7", None), ("7", READY), ("", ROW), ("b x", None), ("n", None)]
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
    assert list(typing.feed("12\x1b7\n")) == ["7"]
    assert list(typing.feed("\r")) == [""]


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
