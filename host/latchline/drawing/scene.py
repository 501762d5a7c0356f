"""A line drawing in millimetres, and the three ways to put it on paper: SVG, PNG and PDF.

x runs right, y down, both from the top left corner. Words are Latin letters in PNG and PDF, whose
built-in fonts hold no others: a letter that they lack is shown as a question mark.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any

from latchline.errors import InputError
from latchline.mend import Mend

MM_PER_INCH = 25.4
POINTS_PER_MM = 72 / MM_PER_INCH
PNG_DOTS_PER_INCH = 150
PNG_FINE = 2  # the PNG is drawn this much larger, then reduced, which smooths its edges
PNG_PIXELS_MAX = 60_000_000
CREATED_FIXED = 1  # reportlab: no time stamp in the file, so that the same plan gives the same bytes


@dataclass(frozen=True)
class Shape:
    """A line or an area through points (x, y). fill, stroke: `#rrggbb` or None; dash: lengths in mm."""

    points: tuple[tuple[float, float], ...]
    fill: str | None = None
    stroke: str | None = "#000000"
    line_mm: float = 0.2
    closed: bool = True
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Disc:
    """A circle about (x, y)."""

    x: float
    y: float
    radius: float
    fill: str | None = "#000000"
    stroke: str | None = None
    line_mm: float = 0.2


@dataclass(frozen=True)
class Words:
    """One line of text; (x, y) is its baseline's start, middle or end. size_mm: of a capital with its space."""

    x: float
    y: float
    text: str
    size_mm: float = 3.0
    anchor: str = "start"
    bold: bool = False
    fill: str = "#000000"


Item = Shape | Disc | Words


@dataclass
class Scene:
    """A drawing under way."""

    width_mm: float
    height_mm: float
    title: str = ""
    items: list[Item] = field(default_factory=list)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, line_mm: float = 0.2, stroke: str = "#000000", dash: Any = ()
    ) -> None:
        self.items.append(Shape(((x1, y1), (x2, y2)), None, stroke, line_mm, closed=False, dash=tuple(dash)))

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: str | None = None,
        stroke: str | None = "#000000",
        line_mm: float = 0.2,
    ) -> None:
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        self.items.append(Shape(corners, fill, stroke, line_mm))

    def area(
        self, points: Sequence[tuple[float, float]], fill: str | None = "#000000", stroke: str | None = None
    ) -> None:
        self.items.append(Shape(tuple(points), fill, stroke))

    def path(self, points: Sequence[tuple[float, float]], line_mm: float = 0.3, stroke: str = "#000000") -> None:
        self.items.append(Shape(tuple(points), None, stroke, line_mm, closed=False))

    def words(self, x: float, y: float, text: str, size_mm: float = 3.0, **how: Any) -> None:
        self.items.append(Words(x, y, text, size_mm, **how))

    def arrow(self, x: float, y: float, length: float, *, rightward: bool, fill: str = "#000000") -> None:
        """A solid arrow head with its middle at (x, y)."""
        half, sign = length / 2, 1 if rightward else -1
        self.area([(x + sign * half, y), (x - sign * half, y - half * 0.8), (x - sign * half, y + half * 0.8)], fill)


def scene_svg(scene: Scene, *, standalone: bool = True) -> str:
    """The drawing as SVG text; `standalone` False leaves the XML line out, for use inside HTML."""
    parts = [_svg_item(item) for item in scene.items]
    head = '<?xml version="1.0" encoding="UTF-8"?>\n' if standalone else ""
    title = f"<title>{escape(scene.title)}</title>" if scene.title else ""
    return (
        f'{head}<svg xmlns="http://www.w3.org/2000/svg" width="{scene.width_mm:g}mm" height="{scene.height_mm:g}mm" '
        f'viewBox="0 0 {scene.width_mm:g} {scene.height_mm:g}" font-family="Helvetica, Arial, sans-serif" role="img">'
        f'{title}<rect width="100%" height="100%" fill="#ffffff"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def _svg_item(item: Item) -> str:
    match item:
        case Words():
            anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
            bold = ' font-weight="bold"' if item.bold else ""
            return (
                f'<text x="{item.x:.3f}" y="{item.y:.3f}" font-size="{item.size_mm:g}" fill="{item.fill}"'
                f"{anchor}{bold}>{escape(item.text)}</text>"
            )
        case Disc():
            return (
                f'<circle cx="{item.x:.3f}" cy="{item.y:.3f}" r="{item.radius:.3f}" fill="{item.fill or "none"}" '
                f'stroke="{item.stroke or "none"}" stroke-width="{item.line_mm:g}"/>'
            )
    points = " ".join(f"{x:.3f},{y:.3f}" for x, y in item.points)
    dash = f' stroke-dasharray="{" ".join(f"{length:g}" for length in item.dash)}"' if item.dash else ""
    return (
        f'<{"polygon" if item.closed else "polyline"} points="{points}" fill="{item.fill or "none"}" '
        f'stroke="{item.stroke or "none"}" stroke-width="{item.line_mm:g}" stroke-linejoin="round"{dash}/>'
    )


def scene_png(scene: Scene, dots_per_inch: float = PNG_DOTS_PER_INCH) -> bytes:
    """The drawing as a PNG file. Raises InputError when it would be too large."""
    from PIL import Image, ImageDraw, ImageFont

    scale = dots_per_inch / MM_PER_INCH * PNG_FINE
    size = (max(1, round(scene.width_mm * scale)), max(1, round(scene.height_mm * scale)))
    if size[0] * size[1] > PNG_PIXELS_MAX * PNG_FINE**2:
        raise InputError(
            f"a picture of {size[0] // PNG_FINE} × {size[1] // PNG_FINE} pixels is too large",
            hint="write a .pdf",
            mends=[Mend("draw fewer passes", "passes")],
        )
    picture = Image.new("RGB", size, "#ffffff")
    draw = ImageDraw.Draw(picture)
    fonts: dict[float, Any] = {}
    for item in scene.items:
        match item:
            case Words():
                pixels = round(item.size_mm * scale)
                font = fonts.setdefault(pixels, ImageFont.load_default(pixels))
                _png_words(draw, item, font, scale)
            case Disc():
                # Pillow draws an outline inwards, SVG and PDF half of it to each side
                reach = (item.radius + (item.line_mm / 2 if item.stroke else 0)) * scale
                x, y = item.x * scale, item.y * scale
                draw.ellipse(
                    (x - reach, y - reach, x + reach, y + reach),
                    fill=item.fill,
                    outline=item.stroke,
                    width=max(1, round(item.line_mm * scale)),
                )
            case Shape():
                _png_shape(draw, item, scale)
    small = picture.reduce(PNG_FINE)
    out = io.BytesIO()
    small.save(out, "PNG", dpi=(dots_per_inch, dots_per_inch))
    return out.getvalue()


def _png_words(draw: Any, item: Words, font: Any, scale: float) -> None:
    side = {"start": "l", "middle": "m", "end": "r"}[item.anchor] + "s"
    bold = max(1, round(item.size_mm * scale / 30)) if item.bold else 0
    draw.text(
        (item.x * scale, item.y * scale),
        plain_letters(item.text),
        fill=item.fill,
        font=font,
        anchor=side,
        stroke_width=bold,
        stroke_fill=item.fill,
    )


def _png_shape(draw: Any, item: Shape, scale: float) -> None:
    points = [(x * scale, y * scale) for x, y in item.points]
    width = max(1, round(item.line_mm * scale))
    if item.closed and item.fill:
        draw.polygon(points, fill=item.fill)
    if not item.stroke:
        return
    if item.closed:
        points.append(points[0])
    if not item.dash:
        draw.line(points, fill=item.stroke, width=width, joint="curve")
        return
    for start, end in _dashes(item.points, item.dash):
        draw.line([(start[0] * scale, start[1] * scale), (end[0] * scale, end[1] * scale)], item.stroke, width)


def _dashes(
    points: Sequence[tuple[float, float]], dash: tuple[float, ...]
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """The drawn pieces of a dashed straight line."""
    (x1, y1), (x2, y2) = points[0], points[-1]
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    if not length:
        return []
    at, place, pieces = 0.0, 0, []
    while at < length:
        end = min(at + dash[place % len(dash)], length)
        if place % 2 == 0:
            along = [(x1 + (x2 - x1) * share / length, y1 + (y2 - y1) * share / length) for share in (at, end)]
            pieces.append((along[0], along[1]))
        at, place = end, place + 1
    return pieces


def scenes_pdf(scenes: Iterable[Scene], title: str) -> bytes:
    """One page a drawing, as a PDF file."""
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    canvas = Canvas(out, invariant=CREATED_FIXED)
    canvas.setTitle(plain_letters(title))
    for scene in scenes:
        canvas.setPageSize((scene.width_mm * POINTS_PER_MM, scene.height_mm * POINTS_PER_MM))
        canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
        draw_on_canvas(canvas, scene, 0, 0)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def draw_on_canvas(canvas: Any, scene: Scene, left_mm: float, bottom_mm: float) -> None:
    """Draw on a reportlab canvas that is already scaled to millimetres."""
    canvas.saveState()
    canvas.translate(left_mm, bottom_mm + scene.height_mm)
    canvas.setLineJoin(1)
    pen: dict[Any, Any] = {}
    for item in scene.items:
        match item:
            case Words():
                _pdf_words(canvas, item)
            case Disc():
                _pdf_pen(canvas, pen, item.fill, item.stroke, item.line_mm, ())
                canvas.circle(item.x, -item.y, item.radius, stroke=bool(item.stroke), fill=bool(item.fill))
            case Shape():
                _pdf_pen(canvas, pen, item.fill, item.stroke, item.line_mm, item.dash)
                path = canvas.beginPath()
                path.moveTo(item.points[0][0], -item.points[0][1])
                for x, y in item.points[1:]:
                    path.lineTo(x, -y)
                if item.closed:
                    path.close()
                canvas.drawPath(path, stroke=bool(item.stroke), fill=bool(item.fill and item.closed))
    canvas.restoreState()


def _pdf_pen(
    canvas: Any, pen: dict[Any, Any], fill: str | None, stroke: str | None, line_mm: float, dash: Sequence[float]
) -> None:
    """Set what differs from `pen`, the settings so far: setting is what costs most."""
    wanted = ((canvas.setFillColor, fill), (canvas.setStrokeColor, stroke), (canvas.setLineWidth, line_mm))
    for setting, value in wanted:
        if value is not None and pen.get(setting.__name__) != value:
            setting(value)
            pen[setting.__name__] = value
    if pen.get("dash", ()) != tuple(dash):
        canvas.setDash(list(dash), 0)
        pen["dash"] = tuple(dash)


def _pdf_words(canvas: Any, item: Words) -> None:
    canvas.saveState()
    canvas.setFont("Helvetica-Bold" if item.bold else "Helvetica", item.size_mm)
    canvas.setFillColor(item.fill)
    canvas.translate(item.x, -item.y)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[item.anchor](0, 0, plain_letters(item.text))
    canvas.restoreState()


def plain_letters(text: str) -> str:
    """The text with a question mark for each letter that the built-in fonts lack."""
    return text.encode("cp1252", "replace").decode("cp1252")
