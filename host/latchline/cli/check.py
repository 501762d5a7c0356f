"""`latchline check`: what cannot be knitted, and what should be looked at before."""

from __future__ import annotations

import sys
from typing import Any

import click

import latchline
from latchline.cli import print_json, tongue
from latchline.cli.common import piece_from, takes_chart
from latchline.cli.words import TYPED


@click.command("check")
@takes_chart
@click.option("--json", "as_json", is_flag=True, help="Print the findings for machines.")
@click.option("--all", "every", is_flag=True, help="List every chart row at length, not only the worst.")
def command(source: str | None, as_json: bool, every: bool, **given: Any) -> None:
    """Say whether a chart or a piece can be knitted.

    Each finding names its rule, its place, why it matters and what to do; where the trade has a
    mend, it is offered as an option for you to apply. Ends with status 1 when something must be
    mended first. The limits are those of docs/reference/findings.md, or of the piece file's [limits].

    \b
      latchline check waves.png --technique slip
      latchline check harbour-blanket.toml
    """
    from latchline.checks import report
    from latchline.checks.find import can_be_knitted

    piece = piece_from(source, given)
    plan, found = piece.plan(), latchline.check(piece)
    if as_json:
        print_json(report.as_data(plan, found, TYPED))
    else:
        for line in report.as_text(plan, found, every=every, tongue=tongue()):
            click.echo(line)
    if not can_be_knitted(found):
        sys.exit(1)
