"""The open piece: its file's text and the drawings that it names, and every state that they had.

A state is never changed; an edit makes the next one. So going back and forth costs nothing and has no
end, and what is known of a state (its plan, its findings) stays true.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from latchline.chart.model import Cells, Chart, Colour
from latchline.chart.read import read_chart
from latchline.errors import InputError, LatchlineError
from latchline.piece.file import Beside, piece_in
from latchline.piece.model import Piece
from latchline.plan.model import Plan
from latchline.tables import Table


@dataclass(frozen=True)
class Drawn:
    """A drawing as rows of bytes, bottom row first: two states share the rows in which they do not differ."""

    rows: tuple[bytes, ...]
    palette: tuple[Colour, ...]

    @classmethod
    def of(cls, cells: Cells, palette: tuple[Colour, ...], before: Drawn | None = None) -> Drawn:
        known = {} if before is None else {row: row for row in before.rows}
        rows = (np.ascontiguousarray(row).tobytes() for row in cells)
        return cls(tuple(known.get(row, row) for row in rows), palette)

    @property
    def stitches(self) -> int:
        return len(self.rows[0])

    def cells(self) -> Cells:
        return np.frombuffer(b"".join(self.rows), dtype=np.uint8).reshape(len(self.rows), -1)

    def chart(self, name: str) -> Chart:
        return Chart(self.cells(), self.palette, name)


@dataclass(frozen=True)
class State:
    """text: of the piece file. drawings: those that the piece names and that could be read, by their names."""

    text: str
    drawings: Mapping[str, Drawn] = field(default_factory=dict)


class Looked:
    """What is known of a state, worked out when it is first asked for."""

    def __init__(self, state: State, folder: Path, file: str) -> None:
        self.state = state
        self._folder = folder
        self._file = file

    @cached_property
    def piece(self) -> Piece:
        """Raises InputError."""
        table = Table.parse(self.state.text, file=self._file or "piece", kind=InputError)
        held = {name: drawn.chart(name) for name, drawn in self.state.drawings.items()}
        return piece_in(table, Beside(self._folder, held), Path(self._file or "piece").stem)

    @cached_property
    def plan(self) -> Plan:
        """Raises InputError."""
        return self.piece.plan()

    @cached_property
    def trouble(self) -> LatchlineError | None:
        """Why there is no plan; None when there is one."""
        try:
            _ = self.plan
        except LatchlineError as error:
            return error
        return None


class Document:
    """The states of one piece. file: its name in the folder, empty while it has none.

    serial: counts every change of what is shown, going back included. A page that shows an older one knows it.
    """

    def __init__(self, folder: Path, state: State, file: str = "") -> None:
        self.folder = folder
        self.file = file
        self.serial = 1
        self._states = [state]
        self._at = 0
        self._kept: State | None = state if file else None
        self._looked: Looked | None = None

    @property
    def state(self) -> State:
        return self._states[self._at]

    @property
    def looked(self) -> Looked:
        if self._looked is None or self._looked.state is not self.state:
            self._looked = Looked(self.state, self.folder, self.file)
        return self._looked

    @property
    def can_undo(self) -> bool:
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        return self._at + 1 < len(self._states)

    @property
    def kept(self) -> bool:
        """Whether the files hold what is shown."""
        return self._kept is self.state

    def change(self, edit: Callable[[State], State]) -> None:
        """Make the next state; nothing happens when the edit raises, or changes nothing."""
        state = edit(self.state)
        if state == self.state:
            return
        del self._states[self._at + 1 :]
        self._states.append(state)
        self._at += 1
        self.serial += 1

    def undo(self) -> None:
        if self.can_undo:
            self._at -= 1
            self.serial += 1

    def redo(self) -> None:
        if self.can_redo:
            self._at += 1
            self.serial += 1

    def now_kept(self, state: State, file: str) -> None:
        """The files hold this state, which is put in the place of the one shown: what saving renamed is renamed."""
        self._states[self._at] = state
        self._kept = state
        self.file = file
        self._looked = None
        self.serial += 1


def with_drawing(state: State, name: str, drawn: Drawn) -> State:
    return replace(state, drawings={**state.drawings, name: drawn})


def read_drawing(path: Path, name: str, colours: int | None, background: str | None) -> Drawn:
    """A chart file as it is drawn on. Raises ChartError."""
    chart = read_chart(path, colours=colours, background=background)
    return Drawn.of(chart.cells, tuple(replace(colour) for colour in chart.palette))
