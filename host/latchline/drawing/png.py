"""A drawing as PNG, drawn larger and reduced, which smooths its edges."""

from __future__ import annotations

import io
from typing import Any

from latchline.drawing.scene import Disc, Picture, Scene, Shape, Words, dashes, plain_letters
from latchline.errors import InputError
from latchline.mend import Mend

MM_PER_INCH = 25.4
PNG_DOTS_PER_INCH = 150
PNG_FINE = 2  # how much larger it is drawn
PNG_PIXELS_MAX = 60_000_000


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
            case Picture():
                room = max(1, round(item.width_mm * scale)), max(1, round(item.height_mm * scale))
                there = Image.open(io.BytesIO(item.png)).convert("RGB").resize(room)
                picture.paste(there, (round(item.x * scale), round(item.y * scale)))
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
    for start, end in dashes(item.points, item.dash):
        draw.line([(start[0] * scale, start[1] * scale), (end[0] * scale, end[1] * scale)], item.stroke, width)
