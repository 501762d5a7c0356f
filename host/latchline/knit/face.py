"""What a screen or a page needs of a session, with a board or without."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator

from latchline.knit.events import Event, Numbered, Question, Reply, Wish
from latchline.knit.record import Record
from latchline.knit.talk import Talk


class Face(ABC):
    """A session to step through, to wish of and to answer. over: it has ended."""

    over = False
    _talk: Talk
    _record: Record

    @abstractmethod
    def step(self) -> list[Event]:
        """Go on a little; what has happened since the last step."""

    def run(self) -> Iterator[Event]:
        """Step to the end."""
        while not self.over:
            yield from self.step()

    def wish(self, wish: Wish) -> int:
        """Ask for something; what becomes of it is told under the serial returned. Any thread may call this."""
        return self._talk.wish(wish)

    def answer(self, serial: int, reply: Reply) -> None:
        """Answer the question of that serial; refused by an event if it stands no more. Any thread may call this."""
        self._talk.answer(serial, reply)

    def since(self, number: int) -> list[Numbered]:
        """The events told after number `number`, as far back as they are kept. Any thread may call this."""
        return self._talk.since(number)

    @property
    def question(self) -> Question | None:
        return self._talk.question

    @property
    def done(self) -> int:
        """Passes knitted, in all sessions of the piece."""
        return self._record.known.done
