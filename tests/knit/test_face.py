"""What a face needs of a session: steps that do not wait, numbered events, serials, fates, and all of it as JSON."""

from __future__ import annotations

import dataclasses
import json
import typing
from itertools import pairwise

import pytest
from knit.rig import Bench, Knitter, Wire, connect, small_plan
from knit.test_session import PLAN, Run

from latchline.errors import BoardFault, InputError, LinkError, PortError
from latchline.knit import events as told
from latchline.knit import words
from latchline.knit.events import Answer, Event, Fate, Kind, Numbered, Question, State, Wish
from latchline.knit.plain import answer_of, plain_event, plain_view, wish_of
from latchline.knit.prompts import Prompt, What
from latchline.knit.session import Session
from latchline.knit.talk import GoesOn
from latchline.link.messages import BoardInfo, Done
from latchline.plan.model import Yarn

LONGEST_S = 1000.0  # of virtual time


class Face:
    """A session that is answered through its face alone, by a knitter who sees what is asked."""

    def __init__(self, **options: typing.Any) -> None:
        self.bench = Bench(PLAN, seed=5)
        self.knitter = Knitter(self.bench)
        host, self.wire = connect(self.bench)
        self.session = Session(host, PLAN, clock=self.wire.clock, **options)
        self.events: list[Event] = []

    def step(self) -> list[Event]:
        assert self.wire.clock() < LONGEST_S, "the session does not go on"
        events = self.session.step()
        self.events += events
        return events

    def until(self, kind: Kind) -> Question:
        """Knit on, going on at every other question, until one of this kind stands."""
        while True:
            self.step()
            question = self.session.question
            if question is not None and question.kind is kind:
                return question
            self.go_on()

    def go_on(self) -> None:
        question = self.session.question
        if question is not None and (reply := self.knitter.answer(question)) is not None:
            self.session.answer(question.serial, reply)

    def to_pass(self, number: int) -> None:
        while self.session.done < number:
            self.step()
            self.go_on()

    def fates(self) -> list[tuple[Fate, str]]:
        return [(event.fate, event.why) for event in self.events if isinstance(event, told.Wished)]


def test_no_step_waits_longer_than_it_was_told_to() -> None:
    """Virtual time: a step costs what it waits for bytes, and the time that its own bytes take on the line."""
    face = Face(wait_s=0.01)
    longest, went = 0.0, 0
    while not face.session.over:
        before, sent = face.wire.clock(), _sent_s(face.wire)
        face.step()
        longest = max(longest, face.wire.clock() - before - (_sent_s(face.wire) - sent))
        face.go_on()
        went += 1
    assert longest <= 0.0101
    assert face.bench.good_rows() == PLAN.passes


def test_a_board_that_does_not_answer_blocks_no_step() -> None:
    face = Face(wait_s=0.01)
    face.bench.cut_power()
    with pytest.raises(LinkError):  # noqa: PT012
        while True:
            before, sent = face.wire.clock(), _sent_s(face.wire)
            face.step()
            assert face.wire.clock() - before - (_sent_s(face.wire) - sent) <= 0.0101
            assert face.session.view().state is State.GREETING


def _sent_s(wire: Wire) -> float:
    """How long what was written took on the line, which a real port does by itself."""
    if not hasattr(wire, "written"):
        wire.written, write = 0, wire.write  # type: ignore[attr-defined]

        def counted(data: bytes) -> int:
            wire.written += len(data)  # type: ignore[attr-defined]
            return write(data)

        wire.write = counted  # type: ignore[method-assign]
    return float(wire.written * 40e-6)  # type: ignore[attr-defined]


def test_a_stop_is_heard_while_the_board_is_still_being_greeted() -> None:
    face = Face()
    face.bench.cut_power()
    face.step()
    face.session.wish(told.Stop())
    face.step()
    assert face.session.over
    assert face.events[-1] == told.Ended(False)


def test_a_late_answer_does_not_meet_the_next_question() -> None:
    face = Face()
    first = face.until(Kind.READY)
    while face.session.question == first:
        face.go_on()
        face.step()
    second = face.until(Kind.BAND)
    face.session.answer(first.serial, Answer.GO_ON)
    (refused,) = [event for event in face.step() if isinstance(event, told.AnswerRefused)]
    assert (refused.serial, refused.why) == (first.serial, "that question is answered already")
    assert face.session.question == second


def test_of_two_answers_to_one_question_the_first_counts_and_the_other_is_told() -> None:
    face = Face()
    ready = face.until(Kind.READY)
    for _ in range(2):
        face.session.answer(ready.serial, Answer.GO_ON)
    events = face.step()
    assert [type(event) for event in events if isinstance(event, told.Answered | told.AnswerRefused)] == [
        told.AnswerRefused,
        told.Answered,
    ]


@pytest.mark.parametrize(("reply", "word"), [(3, "no number"), (Answer.NO, "go on")])
def test_an_answer_of_the_wrong_kind_is_refused_and_says_why(reply: Answer | int, word: str) -> None:
    face = Face()
    ready = face.until(Kind.READY)
    face.session.answer(ready.serial, reply)
    (refused,) = [event for event in face.step() if isinstance(event, told.AnswerRefused)]
    assert word in refused.why
    assert face.session.question == ready


def test_the_fate_of_a_wish_is_told_under_its_serial() -> None:
    face = Face()
    face.to_pass(3)
    serial = face.session.wish(told.Pause())
    face.until(Kind.PAUSED)
    fates = [event for event in face.events if isinstance(event, told.Wished)]
    assert [(event.serial, event.fate) for event in fates] == [(serial, Fate.NOTED), (serial, Fate.GRANTED)]


def test_a_wish_that_is_wished_twice_is_granted_once() -> None:
    face = Face()
    face.to_pass(3)
    for _ in range(3):
        face.session.wish(told.Pause())
    face.until(Kind.PAUSED)
    assert [fate for fate, _ in face.fates()].count(Fate.GRANTED) == 1
    assert face.fates()[1] == (Fate.REFUSED, "it is noted already")
    face.go_on()
    face.to_pass(8)
    assert [type(event) for event in face.events].count(told.Asked) == 2


@pytest.mark.parametrize("wish", [told.Pause(), told.PlainRows(), told.StepBack(1)])
def test_a_wish_that_means_nothing_at_a_question_is_refused_at_once(wish: Wish) -> None:
    face = Face()
    face.until(Kind.READY)
    face.session.wish(wish)
    face.step()
    assert face.fates()[0][0] is Fate.REFUSED


def test_a_step_back_answers_a_fault_directly() -> None:
    face = Face()
    face.to_pass(6)
    while face.bench.motion is not None or not face.bench.lamp:
        face.step()
    face.bench.turn_early()
    fault = face.until(Kind.FAULT)
    assert face.session.view().state is State.FAULT
    assert face.session.view().fault is not None
    done = face.session.done
    face.session.wish(told.StepBack(2))
    unknit = face.until(Kind.UNKNIT)
    assert unknit.pass_number == done - 1
    answered = [event for event in face.events if isinstance(event, told.Answered)][-1]
    assert (answered.question, answered.reply) == (fault, told.StepBack(2))
    while not face.session.over:
        face.go_on()
        face.step()
    assert face.bench.good_rows() == len(face.bench.rows) == PLAN.passes


def test_plain_rows_may_be_knitted_before_a_band_is_set_up() -> None:
    face = Face()
    face.until(Kind.BAND)
    face.session.wish(told.PlainRows())
    plain = face.until(Kind.PLAIN)
    assert plain.pass_number == 13
    assert face.until(Kind.BAND).pass_number == 13
    while not face.session.over:
        face.go_on()
        face.step()
    assert face.bench.good_rows() == len(face.bench.rows) == PLAN.passes


def test_what_is_wished_with_the_last_pass_is_told_to_be_too_late() -> None:
    face = Face()
    face.to_pass(24)
    face.session.wish(told.StepBack(1))
    while not face.session.over:
        face.step()
    assert face.fates()[-1] == (Fate.REFUSED, "the piece is finished")


def test_events_are_numbered_without_a_gap_and_kept_for_whoever_comes_back() -> None:
    run = Run().to_the_end()
    kept = run.session.since(0)
    assert [item.number for item in kept] == list(range(1, len(kept) + 1))
    assert [item.event for item in kept] == run.events
    assert run.session.since(kept[4].number) == kept[5:]
    assert all(one.at_s <= other.at_s for one, other in pairwise(kept))


def test_every_change_of_state_is_told_and_no_state_twice_in_turn() -> None:
    run = Run().to_the_end()
    states = [event.state for event in run.events if isinstance(event, told.StateChanged)]
    assert {State.LOST, State.READY, State.UNDER_WAY, State.OVER} <= set(states)
    assert all(one is not other for one, other in pairwise(states))
    assert states[-1] is State.OVER


def test_passes_that_were_taken_back_do_not_count_as_knitted_now() -> None:
    run = Run().to_pass(6)
    run.session.wish(told.StepBack(2))
    run.until(lambda event: isinstance(event, told.SteppedBack))
    assert run.session.summary().knitted == run.session.done


def test_another_yarn_is_waited_for_where_it_is_changed_by_hand() -> None:
    plan = small_plan(8, technique="slip-colours")
    run = Run(plan).to_the_end()
    changes = [number for kind, number in run.questions() if kind is Kind.CHANGE]
    assert changes == [
        n for n in range(2, plan.passes + 1) if plan.colour[n - 1] != plan.colour[n - 2] and plan.colour[n - 1] >= 0
    ]
    assert changes
    assert run.bench.good_rows() == plan.passes
    assert not [kind for kind, _ in Run(plan, waits_at_changes=False).to_the_end().questions() if kind is Kind.CHANGE]


def test_a_pulled_cable_keeps_the_session() -> None:
    bench = Bench(PLAN, seed=5)
    knitter = Knitter(bench)
    host, wire = connect(bench)
    tries: list[float] = []

    def reopen() -> Wire:
        tries.append(wire.clock())
        if len(tries) < 4:
            raise PortError("there is no such port")
        return connect(bench)[1]

    session = Session(
        host, PLAN, knitter, clock=wire.clock, reopen=reopen, sleep=lambda s: bench.advance(bench.now_us + int(s * 1e6))
    )
    events = []
    for event in session.run():
        events.append(event)
        if isinstance(event, told.Knitted) and event.number == 5 and not tries:
            wire.gone = True
    assert [type(event) for event in events].count(told.LinkLost) == 1
    assert State.UNPLUGGED in [event.state for event in events if isinstance(event, told.StateChanged)]
    assert told.LinkBack() in events
    assert len(tries) == 4
    assert bench.good_rows() == len(bench.rows) == PLAN.passes


def test_without_a_way_to_open_it_again_a_port_that_is_gone_ends_the_session() -> None:
    run = Run().to_pass(5)
    run.wire.gone = True
    with pytest.raises(LinkError):
        run.to_the_end()


# As plain values

BLUE = Yarn("blue", "#234567")
PROMPT = Prompt(What.CHANGE, 9, yarn=BLUE, from_yarn=Yarn("white", "#ffffff"))
QUESTION = Question(Kind.ROW, 6, (PROMPT,), (6, 7), "the board was restarted", 17)
REPORT = Done(1, 2, 1, 3, 4, bytes(20), 0, 0, 0, 0, 0, 0, 0)
ERROR = BoardFault("the carriage turned back", number=6, needle="L3", pass_number=9, where="pass 9", hint="undo it")
EXAMPLES: list[Event] = [
    told.Greeted(BoardInfo(1, 2, b"\x01\x02\x03", 4, 5, 6, 7, 8, 9), 3, True),
    told.Knitted(4, True, REPORT),
    told.Due(9, (PROMPT,)),
    told.Asked(QUESTION),
    told.Answered(QUESTION, 6),
    told.Answered(QUESTION, told.StepBack(2)),
    told.AnswerRefused(3, "that question is answered already"),
    told.Wished(18, told.StepBack(2), Fate.REFUSED, "why"),
    told.StateChanged(State.UNDER_WAY),
    told.Stopped(ERROR),
    told.BoardRestarted(),
    told.LinkQuiet(1.5),
    told.LinkBack(),
    told.LinkLost(LinkError("gone")),
    told.SteppedBack(3),
    told.Ended(True),
]


def test_every_event_turns_into_json() -> None:
    assert {type(event) for event in EXAMPLES} == set(typing.get_args(Event))
    for event in EXAMPLES:
        values = json.loads(json.dumps(plain_event(Numbered(3, 1.5, event)), allow_nan=False))
        assert (values["number"], values["at_s"]) == (3, 1.5)
        assert set(values["told"]) == {field.name for field in dataclasses.fields(event)}


def test_names_in_json_are_lower_case_with_hyphens() -> None:
    asked = plain_event(Numbered(1, 0.0, told.Asked(QUESTION)))
    assert asked["event"] == "asked"
    question = asked["told"]["question"]
    assert (question["kind"], question["serial"], question["candidates"]) == ("row", 17, [6, 7])
    prompt = question["prompts"][0]
    assert (prompt["what"], prompt["yarn"]["name"], prompt["yarn"]["colour"]) == ("change", "blue", "#234567")
    assert (prompt["line"], prompt["from_yarn"]["name"]) == ("change to blue", "white")
    assert plain_event(Numbered(1, 0.0, EXAMPLES[7]))["told"]["wish"] == {"wish": "step-back", "passes": 2}
    stopped = plain_event(Numbered(1, 0.0, told.Stopped(ERROR)))["told"]["error"]
    assert (stopped["number"], stopped["needle"], stopped["hint"]) == (6, "L3", "undo it")


def test_a_view_turns_into_json_at_every_step_of_a_session() -> None:
    run = Run()
    while not run.session.over:
        run.session.step()
        values = json.loads(json.dumps(plain_view(run.session.view()), allow_nan=False))
        assert set(values["row"]["selected"]) <= {"0", "1"}
    assert values["state"] == "over"


WISHES: list[Wish] = [told.Pause(), told.PlainRows(), told.StepBack(3), told.Note("a knot"), told.Stop()]


@pytest.mark.parametrize("wish", WISHES)
def test_a_wish_comes_back_from_json_as_it_went(wish: Wish) -> None:
    values = plain_event(Numbered(1, 0.0, told.Wished(1, wish, Fate.NOTED)))["told"]["wish"]
    assert wish_of(json.loads(json.dumps(values))) == wish


@pytest.mark.parametrize(
    "values",
    [
        None, [], {}, {"wish": "x"}, {"wish": "step-back"}, {"wish": "step-back", "passes": True}, {"wish": "note"},
        {"wish": "step-back", "passes": 0}, {"wish": "note", "text": " "}, {"wish": "pause", "more": 1},
    ],
)  # fmt: skip
def test_what_is_no_wish_is_refused_with_a_sentence(values: object) -> None:
    with pytest.raises(InputError):
        wish_of(values)


def test_an_answer_comes_from_json() -> None:
    assert answer_of({"question": 17, "reply": "go-on"}) == (17, Answer.GO_ON)
    assert answer_of({"question": 17, "reply": 12}) == (17, 12)
    for wrong in (None, {"question": "x", "reply": 1}, {"question": 1, "reply": "perhaps"}, {"question": 1}):
        with pytest.raises(InputError):
            answer_of(wrong)


def test_a_prompt_has_words_for_a_line_a_big_screen_and_a_voice() -> None:
    assert words.line(PROMPT) == "change to blue"
    assert words.ahead(PROMPT, 6) == "in 3: change to blue"
    assert words.ahead(PROMPT, 9) == "now: change to blue"
    assert words.spoken(PROMPT, 6) == "In three passes, change to blue."
    assert words.spoken(PROMPT, 8) == "In one pass, change to blue."
    assert words.spoken(PROMPT, 9) == "Change to blue."


@pytest.mark.parametrize("what", list(What))
def test_every_kind_of_prompt_has_words(what: What) -> None:
    prompt = Prompt(what, 9, text="the text", yarn=BLUE, side="left", count=3)
    assert words.line(prompt)
    assert words.short(prompt)


def test_going_on_is_no_answer_to_a_row_for_which_nobody_looked() -> None:
    assert GoesOn().answer(QUESTION) == 6
