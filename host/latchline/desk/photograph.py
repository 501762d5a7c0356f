"""A chart from a photograph: cut, brought to so many needles in the fabric's proportions, in few colours."""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from latchline.chart.bounds import require_size
from latchline.chart.colours import chart_from_codes, check_asked
from latchline.chart.model import Chart
from latchline.errors import ChartError
from latchline.shaping.gauge import Gauge

PIXELS_MAX = 60_000_000
CUT_MOST = 95  # percent of a side
FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF", "PPM")


def chart_of(data: bytes, name: str, cut: Sequence[float], width: int, colours: int, gauge: Gauge) -> Chart:
    """A chart `width` stitches wide; its rows follow from the gauge.

    cut: percent to take off at left, right, top and bottom. colours: at most so many. Raises ChartError.
    """
    check_asked(colours, name)
    if any(not 0 <= part <= CUT_MOST for part in cut):
        accepted = f"accepted: 0 to {CUT_MOST} percent of each side"
        raise ChartError("so much cannot be cut off the picture", where=name, hint=accepted)
    picture = _picture(data, name)
    left, right, top, bottom = (part / 100 for part in cut)
    box = (
        round(left * picture.width),
        round(top * picture.height),
        round((1 - right) * picture.width),
        round((1 - bottom) * picture.height),
    )
    if box[2] - box[0] < 1 or box[3] - box[1] < 1:
        raise ChartError("nothing is left of the picture", where=name, hint="cut off less of it")
    rows = max(1, round((box[3] - box[1]) / (box[2] - box[0]) * width * gauge.row_per_stitch))
    require_size(width, rows, name)
    small = picture.crop(box).resize((width, rows), Image.Resampling.BOX)
    few = small.quantize(colours, method=Image.Quantize.MEDIANCUT, kmeans=4, dither=Image.Dither.NONE).convert("RGB")
    levels = np.asarray(few, dtype=np.uint32)
    codes = ((levels[:, :, 0] << 16) | (levels[:, :, 1] << 8) | levels[:, :, 2]).astype(np.uint32)
    return chart_from_codes(codes[::-1], name, colours=colours, background=None)


def _picture(data: bytes, name: str) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(data), formats=FORMATS)
            if picture.width * picture.height > PIXELS_MAX:
                raise _too_large(name)
            upright = ImageOps.exif_transpose(picture).convert("RGBA")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_large(name) from None
    except UnidentifiedImageError:
        hint = "choose a JPEG, PNG, WebP, GIF, BMP or TIFF picture"
        raise ChartError("this is no picture that can be read", where=name, hint=hint) from None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise ChartError(f"the picture is damaged ({error})", where=name, hint="save or fetch it again") from None
    paper = Image.new("RGBA", upright.size, "white")
    paper.alpha_composite(upright)
    return paper.convert("RGB")


def _too_large(name: str) -> ChartError:
    what = f"the picture is too large, with more than {PIXELS_MAX // 1_000_000} million points"
    return ChartError(what, where=name, hint="make it smaller first")
