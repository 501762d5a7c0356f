"""What `import latchline` hands on: one function for each thing that one wants of a piece.

The two faces, the command line and the desk, call these, too. Names are verbs where a room bears
the noun, so that `latchline.sheet` stays the room.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from latchline.checks.find import can_be_knitted, findings
from latchline.checks.model import Finding
from latchline.errors import InputError, LatchlineError, NotKnittable
from latchline.fabric import yarn_need as need
from latchline.fabric.loops import pass_yarns
from latchline.mend import Mend
from latchline.piece import measure
from latchline.piece.model import Piece
from latchline.plan.model import Plan
from latchline.shaping.gauge import Gauge

if TYPE_CHECKING:
    from latchline.dry_run import DryRun
    from latchline.knit.session import Session
    from latchline.knit.talk import Operator

FABRIC_FORMS = ("png", "svg")
CHART_FORMS = ("pdf", "png", "svg")
SHEET_FORMS = ("md", "html", "pdf")

Passes = tuple[int, int]


def check(piece: Piece, *, mends: bool = True) -> tuple[Finding, ...]:
    """What should be looked at or mended before the piece is knitted, the worst first.

    mends: with the ways out, each of them tried. Raises InputError where its charts and options make no plan.
    """
    return findings(piece.plan(), piece.limits, mends=mends)


def require_knittable(piece: Piece) -> None:
    """Raises NotKnittable with the worst finding, where one must be mended first."""
    found = check(piece, mends=False)
    if not can_be_knitted(found):
        mends = [Mend("knit it all the same", "regardless"), Mend("see all of it", task="check")]
        raise NotKnittable(found[0].what.rstrip("."), where=piece.name, mends=mends)


@contextmanager
def begin(
    piece: Piece,
    port: str = "auto",
    *,
    journal: str | Path | None = None,
    operator: Operator | None = None,
    waits_at_bands: bool = True,
    regardless: bool = False,
    caution: Callable[[str], None] = lambda text: None,
) -> Iterator[Session]:
    """A session on a port, which is closed at the end, and its journal with it.

    Whoever begins it steps it: `while not session.over: session.step()`; the events, the questions and how
    to answer them are in `latchline.knit`.
    port: as /dev/ttyUSB0 or sim://standard-200; `auto` for the one on USB. journal: where it is kept; None
        chooses. operator: answers the questions without a face, such as `latchline.knit.talk.GoesOn()`.
    waits_at_bands: whether the first pass of a band is held back until somebody has said go on.
    regardless: knit even what `check` says must be mended first. caution: is told each caution, the
        first time that a real port is used.
    Raises NotKnittable, InputError, PortError and, while it is stepped, LinkError and JournalError.
    """
    from latchline.connect import connect, session_on
    from latchline.knit.journal import Journal
    from latchline.knit.journals import journal_folder, new_path

    plan = piece.plan()
    if not regardless:
        require_knittable(piece)
    with closing(connect(port, plan.profile, caution=caution)) as line:
        path = Path(journal) if journal is not None else new_path(journal_folder(), plan, time.time())
        with Journal.create(path, plan, source_name=piece.file, port=str(line.port)) as kept:
            yield session_on(line, plan, operator=operator, record=kept, waits_at_bands=waits_at_bands)


def gauge_of(piece: Piece) -> Gauge:
    """The best gauge that there is: of the piece's swatch, else from its yarns, else from the needle pitch."""
    return measure.gauge_of(piece.profile, pass_yarns(piece.plan()).yarns, piece.swatch)


def yarn_need(piece: Piece, margin: need.Margin | None = None) -> need.YarnNeed:
    """Metres and grams of each yarn, by band and in all, with a margin."""
    return need.yarn_need(piece.plan(), piece.swatch, margin)


def draw_fabric(
    piece: Piece,
    form: str = "png",
    *,
    side: str = "knit",
    passes: Passes | None = None,
    gauge: Gauge | None = None,
    stitch_px: int | None = None,
) -> bytes:
    """A picture of the fabric, as the bytes of a file.

    form: `png` or `svg`. side: `knit` or `purl`. passes: first and last, from 1; None draws all.
    stitch_px: width of a stitch of a PNG, 4 to 64; None chooses. Raises InputError, also when the
    picture would be too large.
    """
    from latchline.preview.picture import draw_fabric as draw
    from latchline.preview.picture import fabric_svg

    _require(form, FABRIC_FORMS)
    plan, gauge = piece.plan(), gauge or gauge_of(piece)
    first, last = _passes(plan, passes)
    if form == "svg":
        return fabric_svg(plan, side, gauge, first=first, last=last).encode()
    out = io.BytesIO()
    draw(plan, side, gauge, stitch_px=stitch_px, first=first, last=last).save(out, "PNG", compress_level=4)
    return out.getvalue()


def draw_working_chart(
    piece: Piece, form: str = "pdf", *, passes: Passes | None = None, gauge: Gauge | None = None
) -> bytes:
    """The working chart, to hang at the machine and knit from: pages as `pdf`, one drawing as `png` or `svg`.

    Raises InputError, also when it would be too long.
    """
    from latchline.drawing.pdf import scenes_pdf
    from latchline.drawing.png import scene_png
    from latchline.drawing.svg import scene_svg
    from latchline.working_chart.page import chart_pages, chart_scene

    _require(form, CHART_FORMS)
    plan, gauge = piece.plan(), gauge or gauge_of(piece)
    first, last = _passes(plan, passes)
    if form == "pdf":
        return scenes_pdf(chart_pages(plan, gauge, first, last), f"working chart: {plan.name}")
    scene = chart_scene(plan, gauge, first, last)
    return scene_svg(scene).encode() if form == "svg" else scene_png(scene)


def draw_outline(piece: Piece, form: str = "svg", *, gauge: Gauge | None = None) -> bytes:
    """The finished piece's outline with its measures, rows and needles: `pdf`, `png` or `svg`. Raises InputError."""
    from latchline.drawing.pdf import scenes_pdf
    from latchline.drawing.png import scene_png
    from latchline.drawing.svg import scene_svg
    from latchline.preview.outline import outline_scene

    _require(form, CHART_FORMS)
    scene = outline_scene(piece.plan(), gauge or gauge_of(piece))
    if form == "pdf":
        return scenes_pdf([scene], scene.title)
    return scene_svg(scene).encode() if form == "svg" else scene_png(scene)


def write_sheet(piece: Piece, form: str = "md", *, handout: bool = False) -> bytes:
    """The set-up sheet: needles, levers, yarns, turn marks, cautions; as `md`, `html` or `pdf`. Raises InputError.

    handout: instead the page that a teacher gives to a class.
    """
    from latchline.sheet.handout import make_handout
    from latchline.sheet.make import make_sheet
    from latchline.sheet.write import sheet_html, sheet_markdown, sheet_pdf

    _require(form, SHEET_FORMS)
    sheet = (make_handout if handout else make_sheet)(piece, piece.plan())
    if form == "pdf":
        return sheet_pdf(sheet)
    return (sheet_html(sheet) if form == "html" else sheet_markdown(sheet)).encode()


def knit_dry(
    piece: Piece,
    *,
    seed: int = 1,
    pace: float | None = None,
    faults: Sequence[str] = (),
    trace: str = "",
    progress: Callable[[int], None] = lambda done: None,
) -> DryRun:
    """Knit on the simulator and compare every needle of every pass with the plan.

    pace: rows a minute of the simulated hand. faults: as `flip:0.0001`; `docs/reference/simulator.md` lists
    them. trace: a VCD file for every signal. progress: told the number of each pass done.
    Raises InputError, LinkError and its children, and KnittingError when nothing goes on.
    """
    from latchline.dry_run import address_of, dry_run

    plan = piece.plan()
    return dry_run(plan, address_of(plan, seed=seed, pace=pace, faults=faults, trace=trace), progress)


def sentence(error: LatchlineError) -> str:
    """An error as one sentence: where, what, what to do; options are called as a piece file calls them."""
    return error.sentence()


def _require(form: str, accepted: Sequence[str]) -> None:
    if form not in accepted:
        raise InputError(f'"{form}" is no format that can be written here', hint="accepted: " + ", ".join(accepted))


def _passes(plan: Plan, asked: Passes | None) -> Passes:
    first, last = asked or (1, plan.passes)
    if not 1 <= first <= last <= plan.passes:
        raise InputError(f"passes {first}-{last} are not in the plan", hint=f"it has passes 1 to {plan.passes}")
    return first, last
