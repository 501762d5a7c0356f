"""What the page may ask of the desk: a table of questions, each with the function that answers it.

All of them run on the desk's one worker, one after another. What they raise of ours is told to the page as
what, where, hint. `docs/reference/page.md` lists them.
"""

from __future__ import annotations

import base64
import binascii
import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from latchline.counted import counted
from latchline.desk.desk import Answer, Desk, File, Given
from latchline.errors import InputError

if TYPE_CHECKING:
    from latchline.desk.document import Document, Drawn

DIGITS = b"0123456789abcdef" + bytes(240)  # a cell each; a chart has 16 colours at most


def about(desk: Desk, given: Given) -> Answer:
    """What lies in the folder, and what can be chosen."""
    from latchline.desk.form import form
    from latchline.desk.keep import example_names
    from latchline.machine.profile import shipped_profiles

    if desk.document is None and desk.first:
        first, desk.first = desk.first, ""
        _open_first(desk, first)
    return {
        "folder": desk.folder.path.name,
        "files": desk.folder.files(),
        "examples": example_names(),
        "machines": list(shipped_profiles()),
        "form": form(),
        "sharing": {"address": desk.address.shared, "on": desk.keys.shared is not None},
        "open": desk.document is not None,
    }


def _open_first(desk: Desk, name: str) -> None:
    from latchline.desk.keep import open_file

    desk.show(open_file(desk.folder, name))


def open_piece(desk: Desk, given: Given) -> Answer:
    """Open a file of the folder, an example, a dropped file, or start an empty chart."""
    from latchline.desk import keep

    match given["what"]:
        case "file":
            document = keep.open_file(desk.folder, str(given["name"]))
        case "example":
            document = keep.open_example(desk.folder, str(given["name"]))
        case "given":
            document = keep.open_given(desk.folder, str(given["name"]), _decoded(given["content"]))
        case "empty":
            size = int(given["stitches"]), int(given["rows"])
            document = keep.open_empty(desk.folder, str(given["name"]), *size, str(given["machine"]))
        case other:
            raise ValueError(other)
    return _put_on(desk, document)


def _put_on(desk: Desk, document: Document) -> Answer:
    """Show another piece; one that cannot be shown does not take the place of the open one."""
    shown = _shown(document)
    desk.show(document)
    desk.pages.tell({"kind": "piece", "serial": document.serial})
    return shown | {"serial": document.serial}


def _decoded(content: Any) -> bytes:
    try:
        return base64.b64decode(content, validate=True)
    except binascii.Error:
        raise ValueError("content") from None


def piece(desk: Desk, given: Given) -> Answer:
    """The whole state of the open piece."""
    return _shown(desk.opened())


def edit(desk: Desk, given: Given) -> Answer:
    """One edit; the answer holds what has changed since the serial that the page shows."""
    from latchline.desk.edits import EDITS

    function = EDITS[given["edit"]]
    return _changed(desk, given, lambda document: document.change(lambda state: function(state, given)))


def undo(desk: Desk, given: Given) -> Answer:
    return _changed(desk, given, lambda document: document.undo())


def redo(desk: Desk, given: Given) -> Answer:
    return _changed(desk, given, lambda document: document.redo())


def _changed(desk: Desk, given: Given, change: Callable[[Document], None]) -> Answer:
    """What is not shown to the end for a fault of ours is not done at all: no page could take it back."""
    document = desk.opened()
    before = document.state.drawings if given.get("serial") == document.serial else {}
    with document.whole_or_not_at_all():
        change(document)
        shown = _shown(document, before)
    desk.pages.tell({"kind": "piece", "serial": document.serial})
    return shown


def save(desk: Desk, given: Given) -> Answer:
    from latchline.desk import keep

    document = desk.opened()
    written = keep.save(desk.folder, document, str(given["name"]), replace=given.get("replace") is True)
    desk.pages.tell({"kind": "piece", "serial": document.serial})
    return {"written": written, "piece": _shown(document)}


def _shown(document: Document, before: Any = None) -> dict[str, Any]:
    from latchline.desk.looks import size
    from latchline.piece.write import values_of

    state, trouble = document.state, document.looked.trouble
    values = values_of(state.text)
    name = values.get("name")
    return {
        "serial": document.serial,
        "file": document.file,
        "name": name if isinstance(name, str) else document.file.removesuffix(".toml") or "piece",
        "kept": document.kept,
        "can_undo": document.can_undo,
        "can_redo": document.can_redo,
        "values": values,
        "trouble": None
        if trouble is None
        else {"what": trouble.what, "where": trouble.where, "hint": trouble.hint, "key": trouble.key},
        "fabric": size(document.looked) if trouble is None else None,
        "drawings": {name: _drawing(drawn, (before or {}).get(name)) for name, drawn in state.drawings.items()},
    }


def _drawing(drawn: Drawn, before: Drawn | None) -> dict[str, Any]:
    """A drawing with all its rows, or, where the page has it in the same size, those that have changed."""
    same = before is not None and len(before.rows) == len(drawn.rows) and before.stitches == drawn.stitches
    changed = {
        number: row.translate(DIGITS).decode()
        for number, row in enumerate(drawn.rows)
        if not same or before is None or row != before.rows[number]
    }
    palette = [{"hex": colour.hex, "name": colour.name} for colour in drawn.palette]
    return {
        "rows": len(drawn.rows),
        "stitches": drawn.stitches,
        "palette": palette,
        "whole": not same,
        "changed": changed,
    }


def verdict(desk: Desk, given: Given) -> Answer:
    """What the checks say. The mends take longer, as each is tried: the page asks for them after the picture."""
    from latchline.desk.looks import verdict as looked_at

    document = desk.opened()
    return {"serial": document.serial} | looked_at(document.looked, mends=given.get("mends") == "tried")


def fabric(desk: Desk, given: Given) -> Answer:
    from latchline.desk.looks import fabric as drawn

    side, *figures = given["side"], *(int(given[key]) for key in ("stitch_px", "first", "last"))
    return File(drawn(desk.opened().looked, side, *figures), "image/png")


def slow_motion(desk: Desk, given: Given) -> Answer:
    """Some passes as the page shows them in slow motion."""
    from latchline.desk.slow_motion import slow_motion as shown

    document = desk.opened()
    return {"serial": document.serial} | shown(document.looked, int(given["first"]), int(given["last"]))


def sheet(desk: Desk, given: Given) -> Answer:
    from latchline.sheet.make import make_sheet
    from latchline.sheet.write import sheet_pdf

    looked = desk.opened().looked
    return File(sheet_pdf(make_sheet(looked.piece, looked.plan)), "application/pdf")


def working_chart(desk: Desk, given: Given) -> Answer:
    from latchline.desk.looks import gauge_in
    from latchline.drawing.pdf import scenes_pdf
    from latchline.working_chart.page import chart_pages

    looked = desk.opened().looked
    pages = chart_pages(looked.plan, gauge_in(looked))
    return File(scenes_pdf(pages, f"working chart: {looked.plan.name}"), "application/pdf")


def photograph(desk: Desk, given: Given) -> Answer:
    """Make a chart of a picture, and show it as a piece of its own."""
    from latchline.desk.keep import drawn_document
    from latchline.desk.photograph import chart_of
    from latchline.shaping.gauge import gauge_from_pitch

    machine, name = str(given["machine"]), str(given["name"])[:100]
    gauge = gauge_from_pitch(desk.folder.profile(machine).pitch_mm)
    width = float(given["width"])
    if not 1 <= width <= 1000:
        raise InputError(f"a width of {width:g} cannot be knitted", where=name, hint="accepted: 1 to 1000")
    if given["unit"] not in ("needles", "cm"):
        raise InputError(
            f'no width is measured in "{str(given["unit"])[:40]}"', where=name, hint="accepted: needles, cm"
        )
    needles = gauge.needles_for(width) if given["unit"] == "cm" else round(width)
    cut = [float(part) for part in given["crop"]]
    if len(cut) != 4:
        raise ValueError("crop")
    chart = chart_of(_decoded(given["content"]), name, cut, needles, int(given["colours"]), gauge)
    return _put_on(desk, drawn_document(desk.folder, Path(name).stem or "picture", chart, machine))


def share(desk: Desk, given: Given) -> Answer:
    """Give the tablet's address a new key, or take its key back; pages that came with the old one are closed."""
    from latchline.desk.share import WARNING, code_modules

    if not desk.address.shared:
        hint = "start it with --share and the address of this machine on your network"
        raise InputError("this desk is not shared", hint=hint)
    if desk.keys.shared is not None:
        desk.pages.revoke(desk.keys.shared)
    desk.keys.shared = desk.keys.fresh() if given["share"] is True else None
    if desk.keys.shared is None:
        return {"address": "", "code": [], "warning": ""}
    address = desk.address.shared_page(desk.keys.shared)
    return {"address": address, "code": code_modules(address), "warning": WARNING}


def knitting(desk: Desk, given: Given) -> Answer:
    """Where a piece may be knitted, and what was begun."""
    from serial.tools.list_ports import comports

    from latchline.desk.knitting import begun

    return {"ports": sorted(str(port.device) for port in comports()), "begun": begun()}


def begin(desk: Desk, given: Given) -> Answer:
    """Knit the open piece on a port."""
    from latchline.checks.find import can_be_knitted, findings
    from latchline.desk.knitting import begin as begun

    desk.free()
    document = desk.opened()
    looked = document.looked
    found = findings(looked.plan, looked.piece.limits, mends=False)
    desk.knitting = begun(
        looked.plan,
        (document.file, document.state.text),
        str(given["port"]) or "auto",
        desk.pages.tell,
        worst="" if can_be_knitted(found) or given.get("anyway") is True else found[0].what,
    )
    return {}


def resume(desk: Desk, given: Given) -> Answer:
    """Go on with a piece that was begun, by the name of its journal."""
    from latchline.desk.knitting import go_on

    desk.free()
    desk.knitting = go_on(_journal(given), str(given.get("port", "")), desk.pages.tell)
    return {}


def answer(desk: Desk, given: Given) -> Answer:
    desk.at_work().answer(given)
    return {}


def step(desk: Desk, given: Given) -> Answer:
    """Every device shows the same of the things that a question asks to be done."""
    desk.at_work().step(given)
    return {}


def wish(desk: Desk, given: Given) -> Answer:
    return {"serial": desk.at_work().wish(given)}


def sessions(desk: Desk, given: Given) -> Answer:
    """The journals, the one last written to first."""
    from latchline.knit.journals import SUFFIX, journals

    paths = sorted(journals(), key=lambda path: (-path.stat().st_mtime, path.name))
    found = [
        {
            "journal": str(path),
            "name": re.sub(r"-\d{8}-\d{6}$", "", path.name.removesuffix(SUFFIX)),
            "when": time.strftime("%Y-%m-%d %H:%M", time.localtime(path.stat().st_mtime)),
        }
        for path in paths[:200]
    ]
    return {"sessions": found}


def _journal(given: Given, key: str = "journal") -> Path:
    """The path of a journal that the page was told of; no other is opened."""
    from latchline.knit.journals import journals

    for path in journals():
        if str(path) == given[key]:
            return path
    raise InputError("there is no such journal", where=str(given[key])[:200], hint="look at the list again")


def timing(desk: Desk, given: Given) -> Answer:
    """One session in sentences; a board has measured it unless it was knitted by hand."""
    from latchline.knit.timings import hand_timing_of, timings_of
    from latchline.timing.by_hand import as_text
    from latchline.timing.listing import as_summary
    from latchline.timing.statistics import summarise

    path = _journal(given)
    by_hand = hand_timing_of(path)
    if by_hand is not None:
        return {"name": by_hand[0], "says": list(as_text(by_hand[1])), "measured": False}
    name, timings = timings_of(path)
    return {"name": name, "says": list(as_summary(summarise(timings))), "measured": True}


def timing_compared(desk: Desk, given: Given) -> Answer:
    """Two sessions, figure by figure."""
    from dataclasses import asdict

    from latchline.knit.timings import timings_of
    from latchline.timing.listing import compared
    from latchline.timing.statistics import compare

    (_, first), (_, second) = timings_of(_journal(given)), timings_of(_journal(given, "beside"))
    return {"figures": [asdict(one) for one in compared(compare(first, second))]}


def timing_picture(desk: Desk, given: Given) -> Answer:
    from latchline.knit.timings import timings_of
    from latchline.timing.picture import picture

    name, timings = timings_of(_journal(given))
    beside = timings_of(_journal(given, "beside"))[1] if given.get("beside") else []
    drawn = picture(timings, f"{name}: {counted(len(timings), 'pass')}", beside)
    return File(drawn.png(), "image/png")


@dataclass(frozen=True)
class Question:
    """method: of HTTP. owner: whether only the page of the printed address may ask.
    quick: answered at once, beside whatever the worker is at; must not touch the piece.
    """

    method: str
    function: Callable[[Desk, Given], Answer]
    owner: bool = False
    quick: bool = False


QUESTIONS: dict[str, Question] = {
    "/api/desk": Question("GET", about),
    "/api/open": Question("POST", open_piece),
    "/api/piece": Question("GET", piece),
    "/api/edit": Question("POST", edit),
    "/api/undo": Question("POST", undo),
    "/api/redo": Question("POST", redo),
    "/api/save": Question("POST", save),
    "/api/verdict": Question("GET", verdict),
    "/api/fabric": Question("GET", fabric),
    "/api/slow-motion": Question("GET", slow_motion),
    "/api/sheet": Question("GET", sheet),
    "/api/working-chart": Question("GET", working_chart),
    "/api/photograph": Question("POST", photograph),
    "/api/knit": Question("GET", knitting),
    "/api/knit/begin": Question("POST", begin),
    "/api/knit/resume": Question("POST", resume),
    "/api/knit/answer": Question("POST", answer, quick=True),
    "/api/knit/step": Question("POST", step, quick=True),
    "/api/knit/wish": Question("POST", wish, quick=True),
    "/api/timing/sessions": Question("GET", sessions),
    "/api/timing": Question("GET", timing),
    "/api/timing/compared": Question("GET", timing_compared),
    "/api/timing/picture": Question("GET", timing_picture),
    "/api/share": Question("POST", share, owner=True),
}
