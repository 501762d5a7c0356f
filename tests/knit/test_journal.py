"""The journal: durable, whole, for one run alone."""

from __future__ import annotations

import functools
import sqlite3
import struct
import tempfile
import time
from contextlib import closing
from dataclasses import fields
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from knit.rig import small_plan

from latchline.chart.model import Chart, Colour
from latchline.errors import JournalError, LatchlineError
from latchline.knit.journal import SIDE_FILES, Journal
from latchline.knit.journals import journals, new_path, remember, unfinished
from latchline.knit.keep import kept, restored
from latchline.knit.settle import Known
from latchline.link.messages import BoardInfo, Done
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.technique.table import technique_named
from strategies import shaped_plans, two_colour_charts

PLAN = small_plan(12, bands=2)
INFO = BoardInfo(1, 5, bytes((0, 1, 0)), 77, 3, 1, 32, 255, 0)


def report(number: int) -> Done:
    return Done(
        PLAN.fingerprint, number, number % 2, 0x1234, 100, struct.pack("<10H", *range(10)), 0, 0, 0, 3, 300, -5, 0
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "piece.latchline"
    Journal.create(path, PLAN, source_name="piece.toml", source="name = 'x'\n", port="/dev/ttyUSB0").close()
    return path


def same(one: Plan, other: Plan) -> None:
    for item in fields(Plan):
        first, second = getattr(one, item.name), getattr(other, item.name)
        if isinstance(first, np.ndarray):
            assert first.dtype == second.dtype
            assert (first == second).all()
        elif item.name == "bands":
            for band, again in zip(first, second, strict=True):
                assert (band.name, band.technique, band.options, band.yarns) == (
                    again.name,
                    again.technique,
                    again.options,
                    again.yarns,
                )
                assert (band.first, band.last, band.separation, band.edge) == (
                    again.first,
                    again.last,
                    again.separation,
                    again.edge,
                )
                assert (band.chart is None) == (again.chart is None)
                if band.chart is not None:
                    assert (band.chart.cells == again.chart.cells).all()
                    assert band.chart.palette == again.chart.palette
        else:
            assert first == second


def test_a_plan_comes_out_of_the_journal_as_it_went_in(path: Path) -> None:
    with Journal.open(path) as journal:
        same(PLAN, journal.plan())
        assert journal.source() == ("piece.toml", "name = 'x'\n")
        assert journal.port == "/dev/ttyUSB0"
        assert journal.known == Known(run=journal.run)


@given(two_colour_charts(stitches=(4, 20), rows=(2, 8)))
@settings(max_examples=20)
def test_any_drawing_is_kept_with_its_plan(drawing: Chart) -> None:
    bed = load_profile("double-180")
    yarns = (Yarn("sea", "#123456", tex=100.0), Yarn("foam", stitch_size=7.5))
    requests = [
        BandRequest("rib", technique_named("stocking"), Options(rows=4)),
        BandRequest("waves", technique_named("fair-isle"), Options(row_repeat=2), drawing, yarns),
    ]
    plan = compile_plan("waves", bed, bed.centred(20), requests)
    words, arrays = kept(plan)
    same(plan, restored(words, arrays, bed.name, bed.source))


@pytest.mark.parametrize("changer", ["hand", "left", "right"])
def test_the_way_in_which_colours_are_changed_is_kept_with_the_plan(changer: str) -> None:
    bed = load_profile("double-180")
    drawing = Chart(np.array([[0, 1, 0, 1]] * 4, np.uint8), (Colour(255, 255, 255), Colour(0, 0, 0)), "stripes.png")
    options = Options(separation="paired", changer=changer)
    request = BandRequest("stripes", technique_named("slip-colours"), options, drawing, (Yarn("sea"), Yarn("foam")))
    plan = compile_plan("stripes", bed, bed.centred(4), [request])
    words, arrays = kept(plan)
    same(plan, restored(words, arrays, bed.name, bed.source))


@given(shaped_plans())
@settings(max_examples=20)
def test_what_is_done_by_hand_is_kept_with_the_plan(plan: Plan) -> None:
    words, arrays = kept(plan)
    same(plan, restored(words, arrays, plan.profile.name, plan.profile.source))


def test_each_pass_is_one_durable_transaction(path: Path) -> None:
    with Journal.open(path) as journal:
        settings = {name: journal._db.execute(f"PRAGMA {name}").fetchone()[0] for name in
                    ("journal_mode", "synchronous")}  # fmt: skip
        assert settings == {"journal_mode": "wal", "synchronous": 2}
        said: list[str] = []
        journal._db.set_trace_callback(said.append)
        journal.passed(report(1), True)
        assert [line for line in said if line in ("BEGIN IMMEDIATE", "COMMIT")] == ["BEGIN IMMEDIATE", "COMMIT"]


def test_what_was_written_is_there_after_the_program_died(path: Path, tmp_path: Path) -> None:
    journal = Journal.open(path)
    journal.begin(INFO, 9)
    for number in range(1, 6):
        journal.passed(report(number), True)
    # As the disk holds it now, without the program having closed anything.
    for ending in ("", "-wal"):
        (tmp_path / f"copy.latchline{ending}").write_bytes(path.with_name(path.name + ending).read_bytes())
    journal.close()
    with Journal.open(tmp_path / "copy.latchline") as copy:
        assert copy.known == Known(5, False, 77, 3, 9, run=copy.run)
        assert [entry.number for entry in copy.entries()] == [1, 2, 3, 4, 5]
        assert copy.entries()[2].report == report(3)
        assert [record.boots for record in copy.pass_records()] == [3] * 5


def test_a_torn_write_costs_only_the_pass_that_was_being_written(path: Path, tmp_path: Path) -> None:
    """The write-ahead file cut at every length: always a whole number of passes, never fewer than at the cut before."""
    journal = Journal.open(path)
    journal.begin(INFO, 9)
    for number in range(1, 4):
        journal.passed(report(number), True)
    main, wal = path.read_bytes(), path.with_name(path.name + "-wal").read_bytes()
    journal.close()
    found = []
    for length in (*range(0, len(wal), 509), len(wal)):
        torn = tmp_path / "torn.latchline"
        torn.write_bytes(main)
        torn.with_name("torn.latchline-wal").write_bytes(wal[:length])
        with Journal.open(torn) as copy:
            assert len(copy.entries()) == copy.known.done
            found.append(copy.known.done)
    assert found == sorted(found)
    assert set(found) == {0, 1, 2, 3}


def test_a_second_run_on_the_same_journal_is_refused(path: Path) -> None:
    with Journal.open(path), pytest.raises(JournalError) as refused:
        Journal.open(path)
    assert refused.value.sentence() == (
        f"{path}: another run is using this journal; end that one first, or choose another journal."
    )


def test_a_journal_never_takes_the_place_of_another(path: Path) -> None:
    with pytest.raises(JournalError, match="of that name already; resume that one, or choose another name"):
        Journal.create(path, PLAN)
    assert sorted(item.name for item in path.parent.iterdir()) == ["piece.latchline"]


def test_stepping_back_keeps_what_was_undone_and_says_so(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.begin(INFO, 9)
        for number in (1, 2, 3):
            journal.passed(report(number), True)
        journal.stepping(1)
        assert journal.known.back == 1
        journal.settled(1, 12, "stepped back by 2")
        journal.passed(report(2), True)
        assert [(entry.number, entry.undone) for entry in journal.entries()] == [
            (1, False), (2, True), (3, True), (2, False),
        ]  # fmt: skip
        assert journal.known == Known(2, True, 77, 3, 12, run=journal.run)
        assert [remark.kind for remark in journal.remarks()] == ["step back", "settled"]


def test_passes_that_only_the_board_counted_are_written_down_without_a_report(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.settled(3, None, "the board was restarted")
        assert [(entry.number, entry.report, entry.as_planned) for entry in journal.entries()] == [
            (number, None, None) for number in (1, 2, 3)
        ]
        assert journal.pass_records() == []


@pytest.mark.parametrize("content", [b"", b"no database at all, only some text in a file of that name" * 40])
def test_a_file_that_is_no_journal_gets_one_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "letter.latchline"
    path.write_bytes(content)
    with pytest.raises(JournalError) as refused:
        Journal.open(path)
    assert "journal" in refused.value.what
    assert "piece file" in refused.value.hint
    assert refused.value.where == str(path)
    assert path.read_bytes() == content


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.latchline"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE birds (name)")
    other.close()
    with pytest.raises(JournalError, match="this file is no Latchline journal"):
        Journal.open(path)


def knit_on(journal: Journal) -> None:
    for number in range(1, 1000):
        journal.passed(report(number), True)


def test_a_full_disk_is_one_sentence_and_the_count_stays(path: Path) -> None:
    with Journal.open(path) as journal:
        pages = journal._db.execute("PRAGMA page_count").fetchone()[0]
        journal._db.execute(f"PRAGMA max_page_count={pages}")
        with pytest.raises(JournalError, match="the journal cannot be used") as refused:
            knit_on(journal)
        assert "is the disk full" in refused.value.hint
        assert journal.known.done == len(journal.entries()) > 0
        journal._db.execute("PRAGMA max_page_count=100000")
        journal.passed(report(journal.known.done + 1), True)
        assert journal.known.done == len(journal.entries())


def test_a_damaged_plan_is_said_to_be_damaged(path: Path) -> None:
    with Journal.open(path) as journal:
        journal._db.execute("UPDATE piece SET arrays = substr(arrays, 1, 200)")
        with pytest.raises(JournalError, match="the plan in the journal is damaged"):
            journal.plan()


def test_the_unfinished_piece_last_worked_on_is_found_first(tmp_path: Path) -> None:
    names = ("first", "second", "third")
    for at_s, name in enumerate(names):
        Journal.create(tmp_path / f"{name}.latchline", PLAN, now=partial(float, 1000 + at_s)).close()
    with Journal.open(tmp_path / "third.latchline") as journal:
        journal.finish()
    with Journal.open(tmp_path / "first.latchline", now=lambda: 2000.0) as journal:
        journal.event("note", "a knot")
    assert [path.stem for path in unfinished(tmp_path)] == ["first", "second"]
    assert unfinished(tmp_path, fingerprint=1) == []
    assert unfinished(tmp_path / "nowhere") == []


def test_an_unfinished_piece_in_use_is_not_offered_but_named(tmp_path: Path) -> None:
    path = new_path(tmp_path, PLAN, 0.0)
    with Journal.create(path, PLAN), pytest.raises(JournalError, match="another run is using this journal"):
        unfinished(tmp_path)


def lasting(path: Path) -> dict[str, bytes]:
    """The journal's files as a kill would leave them."""
    names = (path.name + ending for ending in ("", *SIDE_FILES))
    return {name: path.with_name(name).read_bytes() for name in names if path.with_name(name).exists()}


def test_what_a_deleted_journal_leaves_beside_itself_does_not_get_into_the_next_one(path: Path) -> None:
    """Killed while knitting, then only the file itself deleted, then another piece to the same name."""
    journal = Journal.open(path)
    journal.begin(INFO, 9)
    for number in (1, 2, 3):
        journal.passed(report(number), True)
    files = lasting(path)
    journal.close()
    path.unlink()
    for name, data in files.items():
        if name != path.name:
            path.with_name(name).write_bytes(data)
    other = small_plan(20, technique="tuck")
    with Journal.create(path, other) as fresh:
        assert (fresh.known.done, fresh.fingerprint, fresh.entries()) == (0, other.fingerprint, [])
        same(other, fresh.plan())


def test_a_journal_into_which_another_ones_leavings_were_played_is_refused(path: Path, tmp_path: Path) -> None:
    """An old copy put in place by hand, beside the side files of the journal that was there."""
    second = tmp_path / "second.latchline"
    Journal.create(second, PLAN).close()
    journal = Journal.open(path)
    journal.begin(INFO, 9)
    journal.passed(report(1), True)
    files = lasting(path)
    journal.close()
    mixed = tmp_path / "mixed.latchline"
    mixed.write_bytes(second.read_bytes())
    mixed.with_name("mixed.latchline-wal").write_bytes(files["piece.latchline-wal"])
    with pytest.raises(JournalError, match="damaged"):
        Journal.open(mixed)


def test_each_journal_is_a_run_of_its_own(path: Path, tmp_path: Path) -> None:
    with Journal.open(path) as one, Journal.create(tmp_path / "again.latchline", PLAN) as other:
        assert one.fingerprint == other.fingerprint
        assert one.run != other.run
        assert 1 <= one.run < 2**32
        assert one.known.run == one.run


def old_form(path: Path) -> None:
    """Turn a journal into one of form 1, as earlier programs wrote it."""
    with closing(sqlite3.connect(path)) as db, db:
        for table, column in (("piece", "run"), ("piece", "sum"), ("state", "run"), ("pass", "run")):
            db.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
        db.execute("PRAGMA user_version=1")


def test_a_journal_of_an_earlier_form_can_be_read_and_gone_on_with(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.begin(INFO, 9)
        journal.passed(report(1), True)
    old_form(path)
    with Journal.read(path) as old:
        assert (old.known.done, old.known.run) == (1, 0)
    with Journal.open(path) as old:
        old.passed(report(2), True)
        same(PLAN, old.plan())
    with Journal.open(path) as again:
        assert again.known == Known(2, False, 77, 3, 9)


def test_a_journal_can_be_read_while_a_run_writes_to_it_and_neither_waits(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.begin(INFO, 9)
        journal.passed(report(1), True)
        with Journal.read(path) as reading:
            reading._db.execute("BEGIN")
            assert reading.known.done == 1
            assert len(reading.entries()) == 1
            journal.passed(report(2), True)
            reading._db.execute("ROLLBACK")
        with Journal.read(path) as reading:
            assert [entry.number for entry in reading.entries()] == [1, 2]
        with pytest.raises(JournalError), Journal.read(path) as reading:
            reading.passed(report(3), True)
        journal.passed(report(3), True)


def test_reading_a_journal_at_rest_leaves_nothing_beside_it(path: Path) -> None:
    with Journal.read(path) as reading:
        assert reading.known.done == 0
    assert [item.name for item in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("how", ["deleted", "replaced"])
def test_a_journal_whose_file_is_taken_away_is_noticed_at_the_next_pass(path: Path, how: str) -> None:
    with Journal.open(path) as journal:
        journal.passed(report(1), True)
        path.unlink()
        if how == "replaced":
            Journal.create(path.with_name("other.latchline"), PLAN).close()
            path.with_name("other.latchline").rename(path)
        with pytest.raises(JournalError, match="the journal's file is not where it was"):
            journal.passed(report(2), True)
        assert journal.known.done == 1


def test_a_journal_kept_elsewhere_is_found_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    path = tmp_path / "mine.journal"
    Journal.create(path, PLAN).close()
    remember(path)
    remember(path)
    assert journals() == unfinished() == [path]
    path.unlink()
    assert journals() == []


def test_a_journal_from_a_clock_that_ran_ahead_does_not_win(tmp_path: Path) -> None:
    for name, at_s in (("ahead", time.time() + 1e6), ("real", time.time() - 60)):
        with Journal.create(tmp_path / f"{name}.latchline", PLAN, now=partial(float, at_s)) as journal:
            journal.begin(INFO, 9)
            journal.passed(report(1), True)
    assert [path.stem for path in unfinished(tmp_path)] == ["real", "ahead"]


def test_a_journal_of_which_something_is_knitted_goes_before_one_that_was_left_at_once(tmp_path: Path) -> None:
    for name, passes in (("knitted", 1), ("left", 0)):
        with Journal.create(tmp_path / f"{name}.latchline", PLAN) as journal:
            for number in range(1, passes + 1):
                journal.passed(report(number), True)
    assert unfinished(tmp_path)[0].stem == "knitted"


def everything_of(journal: Journal) -> None:
    journal.plan()
    journal.source()
    journal.entries()
    journal.pass_records()
    journal.remarks()
    journal.last_s()


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_a_damaged_journal_is_read_or_refused_with_a_sentence(data: st.DataObject) -> None:
    """Bits flipped, stretches blanked or cut off, anywhere in the file."""
    damaged = bytearray(_whole())
    for _ in range(data.draw(st.integers(1, 8))):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    if data.draw(st.booleans()):
        at = data.draw(st.integers(0, len(damaged) - 1))
        damaged[at : at + 512] = bytes(len(damaged[at : at + 512]))
    if data.draw(st.booleans()):
        del damaged[data.draw(st.integers(0, len(damaged))) :]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "damaged.latchline"
        for how in (Journal.read, Journal.open):
            path.write_bytes(damaged)
            try:
                with how(path) as journal:
                    everything_of(journal)
            except LatchlineError:
                continue


@functools.cache
def _whole() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "whole.latchline"
        with Journal.create(path, PLAN, source_name="piece.toml", source="name = 'x'\n") as journal:
            journal.begin(INFO, 9)
            for number in range(1, 9):
                journal.passed(report(number), True)
            journal.event("note", "a knot")
        return path.read_bytes()
