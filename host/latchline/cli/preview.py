"""`latchline preview`: the fabric from either side, a working chart, or a drawing brought to size."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

import latchline
from latchline.cli import chatter
from latchline.cli.common import drawing_from, piece_from, takes_chart
from latchline.counted import counted
from latchline.errors import InputError
from latchline.files import ending_of, file_name, write_whole

if TYPE_CHECKING:
    from latchline.chart.model import Chart
    from latchline.piece.model import Piece
    from latchline.shaping.gauge import Gauge

# what is drawn → the endings it can be written with, the usual one first
SHOWN = {
    "knit-side": ("png", "svg"),
    "purl-side": ("png", "svg"),
    "outline": ("svg", "png", "pdf"),
    "working-chart": ("pdf", "png", "svg"),
    "sized-chart": ("png",),
}


@click.command("preview")
@takes_chart
@click.option("--show", type=click.Choice(list(SHOWN)), default="knit-side", show_default=True, help="What to draw.")
@click.option("--out", type=click.Path(path_type=Path), help="The file to write; its ending tells the format.")
@click.option("--passes", "shown", metavar="FIRST-LAST", help="Draw only these passes.")
@click.option("--gauge", "gauge_text", metavar="STITCHESxROWS", help="Counted on 10 cm of a swatch, as 30x39.")
@click.option(
    "--size",
    metavar="WIDTHxHEIGHT",
    help="So many cm, as 40x60: a chart is knitted that large, of a piece file it is said.",
)
@click.option("--resample", type=click.Choice(["majority", "nearest"]), default="majority", help="For a sized chart.")
@click.option("--stitch-px", type=click.IntRange(4, 64), help="Width of a stitch in a PNG.  [as fits]")
def command(
    source: str | None,
    show: str,
    out: Path | None,
    shown: str | None,
    gauge_text: str | None,
    size: str | None,
    resample: str,
    stitch_px: int | None,
    **given: Any,
) -> None:
    """Draw the fabric from either side, its outline, a working chart to hang up, or a chart brought to size.

    A sized chart is a drawing of any size redrawn at one cell a stitch: for --size, or else on as many
    needles as it is wide, with as many rows as keep its proportions.

    \b
      latchline preview waves.png
      latchline preview waves.png --show purl-side --out floats.svg
      latchline preview harbour-blanket.toml --show working-chart
      latchline preview gull.png --show sized-chart --size 40x30 --gauge 30x39 --out gull-chart.png
    """
    if show == "sized-chart":
        _sized_chart(source, out, gauge_text, size, resample, given)
        return
    from latchline.fabric.outline import outline
    from latchline.plan.listing import range_of
    from latchline.shaping.gauge import parse_gauge

    piece = piece_from(source, given)
    if size and not in_piece_file(source):
        piece = _sized(piece, source, size, gauge_text, given)
    plan = piece.plan()
    passes = range_of(plan, shown)
    path = out or Path(f"{file_name(plan.name)}-{show}.{SHOWN[show][0]}")
    form = ending_of(path, SHOWN[show])
    gauge = parse_gauge(gauge_text) if gauge_text else latchline.gauge_of(piece)
    needed = _needed(gauge, size) if size else ""
    if show == "working-chart":
        drawn = latchline.draw_working_chart(piece, form, passes=passes, gauge=gauge)
    elif show == "outline":
        drawn = latchline.draw_outline(piece, form, gauge=gauge)
    else:
        side = show.removesuffix("-side")
        drawn = latchline.draw_fabric(piece, form, side=side, passes=passes, gauge=gauge, stitch_px=stitch_px)
    write_whole(path, drawn)
    click.echo(str(path))
    shape = outline(plan, gauge)
    width, height = gauge.finished_cm(shape.width, shape.rows)
    whole = "About" if passes == (1, plan.passes) else "The whole piece: about"
    for line in piece.measured:
        chatter(line)
    if show == "outline":
        from latchline.preview.outline import outline_words

        chatter(f"It shows {outline_words(plan, gauge)}.")
    chatter(f"{whole} {width:.1f} × {height:.1f} cm at {_words(gauge)}.")
    if needed:
        chatter(needed)


def _sized_chart(
    source: str | None, out: Path | None, gauge_text: str | None, size: str | None, how: str, given: dict[str, Any]
) -> None:
    """Redraw a drawing at one cell a stitch and write it as a chart."""
    from latchline.chart.resample import resample
    from latchline.machine.profile import load_profile
    from latchline.plan.options import DEFAULT_MACHINE
    from latchline.shaping.gauge import gauge_from_pitch, keep_proportions, parse_gauge, parse_size

    if source is None or source.lower().endswith(".toml"):
        raise InputError("a sized chart is made from one drawing", where=source or "", hint="name a picture")
    profile = load_profile(given.get("machine") or DEFAULT_MACHINE)
    gauge = parse_gauge(gauge_text) if gauge_text else gauge_from_pitch(profile.pitch_mm)
    chart = drawing_from(source, given)
    if size:
        width, height = parse_size(size)
        stitches, rows = gauge.needles_for(width), gauge.rows_for(height)
    else:
        stitches, rows = keep_proportions(chart, gauge)
    path = out or Path(f"{file_name(Path(source).stem)}-{stitches}x{rows}.png")
    ending_of(path, SHOWN["sized-chart"])
    write_whole(path, _chart_png(resample(chart, stitches, rows, how)))
    click.echo(str(path))
    chatter(f"{counted(stitches, 'stitch')} × {counted(rows, 'row')} at {_words(gauge)}.")
    if stitches > profile.needles:
        chatter(f"That is more than the {profile.needles} needles of {profile.name}: it would be knitted in parts.")


def _chart_png(chart: Chart) -> bytes:
    from PIL import Image

    picture = Image.fromarray(chart.cells[::-1].copy())
    picture.putpalette([value for colour in chart.palette for value in (colour.red, colour.green, colour.blue)])
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


def in_piece_file(source: str | None) -> bool:
    return source is not None and source.lower().endswith(".toml")


def _sized(piece: Piece, source: str | None, size: str, gauge_text: str | None, given: dict[str, Any]) -> Piece:
    """The same chart on as many needles and rows as come nearest to a size; what is asked for otherwise stays."""
    from latchline.shaping.gauge import parse_gauge, parse_size

    gauge = parse_gauge(gauge_text) if gauge_text else latchline.gauge_of(piece)
    width, height = parse_size(size)
    span = piece.profile.centred(gauge.needles_for(width))
    asked = dict(given)
    asked["needles"] = given.get("needles") or piece.profile.span_name(span)
    asked["rows"] = given.get("rows") or gauge.rows_for(height)
    return piece_from(source, asked)


def _needed(gauge: Gauge, size: str) -> str:
    from latchline.shaping.gauge import parse_size

    width, height = parse_size(size)
    needles, rows = gauge.needles_for(width), gauge.rows_for(height)
    return f"{width:g} × {height:g} cm need {counted(needles, 'needle')} and {counted(rows, 'row')}."


def _words(gauge: Gauge) -> str:
    how = ", an estimate" if gauge.estimated else ""
    return f"{gauge.stitches:.1f} stitches and {gauge.rows:.1f} rows to 10 cm{how}"
