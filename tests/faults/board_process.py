"""A bench in a process of its own behind a pseudo-terminal, so that a board outlives the program that knits on it.

    python board_process.py ROWS SPEED SEED

Prints the terminal's name, then obeys lines on standard input, each answered by one line:
`look` (take down what is spoiled; tells the number of rows), `cut` (lose power and get it back),
`clear` (a new piece: tells how many rows there were, and how many were as planned), `end`.
Time goes SPEED times as fast as the clock.
"""

from __future__ import annotations

import contextlib
import os
import pty
import select
import sys
import time
import tty
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from knit.rig import Alone, Bench, small_plan

from latchline.sim.face import BYTE_US


def serve(rows: int, speed: float, seed: int) -> None:
    bench = Bench(small_plan(rows), seed=seed)
    knitter = Alone(bench)
    board_end, host_end = pty.openpty()
    tty.setraw(host_end)  # kept open, so that the terminal outlives the programs that use it
    os.set_blocking(board_end, False)
    print(os.ttyname(host_end), flush=True)
    began, began_us = time.monotonic(), bench.now_us
    while True:
        bench.advance(began_us + round((time.monotonic() - began) * 1e6 * speed))
        out = bytearray()
        while bench.coming and bench.coming[0][0] <= bench.now_us:
            out.append(bench.coming.popleft()[1])
        with contextlib.suppress(BlockingIOError):
            os.write(board_end, bytes(out))  # what nobody reads is lost, as on a real line
        ready, _, _ = select.select([board_end, sys.stdin], [], [], 0.002)
        if board_end in ready:
            data = os.read(board_end, 4096)
            bench.board.receive(bench.now_us + BYTE_US, data)
            bench.advance(bench.now_us + BYTE_US * (len(data) + 1))
        if sys.stdin in ready and not obey(sys.stdin.readline().strip(), bench, knitter):
            return


def obey(order: str, bench: Bench, knitter: Alone) -> bool:
    match order:
        case "look":
            bench.halt()
            bench.undo_spoiled()
            knitter.go_to_the_side()
            print(len(bench.rows), flush=True)
        case "cut":
            bench.cut_power()
            bench.advance(bench.now_us + bench.chance.randint(0, 300_000))
            bench.restore_power()
            print("cut", flush=True)
        case "clear":
            print(len(bench.rows), bench.good_rows(), flush=True)
            bench.rows.clear()
        case _:
            return False
    return True


if __name__ == "__main__":
    serve(int(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3]))
