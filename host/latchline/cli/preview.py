"""`latchline preview`: the fabric from either side, or a working chart, before knitting."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from latchline.cli import chatter
from latchline.cli.common import piece_from, takes_chart
from latchline.cli.files import ending_of, write_whole

if TYPE_CHECKING:
    from latchline.fabric.gauge import Gauge
    from latchline.plan.model import Plan

SHOWN = {"knit-side": ("png", "svg"), "purl-side": ("png", "svg"), "working-chart": ("pdf", "png", "svg")}


@click.command("preview")
@takes_chart
@click.option("--show", type=click.Choice(list(SHOWN)), default="knit-side", show_default=True, help="What to draw.")
@click.option("--out", type=click.Path(path_type=Path), help="The file to write; its ending tells the format.")
@click.option("--passes", "shown", metavar="FIRST-LAST", help="Draw only these passes.")
@click.option("--gauge", "gauge_text", metavar="STITCHESxROWS", help="Counted on 10 cm of a swatch, as 30x39.")
@click.option("--stitch-px", type=click.IntRange(4, 64), help="Width of a stitch in a PNG.  [as fits]")
def command(
    source: str | None,
    show: str,
    out: Path | None,
    shown: str | None,
    gauge_text: str | None,
    stitch_px: int | None,
    **given: Any,
) -> None:
    """Draw the fabric from either side, or a working chart to hang at the machine.

    \b
      latchline preview waves.png
      latchline preview waves.png --show purl-side --out floats.svg
      latchline preview harbour-blanket.toml --show working-chart
    """
    from latchline.fabric.gauge import parse_gauge
    from latchline.fabric.loops import pass_yarns
    from latchline.fabric.yarn import gauge_of
    from latchline.plan.listing import range_of

    piece = piece_from(source, given)
    plan = piece.plan()
    first, last = range_of(plan, shown)
    path = out or Path(f"{plan.name}-{show}.{SHOWN[show][0]}")
    form = ending_of(path, SHOWN[show])
    gauge = parse_gauge(gauge_text) if gauge_text else gauge_of(plan.profile, pass_yarns(plan).yarns, piece.swatch)
    write_whole(path, _drawn(plan, show, form, gauge, stitch_px, first, last))
    click.echo(str(path))
    chatter(_size(plan, gauge))


def _drawn(plan: Plan, show: str, form: str, gauge: Gauge, stitch_px: int | None, first: int, last: int) -> bytes | str:
    from latchline.fabric.picture import draw_fabric

    picture = draw_fabric(plan, show.removesuffix("-side"), gauge, stitch_px=stitch_px, first=first, last=last)
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=4)
    return out.getvalue()


def _size(plan: Plan, gauge: Gauge) -> str:
    width, height = gauge.finished_cm(plan.span.width, plan.passes)
    return f"about {width:.1f} × {height:.1f} cm"
