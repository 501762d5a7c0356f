"""`latchline compile`: the needles of every pass, for people, for spreadsheets and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from latchline.cli import chatter, print_json
from latchline.cli.common import plan_from, takes_chart
from latchline.counted import counted

if TYPE_CHECKING:
    from latchline.plan.model import Plan


@click.command("compile")
@takes_chart
@click.option(
    "--format", "form", type=click.Choice(["text", "csv", "columns", "json"]), default="text", show_default=True
)
@click.option("--json", "as_json", is_flag=True, help="The same as --format json.")
@click.option("--passes", "shown", metavar="FIRST-LAST", help="Show only these passes.")
def command(source: str | None, form: str, as_json: bool, shown: str | None, **given: Any) -> None:
    """Turn a chart or a piece into the needles of every pass.

    CSV has the columns pass,row,direction,yarns,needles,selected: row is the chart row from 1 (empty
    where there is none), selected one 0 or 1 a needle from your left. The form columns is CSV with a column
    for each needle, for spreadsheets. JSON carries the same and the plan's fingerprint. In text each line
    shows what its own pass knits, whichever pass the selectors are driven in.

    \b
      latchline compile waves.png --needles L24-R24
      latchline compile --technique tuck-one-way --alternate-needles only --needles L10-R10 --rows 8
      latchline compile harbour-blanket.toml --format csv
    """
    from latchline.plan import listing

    plan = plan_from(source, given)
    first, last = listing.range_of(plan, shown)
    if as_json or form == "json":
        print_json(listing.as_json(plan, first, last))
        return
    for line in {"csv": listing.as_csv, "columns": listing.as_columns, "text": listing.as_text}[form](
        plan, first, last
    ):
        click.echo(line)
    if form == "text":
        chatter(_summary(plan))


def _summary(plan: Plan) -> str:
    return (
        f"{plan.name}: {counted(plan.passes, 'pass')} in {counted(len(plan.bands), 'band')} on "
        f"{plan.profile.span_name(plan.span)} of {plan.profile.name}, the carriage stands at the {plan.start}, "
        f"fingerprint {plan.fingerprint:08x}."
    )
