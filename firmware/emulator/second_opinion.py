"""Has a second, independent emulator count cycles too: `make -C firmware second-opinion`.

The same image, the same bytes at the same cycles and the same pass of 200 needles at 1 m/s, under simavr (with
this project's models around it) and under avr8js. Every latching of the shift register must say the same, and
as long after its edge, to within a few cycles. Exit status 0 if it does, 1 if not, 2 without node or avr8js.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))

from firmware.motion import CYCLES_A_US, FINGERPRINT, Bench, edge_cycles, widest

from boards.chip import ChipBoard
from latchline.link.messages import PROTOCOL, Greet, Pass, PlanStart, to_wire

HERE = Path(__file__).parent
BUILD = HERE.parent / "build"
FEW_CYCLES = 6
BYTE_CYCLES = 640
SETTLE = 640_000


def script() -> tuple[list[tuple[int, str, int]], int]:
    """What is said, byte by byte, and how the carriage goes, by cycles since the reset."""
    bed = widest()
    bench = Bench(bed, passes=0)  # for its lines and pins only
    mask = sum(1 << needle for needle in range(0, bed.needles, 2)).to_bytes(32, "little")
    plan = PlanStart(FINGERPRINT, 1, 9, bench.left_line, bench.right_line, 0, bed.needles - 1)
    events: list[tuple[int, str, int]] = []
    cycle = SETTLE
    for message in (Greet(PROTOCOL, 7), bed, plan, Pass(FINGERPRINT, 1, 1, mask)):
        for byte in b"\0" + to_wire(message):
            cycle += BYTE_CYCLES
            events.append((cycle, "byte", byte))
        cycle += 5 * BYTE_CYCLES * 10
    at = cycle + 100_000.0
    for begin, end in ((20, bed.left_sensor - 4), (bed.left_sensor - 4, bench.right_line + 3)):
        way = 1 if end > begin else -1
        for place in range(begin + way, end + way, way):
            at += edge_cycles(bed, 4.5, 1.0)
            events.append((int(at), "pins", int(bench.pins(np.array([place]))[0])))
        at += 50_000
    return events, int(at) + 100_000


def first_opinion(events: list[tuple[int, str, int]], end: int) -> tuple[list[tuple[int, int]], list[int]]:
    board = ChipBoard(chosen=None)
    board.power(0, 1)
    applied = []
    for cycle, kind, value in events:
        if kind == "byte":
            board.receive(cycle // CYCLES_A_US, bytes((value,)))
        else:
            applied += board.edges_at(np.array([cycle]), np.array([value], np.uint8)).tolist()
    board.run_to_cycle(end)
    cycles, coils = board.latches()
    return list(zip(cycles.tolist(), coils.tolist(), strict=True)), applied


def second_opinion(events: list[tuple[int, str, int]], end: int) -> tuple[list[tuple[int, int]], list[int]]:
    told = {"hex": (BUILD / "latchline.hex").read_text(), "end": end, "events": events}
    done = subprocess.run(
        ["node", str(HERE / "second_opinion.mjs"), str(BUILD)], input=json.dumps(told), capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if done.returncode:
        raise SystemExit(done.stderr)
    answer = json.loads(done.stdout)
    return [(cycle, value) for cycle, value in answer["latches"]], answer["applied"]


def latencies(latches: list[tuple[int, int]], applied: list[int]) -> tuple[list[int], list[int]]:
    """What was latched from the first edge on, and how long after the edge before it."""
    switched = [(cycle, value) for cycle, value in latches if cycle >= applied[0]]
    edges = np.array(applied)
    after = [cycle - int(edges[np.searchsorted(edges, cycle, side="right") - 1]) for cycle, _ in switched]
    return [value for _, value in switched], after


def main() -> int:
    if not shutil.which("node") or not (BUILD / "node_modules" / "avr8js").is_dir():
        print("There is no node, or no avr8js: see `make -C firmware second-opinion`.", file=sys.stderr)
        return 2
    events, end = script()
    values, after = latencies(*first_opinion(events, end))
    other_values, other_after = latencies(*second_opinion(events, end))
    print(f"{len(values)} and {len(other_values)} latchings")
    if values != other_values:
        print("They latched different values.")
        return 1
    off = np.array(other_after) - np.array(after)
    print(f"cycles from edge to latch: simavr {np.median(after):.0f} (median), {max(after)} (worst)")
    print(f"                           avr8js {np.median(other_after):.0f} (median), {max(other_after)} (worst)")
    print(f"difference: {off.min()} to {off.max()} cycles, median {np.median(off):.0f}")
    return 0 if abs(np.median(off)) <= FEW_CYCLES else 1


if __name__ == "__main__":
    raise SystemExit(main())
