"""The cable pulled after every byte of a session, and the power cut at every pass boundary and within passes.

The quick tests take a share of the bytes and instants; the long run takes them all and prints its counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import pytest
from faults.trial import Trial
from knit.rig import small_plan

PASSES = 4
PLAN = small_plan(PASSES)


def bytes_of_a_session(folder: Path) -> int:
    trial = Trial(folder, seed=3, plan=PLAN)
    trial.unplug_from_the_start(1 << 30)
    wire = None
    while trial.counts["pieces"] == 0:
        trial.run(0.1)
        wire = trial.wire or wire
    assert wire is not None
    return wire.sent_bytes


def pull_at_each(folder: Path, instants: Iterable[int]) -> Counter[str]:
    """The same session each time, the cable pulled after so many bytes; then it is put back."""
    counts: Counter[str] = Counter()
    for number, after in enumerate(instants):
        trial = Trial(folder, seed=3, plan=PLAN, first_name=number)
        trial.unplug_from_the_start(after)
        while not trial.counts["PortError"]:
            trial.run(0.1)
        trial.finish()
        counts["cables pulled"] += 1
        counts["asked which row"] += trial.counts["asked row"]
        counts["passes"] += PASSES
        for name in ("faults", "Silent", "NotABoard"):
            counts[name] += trial.counts[name]
    return counts


def cut_at_each(folder: Path, instants_s: Iterable[float], *, cable: bool) -> Counter[str]:
    """The same session each time, the power cut at that moment, for a fifth of a second."""
    counts: Counter[str] = Counter()
    for number, at_s in enumerate(instants_s):
        trial = Trial(folder, seed=3, plan=PLAN, first_name=number)
        trial.run(at_s)
        if trial.counts["pieces"]:
            break
        within = trial.bench.motion is not None and trial.bench.motion.knits != 0
        before = trial.counts["asked row"]
        trial.cut_power(0.2, cable=cable)
        trial.finish()
        counts["cuts within a pass" if within else "cuts between passes"] += 1
        counts["asked which row" if trial.counts["asked row"] > before else "resumed without a question"] += 1
        trial.drop()
    return counts


def test_a_cable_pulled_after_any_byte_costs_no_pass_and_asks_nothing(quick_folder: Path) -> None:
    total = bytes_of_a_session(quick_folder / "whole")
    counts = pull_at_each(quick_folder / "pulled", range(0, total, 61))
    assert counts["cables pulled"] == len(range(0, total, 61))
    assert counts["asked which row"] == 0  # the board went on, and told everything


@pytest.mark.slow
@pytest.mark.parametrize("cable", [False, True])
def test_a_power_cut_at_any_moment_resumes_at_the_right_pass_or_asks_for_it(quick_folder: Path, cable: bool) -> None:
    counts = cut_at_each(quick_folder, (0.003 + n * 0.05 for n in range(1000)), cable=cable)
    assert counts["cuts within a pass"] >= 10
    assert counts["cuts between passes"] >= 5


@pytest.mark.long
def test_every_byte_and_every_five_milliseconds(quick_folder: Path) -> None:
    total = bytes_of_a_session(quick_folder / "whole")
    counts = pull_at_each(quick_folder / "pulled", range(total))
    print("\ncable:", ", ".join(f"{name} {count}" for name, count in sorted(counts.items())))
    for cable in (False, True):
        counts = cut_at_each(quick_folder / str(cable), (0.003 + n * 0.005 for n in range(10_000)), cable=cable)
        print(f"power{', cable too' if cable else ''}:", ", ".join(f"{k} {n}" for k, n in sorted(counts.items())))
