"""Drawings as PDF, one a page, and a drawing on a page of something else."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any

from latchline.drawing.scene import Disc, Picture, Scene, Shape, Words, plain_letters

POINTS_PER_MM = 72 / 25.4
CREATED_FIXED = 1  # reportlab: no time stamp in the file, so that the same plan gives the same bytes


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
    from reportlab.lib.utils import ImageReader

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
            case Picture():
                picture = ImageReader(io.BytesIO(item.png))
                canvas.drawImage(picture, item.x, -item.y - item.height_mm, item.width_mm, item.height_mm)
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
