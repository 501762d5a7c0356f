"""Read a chart from a file. What the file holds decides its format; its name only where that is open."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from latchline.chart.bounds import BYTES_MAX
from latchline.chart.colours import Codes, background_code, chart_from_codes, check_asked
from latchline.chart.model import Chart
from latchline.chart.pictures import BLACK, WHITE, read_picture, read_xbm
from latchline.chart.written import decode, looks_like_csv, read_csv, read_text
from latchline.errors import ChartError, file_trouble

PICTURE_ENDINGS = {
    ".png": "PNG",
    ".gif": "GIF",
    ".bmp": "BMP",
    ".pbm": "PBM",
    ".pgm": "PGM",
    ".ppm": "PPM",
    ".pnm": "PNM",
    ".xbm": "XBM",
}
ENDINGS = (*PICTURE_ENDINGS, ".txt", ".csv")

_PNM = re.compile(rb"P[1-6](?=[\s#])")
_XBM = re.compile(rb"^[ \t]*#[ \t]*define[ \t]+(?:\w*_)?(?:width|height)[ \t]+\d+", re.MULTILINE)
_BMP_HEADERS = (12, 40, 52, 56, 64, 108, 124)
_UNREAD = (
    (b"\xff\xd8\xff", "a JPEG picture, whose colours are blurred"),
    (b"II*\0", "a TIFF picture"),
    (b"MM\0*", "a TIFF picture"),
    (b"RIFF", "a WebP picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a zipped document"),
    (b"<svg", "an SVG drawing"),
    (b"<?xml", "an XML document"),
)


def read_chart(path: str | Path, *, colours: int | None = None, background: str | None = None) -> Chart:
    """The drawing in a file; see `parse_chart`. Raises ChartError."""
    check_asked(colours, str(path))
    try:
        with open(path, "rb") as file:
            data = file.read(BYTES_MAX + 1)
    except (OSError, ValueError) as error:
        raise file_trouble(path, error, ChartError) from None
    return parse_chart(data, str(path), colours=colours, background=background)


def parse_chart(data: bytes, name: str, *, colours: int | None = None, background: str | None = None) -> Chart:
    """A drawing from the bytes of a PNG, PBM, PGM, PPM, XBM, BMP, GIF (its first frame), text or CSV.

    name: what complaints call it; its ending decides where the bytes leave the format open.
    colours: reduce to at most so many colours, 2 to 16; None leaves them, and more than 16 are an error.
    background: the colour of index 0, as #rrggbb, a CSS colour name or a name of the chart's legend;
        None takes the lightest (in a text chart, what its legend or its characters say).
    Raises ChartError, with one sentence, for anything that cannot be read as a chart.
    """
    check_asked(colours, name)
    _require_drawing(data, name)
    if kind := _picture_kind(data):
        codes, clear = read_picture(data, kind, name)
        wanted = background_code(background, name)
        codes = np.where(clear, np.uint32(WHITE if wanted is None else wanted), codes)
        bilevel = kind == "PPM" and data[:2] in (b"P1", b"P4")
        return _drawn(codes, name, colours, background, bilevel=bilevel)
    if _XBM.search(data[:65536]):
        return _drawn(read_xbm(decode(data, name), name), name, colours, background, bilevel=True)
    ending = Path(name).suffix.lower()
    if ending in PICTURE_ENDINGS:
        raise ChartError(
            f"the file is named {ending} but holds no {PICTURE_ENDINGS[ending]} picture",
            where=name,
            hint="save or fetch it again, or name a text chart .txt",
        )
    text = decode(data, name)
    if ending == ".csv" or (ending != ".txt" and looks_like_csv(text)):
        return read_csv(text, name, colours=colours, background=background)
    return read_text(text, name, colours=colours, background=background)


def _require_drawing(data: bytes, name: str) -> None:
    if len(data) > BYTES_MAX:
        raise ChartError(
            f"the file is larger than {BYTES_MAX >> 20} MiB, which no chart needs to be",
            where=name,
            hint="scale the drawing to one cell a stitch",
        )
    if not data:
        raise ChartError("the file is empty", where=name, hint="save or fetch the drawing again")
    for start, what in _UNREAD:
        if data.startswith(start):
            raise ChartError(f"this is {what}", where=name, hint="save the drawing as PNG")


def _picture_kind(data: bytes) -> str:
    """Pillow's word for the kind of picture, by its first bytes; empty for text and the unknown."""
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith((b"GIF87a", b"GIF89a")):
        return "GIF"
    if data.startswith(b"BM") and int.from_bytes(data[14:18], "little") in _BMP_HEADERS:
        return "BMP"
    return "PPM" if _PNM.match(data) else ""


def _drawn(codes: Codes, where: str, colours: int | None, background: str | None, *, bilevel: bool) -> Chart:
    """A chart from a picture, whose top row is knitted last. In a bitmap, paper is background even if none shows."""
    always = (WHITE, BLACK) if bilevel else ()
    return chart_from_codes(codes[::-1], where, colours=colours, background=background, always=always)
