"""What a board says and when: frames that are due, the transmitter, lamp and buzzer (docs/protocol.md, section 10)."""

from __future__ import annotations

from latchline.link import messages
from latchline.link.messages import (
    BedTaken,
    BoardInfo,
    Checkpoint,
    Counts,
    Done,
    Fault,
    Message,
    Probed,
    Refused,
    Status,
)
from latchline.sim.face import BYTE_US

NEVER_MS = 1 << 50
STATUS_SOONEST_MS, STATUS_MS, DONE_AGAIN_MS, FAULT_AGAIN_MS, HEARD_MS = 20, 250, 200, 1000, 2000

# In which order due kinds of frame are sent.
SENDING_ORDER = (BoardInfo, BedTaken, Refused, Fault, Done, Probed, Checkpoint, Counts, Status)


class Speech:
    """The transmitter and what is due on it. A due kind without a message says what holds when it is sent."""

    def __init__(self) -> None:
        self.frames: list[tuple[int, bytes]] = []
        self.start(0)

    def start(self, at_us: int) -> None:
        """The board starts: a frame that was being sent is cut short."""
        if self.frames:
            began, data = self.frames.pop()
            if at_us >= began:
                self.frames.append((began, data[: (at_us - began) // BYTE_US + 1]))
        self.due: dict[type[Message], Message | None] = {}
        self.free_us = at_us
        self.status_sent: tuple[int, ...] = ()
        self._sent_ms = {Status: -10_000, Done: -10_000, Fault: -10_000}
        self.greeted = self.refusing = False
        self.heard_ms = 0
        self.buzz_until_ms = 0

    def taken(self) -> list[tuple[int, bytes]]:
        frames, self.frames = self.frames, []
        return frames

    def make_due(self, ms: int, status: tuple[int, ...], unseen: Done | None, fault: bool) -> None:
        """What a beat makes due."""
        since = ms - self._sent_ms[Status]
        changed = status != self.status_sent and since >= STATUS_SOONEST_MS
        if changed or (self.greeted and since >= STATUS_MS and ms - self.heard_ms <= HEARD_MS):
            self.due[Status] = None
        if unseen and ms - self._sent_ms[Done] >= DONE_AGAIN_MS and Done not in self.due:
            self.due[Done] = unseen
        if fault and ms - self._sent_ms[Fault] >= FAULT_AGAIN_MS:
            self.due[Fault] = None

    def beat_of_word(self) -> int:
        """The beat of the next regular STATUS, if nothing else is said before."""
        beat = self._sent_ms[Status] + STATUS_MS
        return beat if self.greeted and beat - self.heard_ms <= HEARD_MS else NEVER_MS

    def beat_of_interest(self, status: tuple[int, ...], unseen: bool, fault: bool) -> int:
        """The next beat that may make something due, but for a regular STATUS; one too early does no harm."""
        beat = NEVER_MS
        if Status not in self.due and status != self.status_sent:
            beat = self._sent_ms[Status] + STATUS_SOONEST_MS
        if unseen and Done not in self.due:
            beat = min(beat, self._sent_ms[Done] + DONE_AGAIN_MS)
        if fault and Fault not in self.due:
            beat = min(beat, self._sent_ms[Fault] + FAULT_AGAIN_MS)
        return beat

    def next_due(self) -> tuple[type[Message], Message | None]:
        """Take the first kind that is due, and its message if it has one already."""
        kind = next(kind for kind in SENDING_ORDER if kind in self.due)
        return kind, self.due.pop(kind)

    def send(self, message: Message, now_us: int, ms: int) -> None:
        if type(message) in self._sent_ms:
            self._sent_ms[type(message)] = ms
        data = messages.to_wire(message)
        self.frames.append((now_us + BYTE_US, data))
        self.free_us = now_us + len(data) * BYTE_US


def beeps(fault: bool, waiting: bool, under_way: bool, at_rest: bool) -> list[tuple[int, int]]:
    """Period and time on, in ms, of each pattern that the buzzer has to sound.

    waiting: the carriage could be knitting, but for the coming pass.
    """
    found = [(500, 100)] if fault else []
    if at_rest if under_way else waiting:
        found.append((1000, 50))
    return found
