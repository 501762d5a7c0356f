"""Put a set-up sheet on paper: Markdown, HTML or PDF, several sections a page, in letters for arm's length."""

from __future__ import annotations

import io
from collections.abc import Sequence
from html import escape
from typing import Any

from latchline.drawing.pdf import POINTS_PER_MM, draw_on_canvas
from latchline.drawing.scene import Scene, plain_letters
from latchline.drawing.svg import scene_svg
from latchline.sheet.make import Block, Facts, Figure, Grid, Listed, Page, Sheet

MARGIN_MM = 14.0
BODY_POINTS, LARGE_POINTS = 11.5, 14.0
PAGE_POINTS = (210 - 2 * MARGIN_MM) * POINTS_PER_MM - 12  # less the frame's own padding
SHRUNK_MOST = 1.5  # letters of 11.5 points are 9 then, as both ways shrink
CREATED_FIXED = 1  # no time stamp in the file

STYLE = """
@page { size: A4; margin: 14mm; @bottom-right { content: "page " counter(page) " of " counter(pages) } }
body { font: 15px/1.35 Helvetica, Arial, sans-serif; color: #000; max-width: 190mm; margin: 0 auto; padding: 0 4mm }
section { break-inside: avoid; padding-top: 6mm }
section:first-child { break-after: page }
h1 { font-size: 24px; margin: 0 }
section:first-child h1 { font-size: 30px }
.under { margin: 0 0 4mm; color: #444 }
h2 { font-size: 15px; margin: 5mm 0 1mm; border-bottom: 1px solid #000 }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; vertical-align: top; padding: 1mm 3mm 1mm 0; border-bottom: 1px solid #ccc }
th { font-size: 12px; color: #444 }
.facts th { width: 32mm; font-size: 15px; color: #000 }
.dab { display: inline-block; width: 1em; height: 1em; border: 1px solid #000; vertical-align: -0.15em }
ul { margin: 0; padding-left: 6mm }
.urgent { border: 2px solid #000; padding: 0 3mm 2mm; margin-top: 5mm }
.urgent h2 { border: 0 }
svg { max-width: 100%; height: auto }
"""

LARGE = """section:first-child { break-after: auto }
body { font-size: 19px } h2, .facts th { font-size: 19px } th { font-size: 16px }
"""


def sheet_markdown(sheet: Sheet) -> str:
    """The sheet as Markdown; drawings become their words."""
    parts = [f"# {_md(sheet.title)}"]
    for page in sheet.pages:
        parts.append(f"## {_md(page.title)}\n\n{_md(page.under)}")
        parts.extend(_md_block(block) for block in page.blocks)
        if page is not sheet.pages[-1]:
            parts.append("---")
    return "\n\n".join(parts) + "\n"


def _md(text: str) -> str:
    """Text without anything that Markdown would take for a mark of its own."""
    kept = " ".join(text.split())
    for mark in "\\`*_[]<>|#":
        kept = kept.replace(mark, "\\" + mark)
    return kept


def _md_block(block: Block) -> str:
    head = f"### {_md(block.title)}\n\n"
    match block:
        case Facts():
            return head + "\n".join(f"- **{_md(label)}**: {_md(value)}" for label, value in block.rows)
        case Listed():
            return head + "\n".join(f"- {_md(item)}" for item in block.items)
        case Figure():
            return head + _md(block.words)
        case Grid():
            lines = [_md_row(block.columns), _md_row(["---"] * len(block.columns), raw=True)]
            return head + "\n".join(lines + [_md_row(row) for row in block.rows])


def _md_row(cells: Sequence[str], *, raw: bool = False) -> str:
    return "| " + " | ".join(cell if raw else _md(cell) for cell in cells) + " |"


def sheet_html(sheet: Sheet) -> str:
    """The sheet as one HTML file that needs nothing else."""
    pages = "\n".join(_html_page(page) for page in sheet.pages)
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(sheet.title)}</title>\n'
        f"<style>{STYLE}{LARGE if sheet.large else ''}</style>\n</head>\n<body>\n{pages}\n</body>\n</html>\n"
    )


def _html_page(page: Page) -> str:
    blocks = "\n".join(_html_block(block) for block in page.blocks)
    title, under = escape(page.title), escape(page.under)
    return f'<section>\n<h1>{title}</h1>\n<p class="under">{under}</p>\n{blocks}\n</section>'


def _html_block(block: Block) -> str:
    head = f"<h2>{escape(block.title)}</h2>\n"
    match block:
        case Facts():
            rows = "\n".join(
                f"<tr><th>{escape(label)}</th><td>{escape(value)}</td></tr>" for label, value in block.rows
            )
            return f'{head}<table class="facts">\n{rows}\n</table>'
        case Listed():
            items = "\n".join(f"<li>{escape(item)}</li>" for item in block.items)
            body = f"{head}<ul>\n{items}\n</ul>"
            return f'<div class="urgent">\n{body}\n</div>' if block.urgent else body
        case Figure():
            return f"{head if block.headed else ''}<figure>{scene_svg(block.scene, standalone=False)}</figure>"
        case Grid():
            names = "".join(f"<th>{escape(name)}</th>" for name in block.columns)
            rows = "\n".join(
                "<tr>" + "".join(_html_cell(block, place, at, cell) for at, cell in enumerate(row)) + "</tr>"
                for place, row in enumerate(block.rows)
            )
            return f"{head}<table>\n<tr>{names}</tr>\n{rows}\n</table>"


def _html_cell(block: Grid, row: int, column: int, text: str) -> str:
    colour = block.colours[row] if column == 0 and block.colours else None
    dab = f'<span class="dab" style="background:{colour}"></span> ' if colour else ""
    return f"<td>{dab}{escape(text)}</td>"


def sheet_pdf(sheet: Sheet) -> bytes:
    """The sheet as PDF on A4, pages numbered: the summary on one of its own, then as many sections a page as fit.

    A handout flows on from section to section.
    """
    from reportlab.lib.pagesizes import A4
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import CondPageBreak, KeepInFrame, PageBreak, SimpleDocTemplate

    out = io.BytesIO()
    margin = MARGIN_MM * POINTS_PER_MM
    document = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=margin,
        rightMargin=margin,
        topMargin=margin,
        bottomMargin=margin,
        title=plain_letters(sheet.title),
        invariant=CREATED_FIXED,
    )
    story: list[Any] = []
    for place, page in enumerate(sheet.pages):
        section = _pdf_page(page, first=not place, large=sheet.large)
        if sheet.large:  # it flows on, so that a simple piece takes few sides
            story += section
            continue
        if place == 1:
            story.append(PageBreak())
        room = document.height - 14
        measured = KeepInFrame(PAGE_POINTS, 0, _pdf_page(page, first=not place), mode="error")
        measured.canv = Canvas(io.BytesIO())
        tall = measured.wrap(PAGE_POINTS, 1e6)[1] + 2
        # a section goes to the next page where it does not fit; one that is a little too long is set smaller, and
        # one that is much too long flows over pages, since nobody could read it
        story.append(CondPageBreak(min(tall, room)))
        story += section if tall > SHRUNK_MOST * room else [KeepInFrame(PAGE_POINTS, room, section, mode="shrink")]
    document.build(story, canvasmaker=_numbered())
    return out.getvalue()


def _numbered() -> Any:
    """A canvas that knows the number of pages when it writes them."""
    from reportlab.pdfgen.canvas import Canvas

    class Numbered(Canvas):  # type: ignore[misc]
        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **named)
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802, reportlab's name
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._kept, 1):
                self.__dict__.update(page)
                self.setFont("Helvetica", 9)
                words = f"page {number} of {len(self._kept)}"
                self.drawRightString(210 * POINTS_PER_MM - MARGIN_MM * POINTS_PER_MM, 7 * POINTS_PER_MM, words)
                super().showPage()
            super().save()

    return Numbered


def _pdf_styles(points: float = BODY_POINTS) -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle("body", fontName="Helvetica", fontSize=points, leading=points * 1.25)
    return {
        "body": body,
        "item": ParagraphStyle("item", parent=body, leftIndent=10),
        "bold": ParagraphStyle("bold", parent=body, fontName="Helvetica-Bold"),
        "title": ParagraphStyle("title", parent=body, fontName="Helvetica-Bold", fontSize=26, leading=30),
        "band": ParagraphStyle(
            "band", parent=body, fontName="Helvetica-Bold", fontSize=18, leading=22, spaceBefore=12, keepWithNext=1
        ),
        "under": ParagraphStyle("under", parent=body, textColor="#444444", spaceAfter=4, keepWithNext=1),
        "head": ParagraphStyle(
            "head", parent=body, fontName="Helvetica-Bold", spaceBefore=9, spaceAfter=2, keepWithNext=1
        ),
        "small": ParagraphStyle("small", parent=body, fontSize=9, leading=11, textColor="#444444"),
    }


def _pdf_page(page: Page, *, first: bool, large: bool = False) -> list[Any]:
    from reportlab.platypus import Paragraph

    styles = _pdf_styles(LARGE_POINTS if large else BODY_POINTS)
    story: list[Any] = [
        Paragraph(_rl(page.title), styles["title" if first else "band"]),
        Paragraph(_rl(page.under), styles["under"]),
    ]
    for block in page.blocks:
        story.extend(_pdf_block(block, styles))
    return story


def _rl(text: str) -> str:
    return escape(plain_letters(text), quote=False)


def _pdf_block(block: Block, styles: dict[str, Any]) -> list[Any]:
    from reportlab.platypus import Paragraph, Table

    head = Paragraph(_rl(block.title), styles["head"])
    rule = ("LINEBELOW", (0, 0), (-1, -1), 0.4, "#bbbbbb")
    tight = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]
    match block:
        case Facts():
            rows = [[Paragraph(_rl(a), styles["bold"]), Paragraph(_rl(b), styles["body"])] for a, b in block.rows]
            return [head, Table(rows, colWidths=[95, PAGE_POINTS - 95], hAlign="LEFT", style=[rule, *tight])]
        case Listed():
            items = [Paragraph(_rl(item), styles["item"], bulletText="-") for item in block.items]
            box = [("BOX", (0, 0), (-1, -1), 1.6, "#000000"), ("LEFTPADDING", (0, 0), (-1, -1), 8)]
            if not block.urgent:
                return [head, *items]
            return [Table([[[head, *items]]], colWidths=[PAGE_POINTS], hAlign="LEFT", style=box, spaceBefore=8)]
        case Figure():
            return [*([head] if block.headed else []), _drawing(block.scene)]
        case Grid():
            names = [Paragraph(_rl(name), styles["small"]) for name in block.columns]
            rows = [
                [_pdf_cell(block, y, x, cell, styles) for x, cell in enumerate(row)] for y, row in enumerate(block.rows)
            ]
            whole = ("NOSPLIT", (0, 0), (-1, 1))  # the columns' names never stand alone at a page's foot
            return [head, Table([names, *rows], colWidths=_widths(block), hAlign="LEFT", style=[rule, whole, *tight])]


def _widths(block: Grid) -> list[float]:
    if block.shares:
        return [share * PAGE_POINTS for share in block.shares]
    if len(block.columns) == 2:
        return [95, PAGE_POINTS - 95]
    return [PAGE_POINTS / len(block.columns)] * len(block.columns)


def _pdf_cell(block: Grid, row: int, column: int, text: str, styles: dict[str, Any]) -> Any:
    from reportlab.platypus import Paragraph

    colour = block.colours[row] if column == 0 and block.colours else None
    if colour is None:
        return Paragraph(_rl(text), styles["body"])
    dab = Scene(4.6, 3.6)
    dab.box(0.2, 0.2, 3.4, 3.0, colour, "#000000", 0.25)
    from reportlab.platypus import Table

    cells = [[_drawing(dab), Paragraph(_rl(text), styles["body"])]]
    flat = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
    ]
    return Table(cells, colWidths=[15, _widths(block)[0] - 15], hAlign="LEFT", style=flat)


def _drawing(scene: Scene) -> Any:
    """A scene as something that reportlab can flow onto a page."""
    from reportlab.platypus import Flowable

    class Drawn(Flowable):  # type: ignore[misc]
        def wrap(self, _width: float, _height: float) -> tuple[float, float]:
            return scene.width_mm * POINTS_PER_MM, scene.height_mm * POINTS_PER_MM

        def draw(self) -> None:
            self.canv.saveState()
            self.canv.scale(POINTS_PER_MM, POINTS_PER_MM)
            draw_on_canvas(self.canv, scene, 0, 0)
            self.canv.restoreState()

    return Drawn()
