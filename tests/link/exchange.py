"""The worked exchange of docs/protocol.md, played on the model board: one short plan, one pass of it.

Run as a program it prints the lines of the page.
"""

from __future__ import annotations

import numpy as np

from latchline.link.frames import Gatherer
from latchline.link.messages import (
    PROTOCOL,
    BedTaken,
    BoardInfo,
    Done,
    Greet,
    Message,
    Pass,
    PlanStart,
    Seen,
    Status,
    from_wire,
    to_wire,
)
from latchline.link.setup import bed_message
from latchline.machine.needles import Span
from latchline.machine.profile import load_profile
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import POWER_ON

PROFILE = load_profile("standard-200")
NEEDLES = Span(98, 101)
FINGERPRINT = 0xC0FFEE01
EDGE_US = 1250  # 0.9 m/s
PERIOD = (0, 1, 3, 2)  # (A, B) = 00, 10, 11, 01 rightward, A in bit 0


def play() -> list[tuple[str, bytes]]:
    """Everything said, in order, as (who, frame with its zero)."""
    board = ModelBoard(chosen=0x5EA51DE5)
    board.power(0, POWER_ON)
    said: list[tuple[str, bytes]] = []
    gatherer = Gatherer()
    now = 1000

    def listen(until: int) -> None:
        nonlocal now
        now = until
        board.run(now)
        for _, data in board.sent():
            said.extend(("board", frame + b"\0") for frame in gatherer.feed(data) if frame is not None)

    def say(data: bytes) -> None:
        said.append(("host", data))
        board.receive(now + 40, data)
        listen(now + 40 * len(data) + 10_000)

    listen(10_000)
    said.clear()
    say(b"\0")
    say(to_wire(Greet(PROTOCOL, 0x0BADCAFE)))
    say(to_wire(bed_message(PROFILE)))
    left, right = PROFILE.turn_lines(NEEDLES)
    say(to_wire(PlanStart(FINGERPRINT, 1, 2, left, right, NEEDLES.first, NEEDLES.last)))
    mask = bytes.fromhex("00" * 12 + "24" + "00" * 19)  # needles 98 and 101, which are L2 and R2
    say(to_wire(Pass(FINGERPRINT, 1, 0, mask)))
    # From beyond the needles out to the right end sensor, and back leftward past the left line.
    start, far, end = right + 10, PROFILE.right_sensor_edge, left - 2
    places = [*range(start, far + 3), *range(far + 1, end, -1)]
    pins = np.array([PERIOD[p % 4] | 4 | (0 if p >= far else 8) for p in places], dtype=np.uint8)
    times = now + EDGE_US * np.arange(1, len(places) + 1, dtype=np.int64)
    for at in range(0, len(places), 40):
        board.edges(times[at : at + 40], pins[at : at + 40])
        listen(int(times[min(at + 39, len(places) - 1)]))
    listen(now + 30_000)
    say(to_wire(Seen(FINGERPRINT, 1)))
    return said


WORTH_SHOWING = (BoardInfo, BedTaken, Done)


def shown() -> list[tuple[str, bytes, Message | None]]:
    """What the page shows: all that the host says; of the board what answers it, and the status after it."""
    lines: list[tuple[str, bytes, Message | None]] = []
    wanted = False
    for who, frame in play():
        message = from_wire(frame[:-1]) if len(frame) > 1 else None
        if who == "host":
            wanted = isinstance(message, PlanStart | Pass | Seen)
            lines.append((who, frame, message))
        elif isinstance(message, WORTH_SHOWING):
            lines.append((who, frame, message))
        elif wanted and isinstance(message, Status):
            lines.append((who, frame, message))
            wanted = False
    return lines


def page_lines() -> str:
    text = []
    for who, frame, message in shown():
        text.append(f"{who:<5} {type(message).__name__ if message else '(a zero)'}")
        hexes = frame.hex(" ")
        text += ["      " + hexes[at : at + 96].rstrip() for at in range(0, len(hexes), 96)]
    return "\n".join(text)


if __name__ == "__main__":
    print(page_lines())
