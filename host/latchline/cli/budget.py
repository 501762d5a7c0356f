"""`latchline budget`: the sums behind coils, drivers, supply and fuse."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from latchline.cli import chatter, print_json
from latchline.cli.common import piece_from, takes_chart
from latchline.errors import InputError, PieceError
from latchline.files import ending_of, require_folder, write_whole

if TYPE_CHECKING:
    from latchline.machine.profile import Profile
    from latchline.plan.model import Plan


@click.command("budget")
@click.argument("profile_name", metavar="PROFILE")
@takes_chart
@click.option("--pace", "pace_rows_min", type=float, metavar="ROWS", help="Rows a minute.  [30]")
@click.option("--json", "as_json", is_flag=True, help="Print the figures for programs.")
@click.option(
    "--report", type=click.Path(path_type=Path), metavar="FILE", help="Also write one page with plots (HTML)."
)
def command(
    profile_name: str,
    source: str | None,
    pace_rows_min: float | None,
    as_json: bool,
    report: Path | None,
    **given: Any,
) -> None:
    """Work out coils, drivers, supply and fuse before buying parts.

    PROFILE is a shipped machine profile, or the path of your own, with an [electrical] table. With a
    piece or a chart the budget is for what it asks of the selectors; without, every needle counts as
    selected on every pass. Ends with status 1 when a rating or the timing is broken.

    \b
      latchline budget standard-200
      latchline budget my-bed.toml harbour-blanket.toml --pace 40 --report budget.html
    """
    from latchline.budget.report import as_data, as_html, as_text
    from latchline.budget.sums import PACE_ROWS_MIN, make_budget
    from latchline.machine.profile import load_profile

    if report is not None:
        ending_of(report, ("html",))
        require_folder(report)
    profile = load_profile(profile_name)
    pace = PACE_ROWS_MIN if pace_rows_min is None else pace_rows_min
    plan = _plan(profile, profile_name, source, given)
    if plan is None:
        budget = make_budget(profile, pace_rows_min=pace)
    else:
        budget = make_budget(profile, plan.driven_masks(), plan.span.first, pace, plan.rightward)
    if report is not None:
        write_whole(report, as_html(budget))
        chatter(f"The page is in {report}.")
    if as_json:
        print_json(as_data(budget))
    else:
        click.echo(as_text(budget))
    if budget.verdict == "no":
        sys.exit(1)


def _plan(profile: Profile, profile_name: str, source: str | None, given: dict[str, Any]) -> Plan | None:
    """The plan whose selections are budgeted, knitted on `profile`; None where no piece is named."""
    if given.get("machine") is not None:
        raise InputError(
            "the machine is named before the piece",
            where="--machine",
            hint=f"leave --machine out, or write it in place of {profile_name}",
        )
    if source is None and not any(value is not None for value in given.values()):
        return None
    if source is None or not source.lower().endswith(".toml"):
        given = {**given, "machine": profile_name}
    piece = piece_from(source, given)
    theirs = piece.profile
    if (theirs.needles, theirs.centre) != (profile.needles, profile.centre):
        raise PieceError(
            f"this piece is for a bed of {theirs.needles} needles, and {profile.name} has {profile.needles}",
            where=source or "",
            hint=f"budget the piece's own machine, {theirs.name}",
        )
    return replace(piece, profile=profile).plan()
