"""A session on the bench: what is loaded, told, asked and written down, and in which order."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest
from knit.rig import Bench, Knitter, Wire, connect, small_plan

from latchline.errors import JournalError, LinkError
from latchline.knit import events as told
from latchline.knit.events import Answer, Event, Kind, Question, Reply, State
from latchline.knit.prompts import What
from latchline.knit.record import Unwritten
from latchline.knit.session import Session
from latchline.link.frames import Gatherer
from latchline.link.host import Host
from latchline.link.messages import BoardInfo, Done, Pass, Seen, Status, from_wire
from latchline.plan.model import Plan
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import Board

PLAN = small_plan(24, bands=2)
PIECE_MOST_US = 600_000_000  # a hand knits it in two minutes


class Written(Unwritten):
    """A record that says when it wrote what."""

    def __init__(self, log: list[str]) -> None:
        super().__init__()
        self.log = log
        self.remarks: list[tuple[str, str]] = []

    def begin(self, info: BoardInfo, sequence: int | None) -> None:
        super().begin(info, sequence)
        self.log.append("begin")

    def passed(self, report: Done, as_planned: bool) -> None:
        super().passed(report, as_planned)
        self.log.append(f"written {report.pass_number}")

    def event(self, kind: str, text: str) -> None:
        self.remarks.append((kind, text))


class Run:
    """A session and everything around it."""

    def __init__(
        self,
        plan: Plan = PLAN,
        operator: Callable[[Bench], Knitter] = Knitter,
        board: Board | None = None,
        **options: Any,
    ) -> None:
        self.plan = plan
        self.bench = Bench(plan, seed=11, board=board)
        self.knitter = operator(self.bench)
        self.log: list[str] = []
        self.record = Written(self.log)
        host, self.wire = connect(self.bench)
        self._listen(self.wire)
        self.session = Session(host, plan, self.knitter, clock=self.wire.clock, record=self.record, **options)
        self.events: list[Event] = []
        self._coming = self.session.run()

    def _listen(self, wire: Wire) -> None:
        gatherer, write = Gatherer(), wire.write

        def heard(data: bytes) -> int:
            for frame in gatherer.feed(data):
                match from_wire(frame):
                    case Pass(_, number, _, _):
                        self.log.append(f"sent {number}")
                    case Seen(_, number):
                        self.log.append(f"acknowledged {number}")
            return write(data)

        wire.write = heard  # type: ignore[method-assign]

    def until(self, reached: Callable[[Event], bool]) -> Run:
        for event in self._coming:
            self.events.append(event)
            if reached(event):
                break
        return self

    def to_pass(self, number: int) -> Run:
        return self.until(lambda event: isinstance(event, told.Knitted) and event.number == number)

    def to_the_end(self) -> Run:
        return self.until(lambda event: False)

    def questions(self) -> list[tuple[Kind, int]]:
        return [
            (event.question.kind, event.question.pass_number) for event in self.events if isinstance(event, told.Asked)
        ]


def test_a_piece_is_knitted_as_planned_and_said_to_be_finished() -> None:
    run = Run().to_the_end()
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes
    assert [event.number for event in run.events if isinstance(event, told.Knitted)] == list(range(1, 25))
    assert run.events[-1] == told.Ended(True)
    summary = run.session.summary()
    assert (summary.done, summary.knitted, summary.finished, summary.wrong, summary.faults) == (24, 24, True, (), ())
    assert summary.seconds > 0


def test_a_pass_is_acknowledged_only_when_it_is_written_down() -> None:
    log = Run().to_the_end().log
    for number in range(1, PLAN.passes + 1):
        assert log.index(f"written {number}") < log.index(f"acknowledged {number}")


def test_nothing_is_put_in_force_before_the_journal_knows_of_it() -> None:
    log = Run().to_the_end().log
    assert log.index("begin") < log.index("sent 1")


def test_whole_passes_are_loaded_ahead() -> None:
    log = Run(waits_at_bands=False).to_pass(1).log
    assert "sent 24" in log


def test_the_first_pass_of_a_band_waits_until_the_levers_are_set() -> None:
    run = Run().to_pass(12)
    assert "sent 12" in run.log
    assert "sent 13" not in run.log
    run.to_the_end()
    assert run.questions() == [(Kind.READY, 1), (Kind.BAND, 13)]


def test_a_knitter_in_a_hurry_need_not_wait_at_bands() -> None:
    assert Run(waits_at_bands=False).to_the_end().questions() == [(Kind.READY, 1)]


def test_weights_are_to_be_moved_every_ten_rows_of_two_colour_work() -> None:
    run = Run(small_plan(24)).to_the_end()
    due = [event for event in run.events if isinstance(event, told.Due)]
    assert [event.pass_number for event in due] == [11, 21]
    assert all([prompt.what for prompt in event.prompts] == [What.WEIGHTS] for event in due)


def test_a_tuck_piece_needs_no_weights_moved() -> None:
    run = Run(small_plan(24, technique="tuck")).to_the_end()
    assert not [event for event in run.events if isinstance(event, told.Due)]


def test_a_pause_waits_for_the_pass_under_way_and_selects_nothing() -> None:
    run = Run().to_pass(3)
    run.session.wish(told.Pause())
    run.to_the_end()
    assert (Kind.PAUSED, 4) in run.questions() or (Kind.PAUSED, 5) in run.questions()
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes


def test_plain_rows_are_counted_but_not_as_passes_of_the_plan() -> None:
    run = Run().to_pass(3)
    run.session.wish(told.PlainRows())
    run.to_the_end()
    assert ("plain rows", "2") in run.record.remarks
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes


@pytest.mark.parametrize("back", [1, 2, 5, 99])
def test_after_un_knitting_the_count_goes_back_and_the_passes_are_knitted_again(back: int) -> None:
    run = Run().to_pass(6)
    run.session.wish(told.StepBack(back))
    run.until(lambda event: isinstance(event, told.SteppedBack))
    stepped = run.events[-1]
    assert isinstance(stepped, told.SteppedBack)
    before = max(event.number for event in run.events if isinstance(event, told.Knitted))
    assert stepped.done == max(0, before - back)
    run.to_the_end()
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes
    again = [event.number for event in run.events if isinstance(event, told.Knitted)]
    assert again[-(PLAN.passes - stepped.done) :] == list(range(stepped.done + 1, PLAN.passes + 1))


def test_a_note_is_written_down_without_a_pause() -> None:
    run = Run().to_pass(3)
    run.session.wish(told.Note("a knot on the left"))
    run.to_the_end()
    assert ("note", "a knot on the left") in run.record.remarks
    assert len(run.questions()) == 2


def test_stopping_leaves_a_record_that_has_nothing_to_ask() -> None:
    run = Run().to_pass(5)
    run.session.wish(told.Stop())
    run.to_the_end()
    assert run.events[-1] == told.Ended(False)
    assert run.record.known.resting
    host, wire = connect(run.bench)
    again = Session(host, PLAN, run.knitter, clock=wire.clock, record=run.record)
    asked = [event.question.kind for event in again.run() if isinstance(event, told.Asked)]
    assert Kind.ROW not in asked
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes


@pytest.mark.parametrize(
    ("number", "spoil"),
    [
        (4, lambda bench: bench.knit_row(edges_per_s=3000)),
        (6, lambda bench: bench.turn_early()),
        (1, lambda bench: setattr(bench, "slip", "lost")),
    ],
)
def test_a_fault_stops_the_knitting_tells_what_to_do_and_goes_on(number: int, spoil: Callable[[Bench], None]) -> None:
    run = Run().to_pass(5)
    run.bench.halt()
    while not run.bench.lamp or run.bench.motion is not None:
        run.session.step()
    run.knitter.tired = True
    spoil(run.bench)
    run.knitter.tired = False
    run.until(lambda event: isinstance(event, told.Stopped))
    stopped = run.events[-1]
    assert isinstance(stopped, told.Stopped)
    assert stopped.error.number == number
    assert stopped.error.hint
    run.to_the_end()
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes
    assert run.session.summary().faults == ((number, run.session.summary().faults[0][1]),)
    assert [kind for kind, _ in run.record.remarks] == ["fault"]


def test_a_board_that_restarts_is_greeted_again_and_the_row_is_asked_for() -> None:
    run = Run().to_pass(7)
    run.bench.restore_power()
    run.to_the_end()
    assert [kind for kind, _ in run.questions()].count(Kind.ROW) == 1
    assert run.session.summary().restarts == 1
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes


def test_a_host_that_sleeps_twenty_seconds_at_a_hands_pace_stops_nothing() -> None:
    """At 30 passes a minute 20 s are ten passes, and the firmware has room for 16."""
    run = Run(small_plan(40), board=ModelBoard(slots=16)).to_pass(4)
    run.knitter.pace_s = 2.0
    before, lit = len(run.bench.rows), []
    for _ in range(200):
        run.bench.advance(run.bench.now_us + 100_000)
        lit.append(run.bench.lamp)
    assert len(run.bench.rows) >= before + 9
    assert all(lit)
    run.knitter.pace_s = 0.1
    run.to_the_end()
    assert run.session.summary().faults == ()
    assert run.bench.good_rows() == len(run.bench.rows) == 40


def test_a_pass_that_was_driven_wrongly_is_told_and_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    run = Run().to_pass(2)
    monkeypatch.setattr(run.session.host, "_take_done", _lying(run.session.host._take_done, at=5))
    run.to_the_end()
    assert (Kind.WRONG, 5) in run.questions()
    assert run.session.summary().wrong == (5,)


def _lying(take: Callable[[Done], None], at: int) -> Callable[[Done], None]:
    def spoiled(done: Done) -> None:
        values = vars(done) | {"digest": done.digest ^ 1}
        take(Done(**values) if done.pass_number == at else done)

    return spoiled


def to_its_end(session: Session, bench: Bench) -> list[Event]:
    events: list[Event] = []
    until_us = bench.now_us + PIECE_MOST_US
    while not session.over:
        assert bench.now_us < until_us, "the session does not come to its end"
        events += session.step()
    return events


def again(run: Run, record: Unwritten) -> list[Event]:
    """The program is gone; a new one goes on to the end."""
    run.knitter.forget()
    host, wire = connect(run.bench)
    session = Session(host, PLAN, run.knitter, clock=wire.clock, record=record)
    events = to_its_end(session, run.bench)
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes
    return events


def asked(events: list[Event]) -> list[Question]:
    return [event.question for event in events if isinstance(event, told.Asked)]


def test_a_program_killed_while_paused_says_so_again_before_anything_is_selected() -> None:
    run = Run().to_pass(5)
    run.session.wish(told.Pause())
    run.until(lambda event: isinstance(event, told.Asked) and event.question.kind is Kind.PAUSED)
    assert asked(again(run, run.record))[0].kind is Kind.PAUSED


def in_mid_pass(run: Run) -> Run:
    """Go on until a pass is under way on the board and as the host knows it."""
    while not (run.session.host.status and run.session.host.status.flags & Status.UNDER_WAY):
        run.session.step()
    return run


def killed_once_a_pause_is_asked_for(run: Run) -> None:
    run.session.wish(told.Pause())
    run.session.step()


def left(run: Run) -> None:
    run.session.close()


@pytest.mark.parametrize("gone", [killed_once_a_pause_is_asked_for, left])
def test_a_pause_that_waits_for_the_pass_under_way_when_the_program_goes_is_told_by_the_next(
    gone: Callable[[Run], None],
) -> None:
    run = in_mid_pass(Run().to_pass(5))
    gone(run)
    assert [question.kind for question in asked(again(run, run.record))].count(Kind.PAUSED) == 1


def test_who_stops_before_board_and_journal_have_settled_the_row_is_not_kept_waiting() -> None:
    run = Run().to_pass(5)
    host, wire = connect(run.bench)
    session = Session(host, PLAN, run.knitter, clock=wire.clock, record=Unwritten())
    while host.info is None or host.status is None:
        session.step()
    session.wish(told.Stop())
    to_its_end(session, run.bench)
    assert not session.summary().finished


def test_a_program_killed_while_passes_were_being_un_knitted_asks_how_far_that_went() -> None:
    run = Run().to_pass(6)
    run.session.wish(told.StepBack(2))
    run.until(lambda event: isinstance(event, told.Asked) and event.question.kind is Kind.UNKNIT)
    done = run.session.done
    run.bench.rows = run.bench.rows[: done - 2]
    first = asked(again(run, run.record))[0]
    assert (first.kind, first.candidates) == (Kind.ROW, (done - 2, done))


def test_a_journal_that_cannot_be_written_stops_the_session_and_costs_no_pass() -> None:
    run = Run().to_pass(5)
    write = run.record.passed

    def full(report: Done, as_planned: bool) -> None:
        raise JournalError("the journal cannot be used (database or disk is full)")

    run.record.passed = full  # type: ignore[method-assign]
    with pytest.raises(JournalError):
        run.to_the_end()
    assert "acknowledged 6" not in run.log
    run.record.passed = write  # type: ignore[method-assign]
    run.knitter.forget()
    host, wire = connect(run.bench)
    again = Session(host, PLAN, run.knitter, clock=wire.clock, record=run.record)
    assert [event.number for event in again.run() if isinstance(event, told.Knitted)] == list(range(6, 25))
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes


class Stops(Knitter):
    """Says stop at the first question of a kind."""

    at = Kind.BAND

    def answer(self, question: Question) -> Reply | None:
        return Answer.STOP if question.kind is self.at else super().answer(question)


def test_a_question_can_be_answered_with_stop() -> None:
    run = Run(operator=Stops).to_the_end()
    assert run.session.done == 12
    assert run.events[-1] == told.Ended(False)


def test_the_view_tells_what_a_knitter_wants_to_know() -> None:
    run = Run().to_pass(8)
    view = run.session.view()
    assert (view.number, view.passes, view.done) == (9, 24, 8)
    assert (view.row.number, view.row.direction) == (9, "leftward")
    assert [yarn.name for yarn in view.row.yarns] == ["main", "contrast"]
    assert view.row.selected == "".join("1" if needle else "0" for needle in PLAN.acting_masks(9, 9)[0])
    assert view.next_row is not None
    assert (view.next_row.number, view.next_row.first, view.next_row.last) == (10, "L12", "R12")
    assert view.coming is not None
    assert (view.coming.pass_number, view.coming.ahead) == (11, 2)
    assert view.rows_per_min is not None
    assert view.state in (State.READY, State.UNDER_WAY, State.WAITING)
    assert view.loaded == 4  # up to the next band
    assert view.place is not None
    assert view.place.certain
    assert view.event == run.session.since(0)[-1].number


def other_piece(run: Run, plan: Plan, name: Callable[[Question], Reply | None]) -> Session:
    """Somebody begins another piece on the same board."""
    host, wire = connect(run.bench)

    class Other:
        def answer(self, question: Question) -> Reply | None:
            return name(question)

    return Session(host, plan, Other(), clock=wire.clock)


def connect_again(run: Run) -> Host:
    host, _ = connect(run.bench)
    host.greet()
    return host


def test_another_piece_is_not_ended_on_the_board_without_a_word() -> None:
    run = Run().to_pass(5)
    run.knitter.tired = True
    other = other_piece(run, small_plan(40), lambda question: Answer.STOP)
    asked_kinds = [event.question.kind for event in other.run() if isinstance(event, told.Asked)]
    assert asked_kinds == [Kind.OTHER]
    assert connect_again(run).fresh_status().fingerprint == PLAN.fingerprint


def test_a_piece_that_was_killed_asks_for_the_row_when_another_one_was_begun_on_the_board_since() -> None:
    """The board went on with the loaded passes, then another piece took its memory: the journal alone is too low."""
    run = Run().to_pass(8)
    while len(run.bench.rows) < 11:
        run.bench.advance(run.bench.now_us + 100_000)
    run.knitter.tired = True
    other = other_piece(run, small_plan(40), lambda question: Answer.GO_ON)
    for event in other.run():
        if isinstance(event, told.Greeted):
            break
    for _ in range(20):
        other.step()
    other.close()
    run.knitter.tired = False
    first = asked(again(run, run.record))
    assert first[0].kind is Kind.OTHER
    assert first[1].kind is Kind.ROW
    assert first[1].why == "another piece was knitted on this board since"


@pytest.mark.parametrize("wrong", [999, 41, -1])
def test_a_row_that_the_piece_does_not_have_is_refused_and_asked_for_again(wrong: int) -> None:
    run = Run().to_pass(7)
    run.bench.restore_power()
    run.session._talk._operator = None
    while run.session.question is None or run.session.question.kind is not Kind.ROW:
        run.events += run.session.step()
    question = run.session.question
    run.session.answer(question.serial, wrong)
    (refused,) = [event for event in run.session.step() if isinstance(event, told.AnswerRefused)]
    assert "24 passes" in refused.why
    assert run.session.question == question
    assert run.session.done == 7


def test_a_row_that_is_no_candidate_is_shown_before_it_counts() -> None:
    run = Run().to_pass(7)
    run.bench.restore_power()
    run.session._talk._operator = None
    replies: dict[Kind, list[Reply]] = {Kind.ROW: [2, 8], Kind.SURE: [Answer.NO]}
    while run.session.done == 7 and not (run.session.question and run.session.question.kind is Kind.READY):
        run.events += run.session.step()
        question = run.session.question
        if question is not None and replies.get(question.kind):
            run.session.answer(question.serial, replies[question.kind].pop(0))
    kinds = [event.question.kind for event in run.events if isinstance(event, told.Asked)]
    assert kinds[-4:] in ([Kind.ROW, Kind.SURE, Kind.ROW, Kind.READY], [Kind.READY, Kind.ROW, Kind.SURE, Kind.ROW])
    (sure,) = [
        event.question for event in run.events if isinstance(event, told.Asked) and event.question.kind is Kind.SURE
    ]
    assert sure.candidates == (2,)
    assert run.session.done == 8


def test_whoever_leaves_in_any_way_pauses_the_board() -> None:
    run = Run().to_pass(5)
    run.session.close()
    for _ in range(200):
        run.bench.advance(run.bench.now_us + 20_000)
    assert not run.bench.lamp
    assert run.session.over


def flipping(rate: float) -> Callable[[bytes], bytes]:
    """Each bit flipped with this chance."""
    chance = np.random.default_rng(2026)

    def spoil(data: bytes) -> bytes:
        bits = np.unpackbits(np.frombuffer(data, np.uint8))
        return np.packbits(bits ^ (chance.random(len(bits)) < rate)).tobytes()

    return spoil


def test_a_line_on_which_most_is_damaged_is_said_to_be_unusable_and_left() -> None:
    run = Run().to_pass(3)
    run.wire.spoil = flipping(1e-2)
    with pytest.raises(LinkError, match="the line cannot be used") as refused:
        run.to_the_end()
    assert "cable" in refused.value.hint
    assert run.bench.good_rows() == len(run.bench.rows)


def test_a_line_with_some_noise_is_knitted_on() -> None:
    run = Run()
    run.wire.spoil = flipping(1e-3)
    run.to_the_end()
    assert run.bench.good_rows() == len(run.bench.rows) == PLAN.passes


def asks_before(number: int, event: Event) -> bool:
    return isinstance(event, told.Asked) and event.question.pass_number == number


def test_what_was_confirmed_before_a_pass_is_not_told_as_due_while_it_is_knitted() -> None:
    run = Run()
    for number in (1, 13):  # each the first of a band
        run.until(partial(asks_before, number))
        asked = run.session.view().coming
        assert asked is not None
        assert asked.pass_number == number
        run.until(lambda event: isinstance(event, told.Answered))
        run.until(lambda event: isinstance(event, told.StateChanged) and event.state is State.UNDER_WAY)
        view = run.session.view()
        assert view.number == number
        assert view.coming is None or view.coming.pass_number > number
