"""Everything that Latchline can complain of, in one small tree.

    LatchlineError                 one sentence: what, where, what to do; exit status 2
    ├── InputError                 a file, key or option that cannot be used
    │   ├── ChartError             a drawing that cannot be read or does not fit
    │   ├── ProfileError           a machine profile that cannot be used
    │   └── PieceError             a piece file that cannot be used
    ├── KnittingError              the work found fault; exit status 1
    │   ├── NotKnittable           the plan cannot be knitted as it stands
    │   └── Mismatch               what was selected differs from the plan
    ├── LinkError                  the board or the line to it; exit status 1
    │   ├── PortError              no such port, no permission, in use, unplugged; exit status 2
    │   ├── NotABoard              something answers, but not our protocol
    │   ├── WrongVersion           a board with another protocol version
    │   ├── Silent                 nothing answers in time
    │   └── BoardFault             the board named a fault; carries its number, needle and pass
    └── JournalError               the journal cannot be read or written; exit status 1
        └── JournalInUse           another run holds it

Lower-layer exceptions (OSError, UnicodeDecodeError, serial.SerialException, tomllib's, PIL's, csv's,
sqlite3's) are turned into one of these where they arise; `tests/test_errors.py` holds the list. Those
that may arise anywhere (a standard output that is full, a lack of memory) are said by `cli.main`.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Self

from latchline.mend import PIECE_FILE, Mend, Tongue

if TYPE_CHECKING:
    from pathlib import Path  # `latchline --help` is quicker without

# what would break the line, colour the terminal or fail to print, as a file's name or a text in it may hold
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")


class LatchlineError(Exception):
    """Base of the tree.

    what: the fault in one clause, without a full stop.
    where: file, row, column, key, needle or pass, as a reader would look for it.
    key: the option that it is about, as `plan/options.py` names it; empty where it is about none.
    hint: what to do about it, one clause; mends: the same as data, for what is done with an option or a task.
    name: which complaint it is, for programs that tell it from others of its class; most have none.
    """

    exit_status = 2

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        key: str = "",
        hint: str = "",
        mends: Sequence[Mend] = (),
        name: str = "",
    ) -> None:
        self.what = what
        self.where = where
        self.key = key
        self.hint = hint
        self.mends = tuple(mends)
        self.name = name
        super().__init__(self.sentence())

    def sentence(self, tongue: Tongue = PIECE_FILE) -> str:
        """The whole complaint as one line: `where: what; hint.`

        tongue: how the reader writes options and tasks. An option is the place where there is no better one.
        """
        where = self.where or tongue.option(self.key)
        text = f"{where}: {self.what}" if where else self.what
        if hint := tongue.hint(self.hint, self.mends):
            text = f"{text}; {hint}"
        text = _UNPRINTABLE.sub(" ", text)
        return text if text.endswith((".", "?", "!")) else text + "."

    def at(self, where: str = "", *, key: str = "") -> Self:
        """The same complaint with another place, for whoever knows better where it is about."""
        error = copy.copy(self)
        error.where, error.key = where, key or self.key
        error.args = (error.sentence(),)
        return error


class InputError(LatchlineError):
    """A file, key or option that cannot be used."""


class ChartError(InputError):
    """A drawing that cannot be read or does not fit."""


class ProfileError(InputError):
    """A machine profile that cannot be used."""


class PieceError(InputError):
    """A piece file that cannot be used."""


class KnittingError(LatchlineError):
    """The work found fault."""

    exit_status = 1


class NotKnittable(KnittingError):
    """The plan cannot be knitted as it stands."""


class Mismatch(KnittingError):
    """What was selected differs from the plan."""


class LinkError(LatchlineError):
    """The board, or the line to it."""

    exit_status = 1


class PortError(LinkError):
    """No such port, no permission, in use, or unplugged."""

    exit_status = 2


class NotABoard(LinkError):
    """Something answers on the port, but it does not speak our protocol."""


class WrongVersion(LinkError):
    """A board with another protocol version."""


class Silent(LinkError):
    """Nothing answers in time."""


class BoardFault(LinkError):
    """The board named a fault. Numbers are those of `docs/protocol.md`."""

    def __init__(
        self,
        what: str,
        *,
        number: int,
        needle: str = "",
        pass_number: int = 0,
        where: str = "",
        key: str = "",
        hint: str = "",
        mends: Sequence[Mend] = (),
        name: str = "",
    ) -> None:
        self.number = number
        self.needle = needle
        self.pass_number = pass_number
        super().__init__(what, where=where, key=key, hint=hint, mends=mends, name=name)


class JournalError(LatchlineError):
    """The journal cannot be read or written."""

    exit_status = 1


class JournalInUse(JournalError):
    """Another run holds the journal."""


def file_trouble(
    path: str | Path, error: OSError | ValueError, kind: type[LatchlineError] = InputError
) -> LatchlineError:
    """What opening, reading or writing a file raised as one of ours, in words that need no errno.

    A ValueError is what Python raises for a name that no file can have, such as one with a NUL in it.
    """
    match error:
        case ValueError():
            return kind("this is no name of a file", where=str(path), hint="check the name and the folder")
        case FileNotFoundError():
            return kind("there is no such file", where=str(path), hint="check the name and the folder")
        case IsADirectoryError():
            return kind("this is a folder, not a file", where=str(path), hint="name a file in it")
        case PermissionError():
            hint = "check the permissions of file and folder"
            return kind("this may not be opened or written", where=str(path), hint=hint)
    return kind(f"the file cannot be used ({getattr(error, 'strerror', None) or error})", where=str(path))
