"""The open piece: its file's text and the drawings that it names, and every state that they had.

A state is never changed; an edit makes the next one. So going back and forth costs nothing and has no
end, and what is known of a state (its plan, its findings) stays true.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from itertools import zip_longest
from pathlib import Path

import numpy as np

from latchline.chart.model import Cells, Chart, Colour
from latchline.chart.read import parse_chart, read_chart
from latchline.chart.write import chart_text
from latchline.desk.folder import Folder
from latchline.errors import InputError, LatchlineError, PieceError
from latchline.piece.file import Beside, piece_in
from latchline.piece.model import Piece
from latchline.piece.write import bands_of, is_plain
from latchline.plan.model import Plan
from latchline.tables import Table


@dataclass(frozen=True)
class Drawn:
    """A drawing as rows of bytes, bottom row first: two states share the rows in which they do not differ."""

    rows: tuple[bytes, ...]
    palette: tuple[Colour, ...]

    @classmethod
    def of(cls, cells: Cells, palette: tuple[Colour, ...], before: Drawn | None = None) -> Drawn:
        known = () if before is None else before.rows
        rows = [np.ascontiguousarray(row).tobytes() for row in cells]
        rows = [old if old == row else row for old, row in zip_longest(known, rows) if row is not None]
        return cls(tuple(rows), palette)

    @property
    def stitches(self) -> int:
        return len(self.rows[0])

    def cells(self) -> Cells:
        return np.frombuffer(b"".join(self.rows), dtype=np.uint8).reshape(len(self.rows), -1)

    def chart(self, name: str) -> Chart:
        return Chart(self.cells(), self.palette, name)


@dataclass(frozen=True)
class State:
    """text: of the piece file. drawings: those that it names, by their names. edited: those that no file holds."""

    text: str
    drawings: Mapping[str, Drawn] = field(default_factory=dict)
    edited: frozenset[str] = frozenset()


def with_drawing(state: State, name: str, drawn: Drawn) -> State:
    return State(state.text, {**state.drawings, name: drawn}, state.edited)


FILES = ("chart", "signs")  # keys of a band that name a file which belongs to the piece


def files_in(text: str) -> frozenset[str]:
    """The names of the charts and of the signs that the bands of a piece file name."""
    named = (band.get(key) for band in bands_of(text) for key in FILES)
    return frozenset(name for name in named if isinstance(name, str) and name)


class Sources:
    """Where the drawings of a piece come from: the opened folder, and files that it does not have (yet).

    folder: the piece's own, to which names are relative. given: contents by name, of examples and of what
    was dropped onto the page.
    """

    def __init__(self, home: Folder, folder: Path | None = None, given: Mapping[str, bytes] | None = None) -> None:
        self._home = home
        self.folder = home.path if folder is None else folder
        self.given = dict(given or {})

    def read(self, name: str, colours: int | None, background: str | None) -> Chart:
        """Raises InputError."""
        if name in self.given:
            return parse_chart(self.given[name], name, colours=colours, background=background)
        self._home.require(self.folder / name)
        return read_chart(self.folder / name, colours=colours, background=background)

    def beside(self, state: State) -> Beside:
        """What a piece in this state finds beside it."""
        held: dict[str, bytes | Chart] = dict(self.given)
        chosen = [band.get("chart") for band in bands_of(state.text) if "colours" in band or "background" in band]
        for name in state.edited & state.drawings.keys():
            chart = state.drawings[name].chart(name)
            held[name] = chart_text(chart).encode() if name in chosen else chart
        return Beside(self.folder, held, self._home.require)

    def drawn(self, state: State) -> State:
        """The state with every drawing that its text names and that can be read as it is."""
        drawings = dict(state.drawings)
        for band in bands_of(state.text):
            name = band.get("chart")
            if isinstance(name, str) and name not in drawings:
                try:
                    chart = self.read(name, band.get("colours"), band.get("background"))
                except (LatchlineError, TypeError):  # the piece's own complaint tells what is wrong
                    continue
                drawings[name] = Drawn.of(chart.cells, chart.palette)
        return State(state.text, drawings, state.edited)


class Looked:
    """What is known of a state, worked out when it is first asked for."""

    def __init__(self, state: State, sources: Sources, file: str) -> None:
        self.state = state
        self._sources = sources
        self._file = file

    @cached_property
    def piece(self) -> Piece:
        """Raises InputError."""
        table = Table.parse(self.state.text, file=self._file or "piece", kind=PieceError)
        return piece_in(table, self._sources.beside(self.state), Path(self._file or "piece").stem)

    @cached_property
    def plan(self) -> Plan:
        """Raises InputError."""
        return self.piece.plan()

    @cached_property
    def trouble(self) -> LatchlineError | None:
        """Why there is no plan; None when there is one."""
        try:
            _ = self.plan
        except InputError as error:
            return error
        return None


class Document:
    """The states of one piece. file: its name in the folder, empty while it has none.

    serial: counts every change of what is shown, going back included. A page that shows an older one knows it.
    """

    def __init__(self, sources: Sources, state: State, file: str = "", *, kept: bool = False) -> None:
        """Raises InputError for a state that no page can show."""
        self.sources = sources
        self.file = file
        self.serial = 1
        self._require_shown(state)
        self._states = [sources.drawn(state)]
        self._at = 0
        self._kept: State | None = self._states[0] if kept else None
        self._looked: Looked | None = None

    @property
    def state(self) -> State:
        return self._states[self._at]

    @property
    def looked(self) -> Looked:
        if self._looked is None or self._looked.state is not self.state:
            self._looked = Looked(self.state, self.sources, self.file)
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

    @property
    def own_files(self) -> frozenset[str]:
        """The files that its bands name as it was last kept; none while it has no file."""
        return frozenset() if self._kept is None else files_in(self._kept.text)

    def change(self, edit: Callable[[State], State]) -> None:
        """Make the next state; nothing happens when the edit raises, or changes nothing."""
        state = edit(self.state)
        self._require_shown(state)
        state = self.sources.drawn(state)
        if state == self.state:
            return
        del self._states[self._at + 1 :]
        self._states.append(state)
        self._at += 1
        self.serial += 1

    @contextmanager
    def whole_or_not_at_all(self) -> Iterator[None]:
        """What is done within is taken back when it raises, whatever it raises."""
        before = list(self._states), self._at, self._looked, self.serial
        try:
            yield
        except BaseException:
            self._states, self._at, self._looked, self.serial = before
            raise

    def _require_shown(self, state: State) -> None:
        """A page shows a piece with a fault in it, so that it can be mended there, but not what is no piece at all."""
        if not is_plain(state.text):
            unlike = PieceError(
                "this is no piece file", where=self.file, hint="docs/reference/piece-file.md lists its keys"
            )
            raise Looked(state, self.sources, self.file).trouble or unlike

    def undo(self) -> None:
        if self.can_undo:
            self._at -= 1
            self.serial += 1

    def redo(self) -> None:
        if self.can_redo:
            self._at += 1
            self.serial += 1

    def now_kept(self, state: State, file: str) -> None:
        """The files hold this state, which takes the place of the one shown: saving may have renamed a drawing."""
        self._states[self._at] = state
        self._kept = state
        self.file = file
        self._looked = None
        self.serial += 1
