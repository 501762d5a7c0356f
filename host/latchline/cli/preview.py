"""`latchline preview`: the fabric from either side, or a working chart, before knitting."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from latchline.cli import chatter
from latchline.cli.common import piece_from, takes_chart
from latchline.cli.files import ending_of, file_name, write_whole

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
    path = out or Path(f"{file_name(plan.name)}-{show}.{SHOWN[show][0]}")
    form = ending_of(path, SHOWN[show])
    gauge = parse_gauge(gauge_text) if gauge_text else gauge_of(plan.profile, pass_yarns(plan).yarns, piece.swatch)
    write_whole(path, _drawn(plan, show, form, gauge, stitch_px, first, last))
    click.echo(str(path))
    chatter(_size(plan, gauge))


def _drawn(plan: Plan, show: str, form: str, gauge: Gauge, stitch_px: int | None, first: int, last: int) -> bytes | str:
    if show == "working-chart":
        return _working_chart(plan, form, gauge, first, last)
    from latchline.fabric.picture import draw_fabric, fabric_svg

    side = show.removesuffix("-side")
    if form == "svg":
        return fabric_svg(plan, side, gauge, first=first, last=last)
    picture = draw_fabric(plan, side, gauge, stitch_px=stitch_px, first=first, last=last)
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=4)
    return out.getvalue()


def _working_chart(plan: Plan, form: str, gauge: Gauge, first: int, last: int) -> bytes | str:
    from latchline.fabric.scene import scene_png, scene_svg, scenes_pdf
    from latchline.fabric.working_chart import chart_pages, chart_scene

    if form == "pdf":
        return scenes_pdf(chart_pages(plan, gauge, first, last), f"working chart: {plan.name}")
    scene = chart_scene(plan, gauge, first, last)
    return scene_svg(scene) if form == "svg" else scene_png(scene)


def _size(plan: Plan, gauge: Gauge) -> str:
    width, height = gauge.finished_cm(plan.span.width, plan.passes)
    return f"about {width:.1f} × {height:.1f} cm"
