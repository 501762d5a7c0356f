"""A drawing as a file: a text chart with its legend, or a picture with a palette."""

from __future__ import annotations

import io
import re

from PIL import Image

from latchline.chart.model import Chart, Colour

MARKS = ".xo+#*%@&=-~^v<>"  # one for each of up to 16 colours, background first


def chart_text(chart: Chart) -> str:
    """The drawing as text, top row first, and a legend that keeps the order and the names of its colours."""
    lines = ["".join(MARKS[cell] for cell in row) for row in chart.cells[::-1].tolist()]
    legend = [f"{MARKS[index]} = {_named(colour)}" for index, colour in enumerate(chart.palette)]
    return "\n".join([*lines, "", "legend:", *legend, ""])


def chart_png(chart: Chart) -> bytes:
    """The drawing as a picture, one pixel a stitch. Its colours may be read back in another order."""
    picture = Image.fromarray(chart.cells[::-1].copy())
    picture.putpalette([value for colour in chart.palette for value in (colour.red, colour.green, colour.blue)])
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


def _named(colour: Colour) -> str:
    name = re.sub(r"[^\w \-]+", " ", colour.name).strip()
    return f"{name} {colour.hex}".strip()
