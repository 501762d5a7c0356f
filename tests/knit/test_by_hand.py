"""A session without a board: each pass confirmed, and needles told as runs that come out as the mask again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from knit.rig import small_plan

from latchline.knit import events as told
from latchline.knit.by_hand import BOUNCE_S, HandSession
from latchline.knit.events import Answer, Event, Fate, Kind, State
from latchline.knit.folding import FORWARD, OUT, STAYS, expanded, folded, marks_of, placed, runs_of
from latchline.knit.journal import Journal
from latchline.knit.plain import plain_view
from latchline.knit.record import Record
from latchline.plan.hand import Position
from latchline.plan.model import Plan
from strategies import plans, shaped_plans

PLAN = small_plan(12, bands=2)


class Hand:
    """A knitter at the space bar, with a clock that stands until she presses it."""

    def __init__(self, plan: Plan = PLAN, record: Record | None = None) -> None:
        self.now = 0.0
        self.session = HandSession(plan, clock=lambda: self.now, record=record, sleep=self._sleep)
        self.events: list[Event] = []

    def _sleep(self, seconds: float) -> None:
        self.now += seconds

    def step(self) -> None:
        assert self.now < 1000.0, "the session does not go on"
        self.events += self.session.step()

    def press(self, reply: Answer = Answer.GO_ON) -> None:
        """Answer what stands, a while after it was asked."""
        self.step()
        if self.session.question is not None:
            self.now += 1.0
            self.session.answer(self.session.question.serial, reply)
        self.step()

    def to(self, number: int) -> None:
        while self.session.done < number:
            self.press()

    def to_the_end(self) -> None:
        while not self.session.over:
            self.press()

    def asked(self) -> list[tuple[Kind, int]]:
        return [(e.question.kind, e.question.pass_number) for e in self.events if isinstance(e, told.Asked)]


def test_each_pass_is_asked_for_and_counted_when_it_is_confirmed() -> None:
    hand = Hand()
    hand.to_the_end()
    passes = [(Kind.PASS, number) for number in range(1, 13)]
    assert hand.asked() == [(Kind.READY, 1), *passes[:6], (Kind.BAND, 7), *passes[6:]]
    assert [event.number for event in hand.events if isinstance(event, told.Knitted)] == list(range(1, 13))
    assert hand.events[-1] == told.Ended(True)
    assert hand.session.summary().knitted == hand.session.summary().done == 12


def test_nothing_is_asked_of_an_end_sensor_that_is_not_there() -> None:
    hand = Hand()
    hand.to_the_end()
    texts = str(hand.events)
    assert "CARRIAGE" not in texts
    assert "SIDE" in texts


def test_a_pedal_that_bounces_counts_one_pass() -> None:
    hand = Hand()
    hand.to(3)
    hand.step()
    asked = hand.session.question
    assert asked is not None
    hand.session.answer(asked.serial, Answer.GO_ON)  # the same press, some milliseconds later
    hand.step()
    assert hand.session.done == 3
    (refused,) = [event for event in hand.events if isinstance(event, told.AnswerRefused)]
    assert refused.serial == asked.serial
    hand.now += BOUNCE_S
    hand.session.answer(asked.serial, Answer.GO_ON)
    hand.step()
    assert hand.session.done == 4


def test_two_devices_confirm_a_pass_once() -> None:
    hand = Hand()
    hand.to(3)
    hand.step()
    question = hand.session.question
    assert question is not None
    hand.now += 1.0
    hand.session.answer(question.serial, Answer.GO_ON)
    hand.step()
    hand.now += 1.0
    hand.session.answer(question.serial, Answer.GO_ON)
    hand.step()
    assert hand.session.done == 4


@pytest.mark.parametrize("back", [1, 2, 99])
def test_stepping_back_by_hand_goes_on_from_there(back: int) -> None:
    hand = Hand()
    hand.to(4)
    hand.step()
    hand.session.wish(told.StepBack(back))
    while hand.session.done == 4:
        hand.press()
    assert hand.session.done == max(0, 4 - back)
    assert (Kind.UNKNIT, max(0, 4 - back) + 1) in hand.asked()
    hand.to_the_end()
    assert hand.session.summary().knitted == 12


def test_a_pause_a_note_and_plain_rows_are_granted_while_a_pass_is_asked_for() -> None:
    hand = Hand()
    hand.to(2)
    for wish, kind in ((told.Pause(), Kind.PAUSED), (told.PlainRows(), Kind.PLAIN)):
        hand.step()
        hand.session.wish(wish)
        hand.step()
        hand.step()
        assert hand.asked()[-1] == (kind, 3)
        hand.press()
    hand.session.wish(told.Note("a knot"))
    hand.step()
    fates = [event.fate for event in hand.events if isinstance(event, told.Wished)]
    assert fates == [Fate.NOTED, Fate.GRANTED] * 2 + [Fate.GRANTED]
    assert hand.session.done == 2
    hand.to_the_end()


def test_what_was_knitted_by_hand_is_gone_on_with_at_the_right_pass(tmp_path: Path) -> None:
    path = tmp_path / "hand.latchline"
    with Journal.create(path, PLAN) as journal:
        hand = Hand(record=journal)
        hand.to(5)
        hand.session.wish(told.Stop())
        hand.to_the_end()
        assert hand.events[-1] == told.Ended(False)
    with Journal.open(path) as journal:
        assert journal.known.done == 5
        hand = Hand(journal.plan(), journal)
        hand.to_the_end()
        assert hand.asked()[0] == (Kind.READY, 6)
        assert [entry.number for entry in journal.entries()] == list(range(1, 13))
        assert journal.finished


def test_the_view_of_a_session_by_hand_is_that_of_any_other() -> None:
    hand = Hand()
    hand.to(2)
    hand.step()
    view = hand.session.view()
    assert (view.state, view.number, view.lamp, view.place) == (State.READY, 3, False, None)
    assert plain_view(view)["question"]["kind"] == "pass"


def test_runs_are_folded_into_repeats_as_a_knitter_would_say_them() -> None:
    plan = small_plan(4)
    (part,) = placed(plan, 1)
    assert part.line in ("L12 to R12: 1 up, 1 down, 12 times", "L12 to R12: 1 down, 1 up, 12 times")
    marks = "1110011100111001110011100111001110011100" + "1" + "0" * 5
    assert [f"{p.times}x{p.runs}" for p in folded(runs_of(marks))] == [
        "8x((3, '1'), (2, '0'))", "1x((1, '1'),)", "1x((5, '0'),)",
    ]  # fmt: skip


@given(plans())
@settings(max_examples=40, deadline=None)
def test_runs_expanded_are_the_mask_on_every_pass(plan: Plan) -> None:
    for number in range(1, plan.passes + 1):
        check(plan, number)


@given(shaped_plans())
@settings(max_examples=25, deadline=None)
def test_needles_out_of_work_are_left_alone(plan: Plan) -> None:
    for number in range(1, plan.passes + 1):
        check(plan, number)


def check(plan: Plan, number: int) -> None:
    """From the words alone: which needles are brought forward, by their names on the bed."""
    selected = plan.acting_masks(number, number)[0]
    working = plan.positions_of(number, number)[0] == Position.WORK
    said = ""
    for part in placed(plan, number):
        assert plan.profile.needle_index(part.first) == plan.span.first + len(said)
        times = int(match[1]) if (match := re.search(r", (\d+) times$", part.line)) else 1
        runs = re.findall(r"(\d+) (up|down|out of work or held)", part.line)
        marks = {"up": FORWARD, "down": STAYS, "out of work or held": OUT}
        said += "".join(marks[word] * int(count) for count, word in runs) * times
        assert plan.profile.needle_index(part.last) == plan.span.first + len(said) - 1
    assert said == expanded(folded(runs_of(marks_of(plan, number))))
    assert [mark == FORWARD for mark in said] == (selected & working).tolist()
    assert [mark == OUT for mark in said] == (~working).tolist()
