"""`latchline size`: from a measured swatch to needles, rows and rates."""

from __future__ import annotations

import click

from latchline.cli import chatter
from latchline.counted import counted, every, times
from latchline.errors import InputError


@click.command("size")
@click.option("--swatch", required=True, metavar="STITCHESxROWS", help="Counted on the swatch, as 40x60.")
@click.option("--measures", required=True, metavar="WIDTHxHEIGHT", help="What they measure in mm, as 133.3x153.8.")
@click.option("--width", "width_cm", type=click.FloatRange(0.5, 1000), metavar="CM", help="How wide it shall be.")
@click.option("--length", "length_cm", type=click.FloatRange(0.5, 1000), metavar="CM", help="How long it shall be.")
@click.option("--to-width", "to_cm", type=click.FloatRange(0.5, 1000), metavar="CM", help="How wide at its other end.")
@click.option(
    "--machine", metavar="NAME|FILE", default="standard-200", show_default=True, help="Whose needles to name."
)
def command(
    swatch: str, measures: str, width_cm: float | None, length_cm: float | None, to_cm: float | None, machine: str
) -> None:
    """Work out needles, rows and how often to narrow or widen, from a swatch that is counted and measured.

    Prints the [gauge] table for a piece file; what lengths come to goes beside it.

    \b
      latchline size --swatch 40x60 --measures 133.3x153.8 --width 40 --length 60
      latchline size --swatch 28x40 --measures 100x100 --width 43 --to-width 32 --length 15
    """
    from latchline.machine.profile import load_profile
    from latchline.shaping.gauge import gauge_from_swatch, parse_pair

    stitches, rows = parse_pair(swatch, "swatch", "stitches x rows, as 40x60")
    width_mm, height_mm = parse_pair(measures, "measure", "width x height in mm, as 133.3x153.8")
    gauge = gauge_from_swatch(stitches, rows, width_mm, height_mm)
    profile = load_profile(machine)
    for key, value in (("stitches", stitches), ("rows", rows), ("width_mm", width_mm), ("height_mm", height_mm)):
        click.echo(("[gauge]\n" if key == "stitches" else "") + f"{key} = {value:g}")
    chatter(f"{gauge.stitches:.1f} stitches and {gauge.rows:.1f} rows to 10 cm.")
    needles = None if width_cm is None else gauge.needles_for(width_cm)
    knitted = None if length_cm is None else gauge.rows_for(length_cm)
    if needles is not None:
        where = profile.span_name(profile.centred(needles))
        chatter(
            f"{width_cm:g} cm wide: {counted(needles, 'needle')}, {where}, {gauge.finished_cm(needles, 1)[0]:.1f} cm."
        )
    if knitted is not None:
        chatter(f"{length_cm:g} cm long: {counted(knitted, 'row')}, {gauge.finished_cm(1, knitted)[1]:.1f} cm.")
    if to_cm is not None:
        if needles is None or knitted is None:
            raise InputError("narrowing needs a width and a length", hint="add --width and --length")
        chatter(_rates(needles, gauge.needles_for(to_cm), knitted))


def _rates(start: int, end: int, rows: int) -> str:
    from latchline.shaping.rates import two_rates

    end -= (start - end) % 2  # both sides alike: an odd stitch is left out
    side = abs(start - end) // 2
    if not side:
        return f"{start} to {counted(end, 'stitch')}: nothing to change."
    rates = ", then ".join(f"{every(rate.every, 'row')} {times(rate.times)}" for rate in two_rates(side, rows))
    what = "narrow" if end < start else "widen"
    change = f"{start} to {counted(end, 'stitch')} over {counted(rows, 'row')}"
    return f"{change}: {what} by one at each side {rates}; shape = [{{ to = {end} }}]."
