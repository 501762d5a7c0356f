"""Pictures as colours: PNG, PBM, PGM, PPM, BMP and GIF by way of Pillow, XBM by hand.

The size is taken from the header and held against the bounds before anything is decoded.
"""

from __future__ import annotations

import io
import re
import struct
import warnings
import zlib
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from latchline.chart.bounds import require_size
from latchline.chart.colours import Codes
from latchline.errors import ChartError

WHITE = 0xFFFFFF
BLACK = 0x000000
OPAQUE_MIN = 128
"""Alpha from which a cell counts as drawn; less is background."""

_PNM_HEADER = re.compile(rb"P[1-6](?:\s|#[^\r\n]*[\r\n])+(\d{1,9})(?:\s|#[^\r\n]*[\r\n])+(\d{1,9})\s")
_PNG_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
_ADAM7 = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))
"""First column, first row, column step and row step of the seven passes (PNG specification, section 8.2)."""

_XBM_SIZE = r"#[ \t]*define[ \t]+(?:\w*_)?{}[ \t]+(\d{{1,9}})\b"
# every repetition has an end, so that a hostile file cannot make the search go back and forth for hours
_XBM_BITS = re.compile(r"\b(char|short)\s{1,9}\w{1,99}\s{0,9}\[\s{0,9}\w{0,9}\s{0,9}\]\s{0,9}=\s{0,9}\{([^{}]*)(\}?)")


def damaged(where: str, what: str) -> ChartError:
    return ChartError(what, where=where, hint="save or fetch the drawing again")


def _declared_size(data: bytes, kind: str) -> tuple[int, int]:
    """Width and height as the header says. Raises struct.error or ValueError when it is cut short."""
    if kind == "PNG":
        if data[12:16] != b"IHDR":
            raise ValueError("the header does not stand first")
        width, height = struct.unpack_from(">II", data, 16)
    elif kind == "GIF":
        width, height = struct.unpack_from("<HH", data, 6)
    elif kind == "BMP":
        (header,) = struct.unpack_from("<I", data, 14)
        width, height = struct.unpack_from("<HH" if header == 12 else "<ii", data, 18)
    else:
        match = _PNM_HEADER.match(data)
        if match is None:
            raise ValueError("no width and height")
        width, height = int(match[1]), int(match[2])
    return int(width), abs(int(height))


def read_picture(data: bytes, kind: str, where: str) -> tuple[Codes, npt.NDArray[np.bool_]]:
    """Decode a picture of Pillow's kind `PNG`, `PPM` (all of PBM, PGM, PPM), `BMP` or `GIF`.

    Returns the colour of every cell as 0xrrggbb and where it is transparent, both of shape
    (rows, stitches), row 0 at the top of the picture. Raises ChartError.
    """
    try:
        width, height = _declared_size(data, kind)
    except (struct.error, ValueError):
        raise damaged(where, "the picture has no whole header") from None
    require_size(width, height, where)
    if kind == "PNG":
        _verify_png(data, where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(data), formats=(kind,)) as picture:
                require_size(*picture.size, where)
                picture.load()
                return _codes(picture)
    except ChartError:
        raise
    except Exception as error:  # a decoder fed with damage may raise nearly anything, not only OSError
        raise damaged(where, f"the picture is damaged ({_reason(error)})") from error


def _reason(error: Exception) -> str:
    """The decoder's complaint on one line, or the kind of it where it would show a buffer's address."""
    text = re.sub(r"\bb'([^']*)'", r"\1", " ".join(str(error).split()))
    if not text or "0x" in text:
        return "its contents do not fit its header"
    return text.rstrip(".")


def _codes(picture: Image.Image) -> tuple[Codes, npt.NDArray[np.bool_]]:
    if picture.mode.startswith("I"):  # 16-bit grey, which Pillow's own conversion clips instead of scaling
        wide = np.asarray(picture).astype(np.uint32)
        grey = np.minimum(wide >> 8, 255)
        clear = wide == picture.info["transparency"] if "transparency" in picture.info else wide < 0
        return (grey << 16 | grey << 8 | grey).astype(np.uint32), np.asarray(clear, np.bool_)
    channels = np.asarray(picture.convert("RGBA")).astype(np.uint32)
    codes = channels[..., 0] << 16 | channels[..., 1] << 8 | channels[..., 2]
    return codes.astype(np.uint32), channels[..., 3] < OPAQUE_MIN


def _verify_png(data: bytes, where: str) -> None:
    """Check what Pillow lets pass: chunk checksums, and image data shorter or longer than the header says.

    Rows that are missing would otherwise come out as background, and be knitted.
    """
    at, packed, header = 8, [], b""
    while True:
        if at + 12 > len(data):
            raise damaged(where, "the picture is cut short")
        length, name = struct.unpack_from(">I4s", data, at)
        body = data[at + 8 : at + 8 + length]
        if len(body) < length or at + 12 + length > len(data):
            raise damaged(where, "the picture is cut short")
        if struct.unpack_from(">I", data, at + 8 + length)[0] != zlib.crc32(name + body):
            raise damaged(where, f"the checksum of the {name.decode('ascii', 'replace')} part is wrong")
        if name == b"IHDR":
            header = body
        elif name == b"IDAT":
            packed.append(body)
        elif name == b"IEND":
            break
        at += 12 + length
    if len(header) != 13:
        raise damaged(where, "the picture has no whole header")
    expected = _png_bytes(header)
    unpacker = zlib.decompressobj()
    try:
        length = len(unpacker.decompress(b"".join(packed), expected + 1))
    except zlib.error:
        raise damaged(where, "the compressed part of the picture is damaged") from None
    if length != expected:
        width, height = struct.unpack_from(">II", header)
        word = "fewer" if length < expected else "more"
        raise damaged(where, f"the header says {width} × {height}, but the picture holds {word} stitches than that")


def _png_bytes(header: bytes) -> int:
    """How many bytes the filtered rows of a PNG take, by its IHDR (PNG specification, sections 7 to 9)."""
    width, height, depth, colour, _, _, interlace = struct.unpack(">IIBBBBB", header)
    bits = depth * _PNG_CHANNELS.get(colour, 1)
    passes = _ADAM7 if interlace else ((0, 0, 1, 1),)
    total = 0
    for left, top, across, down in passes:
        columns = max(0, -(-(width - left) // across))
        rows = max(0, -(-(height - top) // down))
        if columns:
            total += rows * (1 + (columns * bits + 7) // 8)
    return int(total)


def _without_comments(text: str) -> str:
    kept, at = [], 0
    while (start := text.find("/*", at)) >= 0:
        end = text.find("*/", start + 2)
        if end < 0:
            break
        kept.append(text[at:start])
        at = end + 2
    return " ".join([*kept, text[at:]])


def read_xbm(text: str, where: str) -> Codes:
    """Decode an X bitmap (X11 with `char` or X10 with `short` data); set bits are black.

    Returns the colours as 0xrrggbb, shape (rows, stitches), row 0 at the top. Raises ChartError.
    Bit order: the lowest bit of a number is the leftmost stitch (Xlib, XReadBitmapFile).
    """
    text = _without_comments(text)
    sizes: dict[str, int] = {}
    for side in ("width", "height"):
        match = re.search(_XBM_SIZE.format(side), text)
        if match is None:
            raise damaged(where, f"the bitmap does not say its {side}")
        sizes[side] = int(match[1])
    width, height = sizes["width"], sizes["height"]
    require_size(width, height, where)
    bits = _XBM_BITS.search(text)
    if bits is None or not bits[3]:
        raise damaged(where, "the bitmap is cut short")
    size = 8 if bits[1] == "char" else 16
    words = bits[2].replace(",", " ").split()
    line = -(-width // size)
    if len(words) != line * height:
        raise damaged(
            where,
            f"the header says {width} × {height}, which takes {line * height} numbers, "
            f"but the bitmap holds {len(words)}",
        )
    numbers = np.array([_xbm_number(word, size, index, where) for index, word in enumerate(words)], f"<u{size // 8}")
    drawn = np.unpackbits(numbers.reshape(height, line).view(np.uint8), axis=1, bitorder="little")[:, :width]
    return np.where(drawn == 1, BLACK, WHITE).astype(np.uint32)


def _xbm_number(word: str, size: int, index: int, where: str) -> int:
    number: Any = None
    if len(word) <= 8:
        try:
            number = int(word, 8 if re.fullmatch(r"0[0-7]+", word) else 0)
        except ValueError:
            number = None
    if number is None or not 0 <= number < 1 << size:
        raise damaged(where, f'number {index + 1} of the bitmap, "{word[:12]}", is not one of 0 to {(1 << size) - 1}')
    return int(number)
