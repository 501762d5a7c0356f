"""Everything that one run of the desk holds."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from latchline.desk.folder import Folder
from latchline.desk.guard import Keys
from latchline.desk.live import Pages
from latchline.desk.work import Worker
from latchline.errors import InputError

if TYPE_CHECKING:
    from latchline.desk.document import Document
    from latchline.desk.knitting import Knitting
    from latchline.desk.serve import Address

Given = dict[str, Any]


@dataclass(frozen=True)
class File:
    """An answer that is no JSON. kind: its media type."""

    content: bytes
    kind: str


Answer = dict[str, Any] | File


class Desk:
    """One open piece, the pages that show it, and who may."""

    def __init__(self, source: Path | None, keys: Keys, address: Address) -> None:
        self.folder, self.first = Folder.of(source)
        self.keys = keys
        self.address = address
        self.worker = Worker("piece")
        self.pages = Pages(keys, self.greeting)
        self.document: Document | None = None
        self.knitting: Knitting | None = None

    def greeting(self) -> list[dict[str, Any]]:
        """What a page is told when it comes."""
        serial = 0 if self.document is None else self.document.serial
        told = [{"kind": "welcome", "run": self.keys.run, "serial": serial}]
        return told if self.knitting is None else [*told, self.knitting.shown]

    def opened(self) -> Document:
        """The open piece. Raises InputError when there is none."""
        if self.document is None:
            raise InputError("no piece is open", hint="open one, or start an empty one")
        return self.document

    def at_work(self) -> Knitting:
        """The knitting under way. Raises InputError when there is none."""
        if self.knitting is None or self.knitting.over:
            raise InputError("nothing is being knitted", hint="begin or go on with a piece")
        return self.knitting

    def free(self) -> None:
        """Raises InputError while something is being knitted."""
        if self.knitting is not None and not self.knitting.over:
            raise InputError("a piece is being knitted at this desk", hint="finish or stop it first")

    def show(self, document: Document) -> None:
        """Put another piece on the desk; the serial goes on, so that every page notices."""
        if self.document is not None:
            document.serial = self.document.serial + 1
        self.document = document

    def close(self) -> None:
        """Put to rest what is under way."""
        if self.knitting is not None and not self.knitting.over:
            self.knitting.leave()
