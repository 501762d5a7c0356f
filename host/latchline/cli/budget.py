"""`latchline budget`: the sums behind coils, drivers, supply and fuse."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from latchline.cli import chatter, print_json
from latchline.errors import file_trouble
from latchline.machine.budget import PACE_ROWS_MIN, make_budget
from latchline.machine.budget_report import as_data, as_html, as_text
from latchline.machine.profile import load_profile


@click.command("budget")
@click.argument("profile")
@click.option("--pace", "pace_rows_min", type=float, default=PACE_ROWS_MIN, show_default=True, help="Rows a minute.")
@click.option("--json", "as_json", is_flag=True, help="Print the figures for machines.")
@click.option("--report", type=click.Path(path_type=Path), help="Also write one page with plots (HTML) to this file.")
def command(profile: str, pace_rows_min: float, as_json: bool, report: Path | None) -> None:
    """Work out coils, drivers, supply and fuse before buying parts.

    PROFILE is a shipped machine profile or the path of your own, with an [electrical] table.
    Every needle counts as selected. Ends with status 1 when a rating or the timing is broken.
    """
    budget = make_budget(load_profile(profile), pace_rows_min=pace_rows_min)
    if report is not None:
        write_page(report, as_html(budget))
        chatter(f"The page is in {report}.")
    if as_json:
        print_json(as_data(budget))
    else:
        click.echo(as_text(budget))
    if budget.verdict == "no":
        sys.exit(1)


def write_page(path: Path, page: str) -> None:
    """Write a whole file or none: beside its place first, then moved there."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(page, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise file_trouble(path, error) from None
