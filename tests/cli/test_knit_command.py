"""`knit` and `resume`, on the simulated board."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from cli.running import Ran, run
from knit.rig import small_plan

from latchline.connect import cautioned, cautions_for
from latchline.knit.journal import Journal
from latchline.knit.journals import journal_folder
from latchline.machine.cautions import SHORT_CAUTIONS
from latchline.machine.profile import profile_text

PIECE = ("--alternate-needles", "only", "--needles", "L10-R10", "--rows", "12")


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state" / "latchline"


def knit(*more: object) -> Ran:
    return run("knit", *PIECE, "--port", "sim://standard-200?seed=4", "--yes", *more)


def stopped_on_the_way(home: Path, done: int) -> Path:
    """A finished journal turned back into one that was interrupted after pass `done`."""
    assert knit().status == 0
    (path,) = home.glob("*.latchline")
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("DELETE FROM pass WHERE number > ?", (done,))
        db.execute("UPDATE state SET done = ?, finished = 0", (done,))
    return path


def test_a_piece_is_knitted_and_summed_up(home: Path) -> None:
    ran = knit()
    assert ran.status == 0
    assert "fair-isle: finished, 12 of 12 passes knitted, 12 of them now." in ran.out
    assert "Pass 12 of 12 done." in ran.err
    assert len(list(home.glob("*.latchline"))) == 1


def test_the_simulator_takes_the_machine_of_the_piece(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(profile_text("chunky-112").replace("needles = 112", "needles = 60"), encoding="utf-8")
    ran = run("knit", *PIECE, "--machine", own, "--port", "sim://?seed=4", "--yes")
    assert ran.status == 0, ran.err
    assert "finished, 13 of 13 passes knitted" in ran.out  # needles are pushed a pass ahead on this machine


def test_the_summary_can_be_read_by_programs() -> None:
    told = json.loads(knit("--json").out)
    assert (told["done"], told["passes"], told["finished"], told["wrong"], told["faults"]) == (12, 12, True, [], [])


def test_resume_without_a_name_goes_on_with_the_unfinished_piece(home: Path) -> None:
    path = stopped_on_the_way(home, 7)
    ran = run("resume", "--yes")
    assert ran.status == 0, ran.err
    assert "12 of 12 passes knitted, 5 of them now." in ran.out
    with Journal.open(path) as journal:
        assert [entry.number for entry in journal.entries()] == list(range(1, 13))


def test_knit_with_resume_is_the_same(home: Path) -> None:
    stopped_on_the_way(home, 7)
    assert "5 of them now" in run("knit", "--resume", "--yes").out


def test_a_journal_can_be_named(home: Path) -> None:
    path = stopped_on_the_way(home, 3)
    assert "9 of them now" in run("resume", path, "--yes").out


def test_an_edit_of_the_piece_file_does_not_reach_a_piece_that_was_begun(tmp_path: Path) -> None:
    file = tmp_path / "strip.toml"
    text = 'needles = "L5-R5"\n[[bands]]\ntechnique = "fair-isle"\nalternate_needles = "only"\nrows = {}\n'
    file.write_text(text.format(8))
    journal = tmp_path / "strip.latchline"
    ran = run("knit", file, "--port", "sim://standard-200?seed=4", "--yes", "--journal", journal)
    assert ran.status == 0, ran.err
    with closing(sqlite3.connect(journal)) as db, db:
        db.execute("DELETE FROM pass WHERE number > 5")
        db.execute("UPDATE state SET done = 5, finished = 0")
    file.write_text(text.format(20))
    assert "8 of 8 passes knitted, 3 of them now" in run("resume", journal, "--yes").out
    with Journal.open(journal) as opened:
        assert opened.source() == (str(file), text.format(8))


def test_a_finished_piece_has_nothing_to_resume(home: Path) -> None:
    assert knit().status == 0
    (path,) = home.glob("*.latchline")
    ran = run("resume", path)
    assert ran.status == 0
    assert "all 12 passes of this piece are knitted" in ran.err
    ran = run("resume")
    assert ran.status == 1
    assert "there is no unfinished piece" in ran.err


def test_a_journal_that_another_run_holds_is_refused_with_a_sentence(home: Path) -> None:
    path = stopped_on_the_way(home, 3)
    with Journal.open(path):
        for arguments in (("resume",), ("resume", path)):
            ran = run(*arguments)
            assert ran.status == 1
            assert "another run is using this journal" in ran.err


def test_a_second_piece_can_be_knitted_while_another_run_holds_the_first(home: Path) -> None:
    with Journal.open(stopped_on_the_way(home, 3)):
        assert knit().status == 0


def test_going_on_over_a_port_that_is_not_there_leaves_no_journal_behind(home: Path, tmp_path: Path) -> None:
    file = tmp_path / "strip.toml"
    file.write_text('needles = "L5-R5"\n[[bands]]\ntechnique = "stocking"\nrows = 3\n')
    ran = run("resume", file, "--port", "/dev/no-such-port")
    assert ran.status == 2
    assert "going by what the board remembers" in ran.err
    assert not list(home.glob("*.latchline"))


def test_without_a_journal_and_an_answer_it_is_said_what_the_board_remembers(home: Path, tmp_path: Path) -> None:
    file = tmp_path / "strip.toml"
    file.write_text('needles = "L5-R5"\n[[bands]]\ntechnique = "stocking"\nrows = 30\n')
    port = f"sim://standard-200?seed=4&memory={tmp_path / 'memory.bin'}"
    ran = run("knit", file, "--port", f"{port}&fault=unplug:15", "--yes")
    (journal,) = home.glob("*.latchline")
    with Journal.read(journal) as before:
        assert 0 < before.known.done < 30, ran.err
    journal.unlink()
    ran = run("resume", file, "--port", port, "--yes")
    assert "the board remembers" in ran.out
    assert "no journal was kept" in ran.out
    assert "latchline resume" not in ran.out + ran.err
    assert ".latchline" not in ran.out
    assert not list(home.glob("*.latchline"))


def test_a_journal_that_was_named_is_not_taken_away_though_nothing_is_knitted(home: Path, tmp_path: Path) -> None:
    named = tmp_path / "mine.latchline"
    Journal.create(named, small_plan(12), port="sim://?seed=4").close()
    ran = run("resume", named)  # nobody answers
    assert str(named) in ran.out
    assert named.exists()


def test_a_chart_in_place_of_a_journal_is_answered_with_what_to_name(tmp_path: Path) -> None:
    chart = tmp_path / "chart.txt"
    chart.write_text("X.\n.X\n")
    ran = run("resume", chart)
    assert ran.status != 0
    assert "name a journal (*.latchline) or a piece file" in ran.err


def test_a_port_that_is_not_there_leaves_no_journal_behind(home: Path) -> None:
    ran = run("knit", *PIECE, "--port", "/dev/no-such-port")
    assert ran.status == 2
    assert (
        ran.err
        == "latchline: /dev/no-such-port: there is no such port; plug the cable in; see which there are with `latchline ports`.\n"
    )
    assert not list(home.glob("*.latchline"))


def test_a_cable_pulled_on_the_way_says_how_to_go_on() -> None:
    ran = run("knit", *PIECE, "--port", "sim://standard-200?seed=4&fault=unplug:15", "--yes")
    assert ran.status == 2
    assert "passes are in the journal; `latchline resume` goes on from there." in ran.err
    assert "the port does not work any more" in ran.err


def test_without_anybody_to_answer_the_knitting_stops(home: Path) -> None:
    ran = run("knit", *PIECE, "--port", "sim://standard-200?seed=4")
    assert ran.status == 0
    assert "stopped on the way, 0 of 12 passes knitted" in ran.out


def test_the_cautions_are_told_until_they_were_read_at_that_port() -> None:
    assert cautions_for("sim://standard-200") == ()
    for _ in range(2):
        assert cautions_for("/dev/ttyUSB0") == SHORT_CAUTIONS
    cautioned("/dev/ttyUSB0")
    assert cautions_for("/dev/ttyUSB0") == ()
    assert cautions_for("/dev/ttyUSB1") == SHORT_CAUTIONS
    cautioned("/dev/ttyUSB1")
    assert (journal_folder() / "ports-used").read_text() == "/dev/ttyUSB0\n/dev/ttyUSB1\n"


def test_a_piece_begun_before_is_pointed_out(home: Path) -> None:
    path = stopped_on_the_way(home, 3)
    ran = knit()
    assert "This piece was begun before" in ran.err
    assert path.name in ran.err
    assert ran.status == 0


def test_a_piece_can_be_knitted_by_hand_without_a_board(home: Path) -> None:
    ran = run("knit", *PIECE, "--by-hand", "--yes")
    assert ran.status == 0, ran.err
    assert "finished, 12 of 12 passes knitted" in ran.out
    assert "L10 to R10: 1 up, 1 down, 10 times" in ran.err
    (path,) = home.glob("*.latchline")
    with Journal.read(path) as journal:
        assert (journal.finished, journal.port) == (True, "by-hand")


def test_by_hand_takes_no_port() -> None:
    ran = run("knit", *PIECE, "--by-hand", "--port", "sim://standard-200")
    assert ran.status == 2
    assert "--by-hand knits without a board, so it takes no --port" in ran.err


def test_stopping_at_the_first_question_leaves_no_journal_that_resume_would_prefer(home: Path) -> None:
    path = stopped_on_the_way(home, 7)
    ran = run("knit", *PIECE, "--port", "sim://standard-200?seed=4")  # nobody answers
    assert "stopped on the way, 0 of 12 passes knitted" in ran.out
    assert list(home.glob("*.latchline")) == [path]
    assert "5 of them now" in run("resume", "--yes").out


def test_a_journal_kept_elsewhere_is_found_by_resume_and_timing(home: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "mine"
    assert knit("--journal", elsewhere).status == 0
    with closing(sqlite3.connect(elsewhere)) as db, db:
        db.execute("DELETE FROM pass WHERE number > 7")
        db.execute("UPDATE state SET done = 7, finished = 0")
    assert run("timing").status == 0
    assert "5 of them now" in run("resume", "--yes").out


def test_resume_prints_json_even_when_there_is_nothing_left_to_do(home: Path) -> None:
    assert knit().status == 0
    (path,) = home.glob("*.latchline")
    told = json.loads(run("resume", path, "--json").out)
    assert (told["done"], told["knitted"], told["finished"]) == (12, 0, True)


def test_a_chart_with_its_options_is_gone_on_with(home: Path, tmp_path: Path) -> None:
    chart = tmp_path / "waves.txt"
    chart.write_text("#.#.\n.#.#\n")
    words = ("knit", chart, "--needles", "L10-R10", "--rows", "12", "--port", "sim://?seed=4", "--yes")
    assert run(*words).status == 0
    ran = run(*words, "--resume")
    assert ran.status == 1
    assert "not begun with these options, or is finished; `latchline resume` goes on with" in ran.err
    (path,) = home.glob("*.latchline")
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("DELETE FROM pass WHERE number > 7")
        db.execute("UPDATE state SET done = 7, finished = 0")
    ran = run(*words, "--resume")
    assert ran.status == 0, ran.err
    assert "12 of 12 passes knitted, 5 of them now." in ran.out


def test_a_program_is_told_what_went_wrong(home: Path) -> None:
    told = json.loads(run("resume", "--json").out)
    assert (told["finished"], told["trouble"]["what"]) == (False, "there is no unfinished piece")
    path = stopped_on_the_way(home, 7)
    told = json.loads(run("resume", path, "--port", "sim://?seed=4&fault=unplug:8", "--yes", "--json").out)
    assert (told["name"], told["passes"], told["finished"]) == ("fair-isle", 12, False)
    assert 7 <= told["done"] < 12
    assert told["journal"] == str(path)
    assert "port" in told["trouble"]["what"]


def test_timing_works_while_a_run_holds_the_journal(home: Path) -> None:
    path = stopped_on_the_way(home, 7)
    with Journal.open(path) as journal:
        journal.event("note", "knitting just now")
        assert run("timing", path).status == 0
        assert run("timing").status == 0


def test_resume_at_another_pass_reopens_a_piece_that_was_taken_for_finished(home: Path) -> None:
    assert knit().status == 0
    (path,) = home.glob("*.latchline")
    ran = run("resume", path, "--at", 8, "--yes")
    assert ran.status == 0, ran.err
    assert "12 of 12 passes knitted, 4 of them now." in ran.out
    ran = run("resume", path, "--at", 13)
    assert ran.status == 2
    assert "this piece has 12 passes, so there is no pass 13" in ran.err


def test_timing_of_what_was_knitted_by_hand_tells_when_each_pass_was_confirmed(home: Path, tmp_path: Path) -> None:
    assert run("knit", *PIECE, "--by-hand", "--yes").status == 0
    ran = run("timing")
    assert ran.status == 0, ran.err
    assert "12 passes confirmed by hand" in ran.out
    assert "nothing else was measured" in ran.out
    told = json.loads(run("timing", "--json").out)
    assert (told["by_hand"], [one["pass"] for one in told["passes"]]) == (True, list(range(1, 13)))
    assert run("timing", "--format", "csv").out.count("\n") == 13
    ran = run("timing", "--picture", tmp_path / "x.svg")
    assert ran.status == 1
    assert "knitted by hand" in ran.err


@pytest.mark.parametrize(("option", "held"), [((), 0), (("--wait-at-changes",), 1), (("--no-wait",), 0)])
def test_a_yarn_that_a_changer_changes_is_waited_for_only_if_asked(option: tuple[str, ...], held: int) -> None:
    piece = ("--technique", "jacquard", "--machine", "double-180", "--alternate-needles", "only", "--needles", "L5-R5")
    ran = run("knit", *piece, "--rows", "4", "--port", "sim://?seed=4", "--yes", "--regardless", *option)
    assert ran.status == 0, ran.err
    assert ran.err.count("Another yarn (pass") >= held
    assert held or "Another yarn (pass" not in ran.err
