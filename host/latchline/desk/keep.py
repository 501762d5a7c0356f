"""Save and open: between the folder's files and the open piece."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import numpy as np

from latchline.chart.model import Chart, Colour
from latchline.chart.read import parse_chart
from latchline.chart.write import chart_png, chart_text
from latchline.desk.document import FILES, Document, Drawn, Sources, State, files_in
from latchline.desk.folder import CHARTS, PIECE, Folder
from latchline.errors import InputError, PieceError
from latchline.files import file_name, write_whole
from latchline.piece import write as written
from latchline.tables import decode_text, read_text

EMPTY_STITCHES, EMPTY_ROWS = 24, 24
EMPTY_PALETTE = (Colour(0xF4, 0xEA, 0xD8, "cream"), Colour(0x1F, 0x3A, 0x5F, "navy"))


def open_file(folder: Folder, name: str) -> Document:
    """A piece or a chart of the folder. Raises InputError."""
    path = folder.file(name)
    if path.suffix.lower() == PIECE:
        return Document(Sources(folder, path.parent), State(read_text(path, PieceError)), name, kept=True)
    _require_chart(name)
    sources = Sources(folder)
    sources.read(name, None, None) if path.suffix.lower() in (".txt", ".csv") else None
    return Document(sources, State(written.chart_piece(Path(name).stem, name)))


def open_given(folder: Folder, name: str, data: bytes) -> Document:
    """A file that was dropped onto the page; it is in the folder once it is saved. Raises InputError."""
    name = _plain(name)
    if name.lower().endswith(PIECE):
        return Document(Sources(folder), State(decode_text(data, name, PieceError)))
    _require_chart(name)
    parse_chart(data, name, colours=16)
    return Document(Sources(folder, given={name: data}), State(written.chart_piece(Path(name).stem, name)))


def example_names() -> list[str]:
    return sorted(item.name for item in (files("latchline") / "examples").iterdir() if item.name.endswith(PIECE))


def open_example(folder: Folder, name: str) -> Document:
    """A packaged example with what it names; nothing is written before it is saved. Raises InputError."""
    if name not in example_names():
        raise InputError(f'no example is called "{name[:80]}"', hint="there are: " + ", ".join(example_names()))
    packaged = files("latchline") / "examples"
    given = {item.name: item.read_bytes() for item in packaged.iterdir() if not item.name.endswith(PIECE)}
    return Document(Sources(folder, given=given), State(packaged.joinpath(name).read_text(encoding="utf-8")))


def open_empty(folder: Folder, name: str, stitches: int, rows: int, machine: str) -> Document:
    """An empty chart on as many needles as it is wide. Raises InputError."""
    if min(stitches, rows) < 1:
        raise InputError("a chart has one stitch and one row at least", hint="name a larger size")
    profile = folder.profile(machine)
    needles = profile.span_name(profile.centred(stitches))
    chart = f"{file_name(name)}.txt"
    cells = np.zeros((min(rows, 10_000), stitches), np.uint8)
    state = State(
        written.empty_piece(name, machine, needles, chart),
        {chart: Drawn.of(cells, EMPTY_PALETTE)},
        frozenset({chart}),
    )
    return Document(Sources(folder), state)


def drawn_document(folder: Folder, name: str, chart: Chart, machine: str) -> Document:
    """A drawing that was made of a photograph, as a piece of its own."""
    profile = folder.profile(machine)
    span = profile.centred(min(chart.stitches, profile.needles))
    file = f"{file_name(name)}.txt"
    text = written.empty_piece(name, machine, profile.span_name(span), file)
    return Document(Sources(folder), State(text, {file: Drawn.of(chart.cells, chart.palette)}, frozenset({file})))


def save(folder: Folder, document: Document, name: str, *, replace: bool = False) -> list[str]:
    """Write the piece and what no file of the folder holds of its drawings; the names written.

    A drawing keeps its kind of file where that holds it as it is, and becomes a text chart otherwise. It is
    written over a file only where that is this piece's own; where another's would be lost, it gets a fresh name.
    replace: whether other files of these names may be written over. Raises InputError.
    """
    name = name if name.lower().endswith(PIECE) else name + PIECE
    path = folder.file(name)
    if name != document.file and path.exists() and not replace:
        raise InputError("there is a file of that name", where=name, hint="choose another name, or say to replace it")
    state, sources = document.state, document.sources
    own = document.own_files if name == document.file else frozenset()
    writing: dict[str, bytes] = {}
    text, drawings = state.text, dict(state.drawings)

    def free(target: str, data: bytes) -> bool:
        """Whether nothing is lost by writing this there."""
        file = folder.file(str(Path(name).parent / target))
        if target in writing or file == path:
            return False
        return target in own or replace or not file.exists() or _holds(file, data)

    for chart in sorted(files_in(text)):
        if chart in state.edited and chart in drawings:
            kind, data = _as_file(drawings[chart].chart(chart), chart)
        elif chart in sources.given:
            kind, data = Path(chart).suffix, sources.given[chart]
        else:
            continue
        target = _target(chart if _can_hold(folder, name, chart) else _plain(chart), kind, data, free)
        if target != chart:
            text = _renamed(text, chart, target)
            if chart in drawings:
                drawings[target] = drawings.pop(chart)
        writing[target] = data
    for target, data in writing.items():
        write_whole(folder.file(str(Path(name).parent / target)), data)
    write_whole(path, text)
    sources.folder = path.parent
    sources.given.clear()
    document.now_kept(State(text, drawings, frozenset()), name)
    return [name, *writing]


def _as_file(chart: Chart, name: str) -> tuple[str, bytes]:
    """The ending and the bytes of a file that gives this drawing back, cell for cell and colour for colour."""
    if name.lower().endswith(".png"):
        data = chart_png(chart)
        read = parse_chart(data, name)
        same = [one.hex for one in read.palette] == [one.hex for one in chart.palette]
        if same and np.array_equal(read.cells, chart.cells):
            return Path(name).suffix, data
    return Path(name).suffix if name.lower().endswith(".txt") else ".txt", chart_text(chart).encode()


def _target(chart: str, ending: str, data: bytes, free: Callable[[str, bytes], bool]) -> str:
    """The chart's own name with this ending, or the next one with a number under which nothing is lost."""
    stem = Path(chart).with_suffix("").as_posix()
    names = (f"{stem}{f'-{number}' if number else ''}{ending}" for number in range(1000))
    found = next((each for each in names if free(each, data)), None)
    if found is None:
        raise InputError("no name is left for this drawing", where=chart, hint="clear the folder up")
    return found


def _can_hold(folder: Folder, piece: str, chart: str) -> bool:
    """Whether a chart that this piece names can be written where it says; it may lie outside the folder."""
    try:
        folder.file(str(Path(piece).parent / chart))
    except InputError:
        return False
    return True


def _holds(file: Path, data: bytes) -> bool:
    try:
        return file.stat().st_size == len(data) and file.read_bytes() == data
    except OSError:
        return False


def _renamed(text: str, chart: str, target: str) -> str:
    for number, band in enumerate(written.bands_of(text)):
        renamed = {key: target for key in FILES if band.get(key) == chart}
        if renamed:
            text = written.set_in_band(text, number, renamed)
    return text


def _plain(name: str) -> str:
    """The name of a file from elsewhere, without any folder."""
    last = Path(name.replace("\\", "/").rsplit("/", 1)[-1])
    return last.stem[:80] + last.suffix[:10] or "chart"


def _require_chart(name: str) -> None:
    if Path(name).suffix.lower() not in CHARTS:
        raise InputError(
            "this is no piece and no chart",
            where=name,
            hint="pieces end in .toml, charts in " + ", ".join(CHARTS) + "; a photograph goes by its own button",
        )
