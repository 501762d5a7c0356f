"""What the knitter types, without waiting for it: single keys on a terminal, whole lines from a pipe.

`parse` gives each entry its meaning; docs/how-to/knit.md lists the letters.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from types import TracebackType
from typing import Any

from latchline.knit.events import Answer, Kind, Note, Pause, PlainRows, Question, Reply, StepBack, Stop, Wish
from latchline.knit.talk import ROW_KINDS

AT_ONCE = "prs "  # these need no Enter
LONGEST_SEQUENCE = 200  # a string that no terminal would send
LINE_STARTS = "bn0123456789"
HELP = "space go on · p pause · r plain rows · b 2 back two passes · n … note · s stop"


def parse(entry: str, question: Question | None) -> Wish | Reply | str:
    """What an entry means: something wished, an answer to the question, or a sentence why it means nothing."""
    text = entry.strip()
    letter, rest = text[:1].lower(), text[1:].strip()
    if not text or (letter == "p" and question is not None and question.kind is Kind.PAUSED):
        if question is None:
            return "Nothing is asked just now."
        return "Type the number of the last whole pass." if question.kind is Kind.ROW else Answer.GO_ON
    if text.isdigit():
        return int(text) if question is not None and question.kind in ROW_KINDS else "No number is asked for just now."
    if text.lower() == "no" and question is not None and question.kind is Kind.SURE:
        return Answer.NO
    match letter:
        case "p" if not rest:
            return Pause()
        case "r" if not rest:
            return PlainRows()
        case "s" if not rest:
            return Stop()
        case "b" if rest.isdigit() or not rest:
            return StepBack(int(rest or 1))
        case "n" if rest and text.lower() != "no":
            return Note(rest)
    return f'"{text}" means nothing here: {HELP}'


class Typing:
    """Characters as they are typed, gathered into entries.

    A key that has no letter sends a control sequence (ECMA-48, section 5.4; function keys also SS3 and one
    letter, and one terminal ESC [ [ and one letter): those are swallowed whole, so that none of their
    letters is taken for a command. Escape alone takes back what was typed.
    """

    def __init__(self) -> None:
        self.so_far = ""
        self._sequence = ""  # of a control sequence, what has come of it; "" outside of one
        self._alone = False  # whether that is an Escape after which nothing came at once

    def feed(self, characters: str) -> Iterator[str]:
        if self._sequence == "\x1b":
            self.so_far = ""
            self._alone = True
        for character in characters:
            if self._swallows(character):
                continue
            if character in "\r\n":
                yield self.so_far
                self.so_far = ""
            elif character == "\x15":  # Control-U takes it back
                self.so_far = ""
            elif character in "\x7f\b":
                self.so_far = self.so_far[:-1]
            elif self.so_far:
                self.so_far += character if character.isprintable() else ""
            elif character.lower() in AT_ONCE:
                yield character
            elif character.lower() in LINE_STARTS:
                self.so_far = character

    def _swallows(self, character: str) -> bool:
        """Whether a character belongs to a control sequence."""
        if character in "\x1b\x9b\x8f":
            self._sequence = {"\x9b": "\x1b[", "\x8f": "\x1bO"}.get(character, "\x1b")
            self._alone = False
            return True
        if not self._sequence:
            return False
        alone, self._alone = self._alone, False
        if self._sequence == "\x1b" and alone and character not in "[O":
            self._sequence = ""  # Escape was pressed by itself a while ago
            return False
        self._sequence += character
        if _whole(self._sequence):
            self._sequence = ""
        return True


def _whole(sequence: str) -> bool:
    """Whether a control sequence has come to its end."""
    kind, last = sequence[1], sequence[-1]
    if kind == "[":
        linux = sequence.startswith("\x1b[[")
        return len(sequence) == 4 if linux else len(sequence) > 2 and "@" <= last <= "~"
    if kind == "O":
        return len(sequence) == 3
    if kind in "PX]^_":
        return last == "\x07" or last == "\\" or len(sequence) > LONGEST_SEQUENCE
    return True  # Escape and one letter, as Alt sends it


class Keys:
    """Standard input, read without waiting. `ended`: nothing will ever come."""

    def __init__(self) -> None:
        self.ended = False
        self.typing = Typing()
        self._handle: int | None = None
        self._before: Any = None
        self._lines = ""

    def __enter__(self) -> Keys:
        try:
            self._handle = sys.stdin.fileno()
        except (AttributeError, OSError, ValueError):
            self.ended = True
            return self
        if os.name == "posix" and os.isatty(self._handle):
            import termios
            import tty

            self._before = termios.tcgetattr(self._handle)
            tty.setcbreak(self._handle)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._before is not None:
            import termios

            before, self._before = self._before, None

            assert self._handle is not None
            with contextlib.suppress(termios.error):
                termios.tcsetattr(self._handle, termios.TCSADRAIN, before)

    def entries(self) -> list[str]:
        """What has been typed or sent since the last call."""
        characters = self._characters()
        if self._handle is not None and os.isatty(self._handle):
            return list(self.typing.feed(characters))
        *whole, self._lines = (self._lines + characters).split("\n")
        return whole

    def _characters(self) -> str:
        if self.ended or self._handle is None:
            return ""
        if os.name == "nt":
            return _windows_keys()
        import select

        if not select.select([self._handle], [], [], 0)[0]:
            return ""
        try:
            data = os.read(self._handle, 4096)
        except OSError:
            data = b""
        self.ended = not data
        return data.decode(errors="replace")


def _windows_keys() -> str:
    import msvcrt

    found: list[str] = []
    while msvcrt.kbhit():  # type: ignore[attr-defined]
        found.append(msvcrt.getwch())  # type: ignore[attr-defined]
    return "".join(found)
