"""Pictures written by hand from their specifications, so that they can also be written wrong."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import numpy.typing as npt
from PIL import Image


def png_part(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width: int, height: int, rows: bytes, *, colour: int = 0, depth: int = 8, interlace: int = 0) -> bytes:
    """A PNG whose header says `width` × `height`, whatever the filtered `rows` hold."""
    header = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, interlace)
    parts = [png_part(b"IHDR", header), png_part(b"IDAT", zlib.compress(rows)), png_part(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def grey_png(drawn: npt.NDArray[np.uint8]) -> bytes:
    """`drawn` top row first, 0 black to 255 white, as 8-bit grey without a row filter."""
    height, width = drawn.shape
    return png(width, height, b"".join(b"\0" + row.tobytes() for row in drawn))


def saved(picture: Image.Image, kind: str, **how: object) -> bytes:
    file = io.BytesIO()
    picture.save(file, kind, **how)
    return file.getvalue()
