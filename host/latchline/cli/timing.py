"""`latchline timing`: how the knitting went, pass by pass."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from latchline.cli import chatter, print_json
from latchline.counted import counted

if TYPE_CHECKING:
    from latchline.timing.by_hand import HandTiming
    from latchline.timing.passes import PassTiming


@click.command("timing")
@click.argument("journals", metavar="[JOURNAL]...", nargs=-1, type=click.Path(path_type=Path))
@click.option("--format", "form", type=click.Choice(["text", "csv", "json"]), default="text", show_default=True)
@click.option("--json", "as_json", is_flag=True, help="The same as --format json.")
@click.option("--picture", metavar="FILE.png|.svg", type=click.Path(path_type=Path), help="Draw the session.")
def command(journals: tuple[Path, ...], form: str, as_json: bool, picture: Path | None) -> None:
    """Show how the knitting went, pass by pass.

    Without a journal the one last written to is taken. With two or more, each is compared with the
    first: means, their differences, and whether these are more than scatter.

    \b
      latchline timing
      latchline timing blanket.latchline --format csv > blanket.csv
      latchline timing --picture session.svg
      latchline timing monday.latchline friday.latchline
    """
    from latchline.knit.timings import hand_timing_of, newest_journal, timings_of

    form = "json" if as_json else form
    if len(journals) > 1:
        if form == "csv" or picture is not None:
            raise click.UsageError("a CSV or a picture is of one journal; a comparison prints as text or JSON")
        _compare(journals, form)
        return
    path = journals[0] if journals else newest_journal()
    by_hand = hand_timing_of(path)
    if by_hand is not None and picture is None:
        _print_by_hand(*by_hand, form)
        return
    name, timings = timings_of(path)
    if picture is not None:
        _draw(picture, name, timings)
    _print(name, timings, form)


def _print(name: str, timings: list[PassTiming], form: str) -> None:
    from latchline.timing import listing
    from latchline.timing.statistics import summarise

    if form == "csv":
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(newline="")  # the lines end in CR LF already
        click.echo(listing.as_csv(timings), nl=False)
        return
    summary = summarise(timings)
    if form == "json":
        print_json({"piece": name, **listing.as_json(timings, summary)})
        return
    for line in listing.as_table(timings):
        click.echo(line)
    click.echo()
    for line in listing.as_summary(summary):
        click.echo(line)


def _print_by_hand(name: str, timing: HandTiming, form: str) -> None:
    from latchline.timing import by_hand

    if form == "csv":
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(newline="")
        click.echo(by_hand.as_csv(timing), nl=False)
    elif form == "json":
        print_json({"piece": name, **by_hand.as_json(timing)})
    else:
        for line in by_hand.as_text(timing):
            click.echo(line)


def _draw(path: Path, name: str, timings: list[PassTiming]) -> None:
    from latchline.files import ending_of, write_whole
    from latchline.timing.picture import picture

    ending = ending_of(path, ("png", "svg"))
    canvas = picture(timings, f"{name}: {counted(len(timings), 'pass')}")
    write_whole(path, canvas.svg() if ending == "svg" else canvas.png())
    chatter(f"Drew {path}.")


def _compare(journals: tuple[Path, ...], form: str) -> None:
    from latchline.knit.timings import timings_of
    from latchline.timing import listing
    from latchline.timing.statistics import compare

    (first_name, first), *others = (timings_of(path) for path in journals)
    found = [(name, compare(first, second)) for name, second in others]
    if form == "json":
        print_json(
            {
                "first": first_name,
                "compared": [
                    {"second": name, "figures": [listing.as_figures(one) for one in differences]}
                    for name, differences in found
                ],
            }
        )
        return
    for (name, differences), path in zip(found, journals[1:], strict=True):
        click.echo(f"first: {first_name} ({journals[0].name}), second: {name} ({path.name})")
        for line in listing.as_comparison(differences):
            click.echo(line)
