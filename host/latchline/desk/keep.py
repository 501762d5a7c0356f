"""Save and open: between the folder's files and the open piece."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import numpy as np

from latchline.chart.model import Chart, Colour
from latchline.chart.read import parse_chart
from latchline.chart.write import chart_png, chart_text
from latchline.desk.document import Document, Drawn, Sources, State
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
        return Document(Sources(path.parent), State(read_text(path, PieceError)), name, kept=True)
    _require_chart(name)
    sources = Sources(folder.path)
    sources.read(name, None, None) if path.suffix.lower() in (".txt", ".csv") else None
    return Document(sources, State(written.chart_piece(Path(name).stem, name)))


def open_given(folder: Folder, name: str, data: bytes) -> Document:
    """A file that was dropped onto the page; it is in the folder once it is saved. Raises InputError."""
    name = _plain(name)
    if name.lower().endswith(PIECE):
        return Document(Sources(folder.path), State(decode_text(data, name, PieceError)))
    _require_chart(name)
    parse_chart(data, name, colours=16)
    return Document(Sources(folder.path, {name: data}), State(written.chart_piece(Path(name).stem, name)))


def example_names() -> list[str]:
    return sorted(item.name for item in (files("latchline") / "examples").iterdir() if item.name.endswith(PIECE))


def open_example(folder: Folder, name: str) -> Document:
    """A packaged example with its charts; nothing is written before it is saved. Raises InputError."""
    if name not in example_names():
        raise InputError(f'no example is called "{name[:80]}"', hint="there are: " + ", ".join(example_names()))
    packaged = files("latchline") / "examples"
    given = {item.name: item.read_bytes() for item in packaged.iterdir() if Path(item.name).suffix.lower() in CHARTS}
    return Document(Sources(folder.path, given), State(packaged.joinpath(name).read_text(encoding="utf-8")))


def open_empty(folder: Folder, name: str, stitches: int, rows: int, machine: str) -> Document:
    """An empty chart on as many needles as it is wide. Raises InputError."""
    from latchline.machine.profile import load_profile

    profile = load_profile(machine, beside=folder.path)
    needles = profile.span_name(profile.centred(stitches))
    chart = f"{file_name(name)}.txt"
    cells = np.zeros((max(1, min(rows, 10_000)), stitches), np.uint8)
    state = State(
        written.empty_piece(name, machine, needles, chart),
        {chart: Drawn.of(cells, EMPTY_PALETTE)},
        frozenset({chart}),
    )
    return Document(Sources(folder.path), state)


def drawn_document(folder: Folder, name: str, chart: Chart, machine: str) -> Document:
    """A drawing that was made of a photograph, as a piece of its own."""
    from latchline.machine.profile import load_profile

    profile = load_profile(machine, beside=folder.path)
    span = profile.centred(min(chart.stitches, profile.needles))
    file = f"{file_name(name)}.txt"
    text = written.empty_piece(name, machine, profile.span_name(span), file)
    return Document(Sources(folder.path), State(text, {file: Drawn.of(chart.cells, chart.palette)}, frozenset({file})))


def save(folder: Folder, document: Document, name: str, *, replace: bool = False) -> list[str]:
    """Write the piece and what no file of the folder holds of its drawings; the names written.

    A drawing keeps its kind of file where that holds it as it is, and becomes a text chart otherwise.
    replace: whether another file of that name may be written over. Raises InputError.
    """
    name = name if name.lower().endswith(PIECE) else name + PIECE
    path = folder.file(name)
    if name != document.file and path.exists() and not replace:
        raise InputError("there is a file of that name", where=name, hint="choose another name, or say to replace it")
    state, sources = document.state, document.sources
    writing: dict[str, bytes] = {}
    text, drawings = state.text, dict(state.drawings)
    named = {str(band.get("chart")) for band in written.values_of(text).get("bands", []) if band.get("chart")}
    for chart in sorted(named):
        if chart in state.edited and chart in drawings:
            target, data = _as_file(drawings[chart].chart(chart), chart, lambda free: not folder.file(free).exists())
            if target != chart:
                text = _renamed(text, chart, target)
                drawings[target] = drawings.pop(chart)
            writing[target] = data
        elif chart in sources.given:
            writing[chart] = sources.given[chart]
    for target, data in writing.items():
        write_whole(folder.file(str(Path(name).parent / target)), data)
    write_whole(path, text)
    sources.folder = path.parent
    sources.given.clear()
    document.now_kept(State(text, drawings, frozenset()), name)
    return [name, *writing]


def _as_file(chart: Chart, name: str, free: Callable[[str], bool]) -> tuple[str, bytes]:
    """The name and the bytes that give this drawing back, cell for cell and colour for colour."""
    if name.lower().endswith(".png"):
        data = chart_png(chart)
        read = parse_chart(data, name)
        same = [one.hex for one in read.palette] == [one.hex for one in chart.palette]
        if same and np.array_equal(read.cells, chart.cells):
            return name, data
    data = chart_text(chart).encode()
    if name.lower().endswith(".txt"):
        return name, data
    stem = Path(name).with_suffix("").as_posix()
    names = (f"{stem}{f'-{number}' if number else ''}.txt" for number in range(1000))
    return next(each for each in names if free(each)), data


def _renamed(text: str, chart: str, target: str) -> str:
    for number, band in enumerate(written.values_of(text).get("bands", [])):
        if band.get("chart") == chart:
            text = written.set_in_band(text, number, {"chart": target})
    return text


def _plain(name: str) -> str:
    """The name of a file from elsewhere, without any folder."""
    return name.replace("\\", "/").rsplit("/", 1)[-1][:100] or "chart"


def _require_chart(name: str) -> None:
    if Path(name).suffix.lower() not in CHARTS:
        raise InputError(
            "this is no piece and no chart",
            where=name,
            hint="pieces end in .toml, charts in " + ", ".join(CHARTS) + "; a photograph goes by its own button",
        )
