"""A board to try `latchline knit --port` on without a board: `make emulate`.

The firmware runs on an emulated chip behind a pseudo-terminal, and a simulated hand moves the carriage whenever
the ready lamp is lit. Time is that of the wall, as far as the emulator keeps up.
"""

from __future__ import annotations

import argparse
import os
import select
import sys
import termios
import time
import tty
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))

from boards import chip, native
from latchline.errors import LatchlineError
from latchline.machine.profile import load_profile
from latchline.sim.carriage import Hand
from latchline.sim.face import Analog, Board
from latchline.sim.world import World

STEP_S = 0.02
MEMORY_BYTES = 1024


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="An emulated board behind a pseudo-terminal, with a simulated hand.")
    parser.add_argument("--profile", default="standard-200", help="machine profile, by name or file")
    parser.add_argument(
        "--board", choices=("chip", "native"), default="chip", help="the image of the chip, or the core"
    )
    parser.add_argument("--pace", type=float, default=30.0, help="rows a minute of the simulated hand")
    parser.add_argument("--seed", type=int, default=0, help="the same seed gives the same hand")
    parser.add_argument("--memory", type=Path, help="file in which the board's memory outlives this program")
    return parser.parse_args()


def make_world(chosen: argparse.Namespace) -> World:
    def make_board(analog: Analog) -> Board:
        return chip.ChipBoard(analog=analog) if chosen.board == "chip" else native.NativeBoard(analog=analog)

    kept = chosen.memory.read_bytes() if chosen.memory and chosen.memory.exists() else None
    if kept is not None and len(kept) != MEMORY_BYTES:
        raise SystemExit(
            f"{chosen.memory}: this is no board's memory; name a new file, or one of {MEMORY_BYTES} bytes."
        )
    profile = load_profile(chosen.profile)
    return World(profile, seed=chosen.seed, hand=Hand(rows_per_minute=chosen.pace), make_board=make_board, memory=kept)


def serve(world: World, terminal: int, memory: Path | None) -> None:
    """Until interrupted: bytes to and fro, and the world's time kept up with the wall's."""
    began = time.monotonic()
    waiting = b""
    while True:
        readable, writable, _ = select.select([terminal], [terminal] if waiting else [], [], STEP_S)
        if readable:
            world.write(os.read(terminal, 4096))
        world.run_until(int((time.monotonic() - began) * 1e6))
        waiting += world.read(1 << 16)
        if writable and waiting:
            waiting = waiting[os.write(terminal, waiting[:4096]) :]
        waiting = waiting[-65536:]
        if memory is not None:
            memory.write_bytes(world.board.memory)


def main() -> int:
    chosen = options()
    lacking = chip.missing() if chosen.board == "chip" else native.missing()
    if lacking:
        print(f"There is no {lacking}; docs/how-to/build-the-firmware.md names the packages.", file=sys.stderr)
        return 2
    try:
        world = make_world(chosen)
    except LatchlineError as error:
        print(error.sentence(), file=sys.stderr)
        return error.exit_status
    terminal, other = os.openpty()
    tty.setraw(other, termios.TCSANOW)
    name = os.ttyname(other)
    print(f"The board is at {name}. In another terminal:", flush=True)
    print(f"  latchline doctor --port {name}", flush=True)
    print(f"  latchline knit YOUR-PIECE.toml --port {name}", flush=True)
    print("End it with Ctrl-C.", flush=True)
    try:
        serve(world, terminal, chosen.memory)
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    raise SystemExit(main())
