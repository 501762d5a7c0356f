"""`latchline dry-run`: the main job without a machine."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

import latchline
from latchline.cli import chatter, print_json
from latchline.cli.common import piece_from, takes_chart
from latchline.counted import counted, times

if TYPE_CHECKING:
    from latchline.dry_run import DryRun
    from latchline.plan.model import Plan

SHOWN = 5  # wrong needles named one by one


@click.command("dry-run")
@takes_chart
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="The same seed, the same run.")
@click.option("--pace", type=click.FloatRange(1, 600), help="Rows a minute of the simulated hand.  [30]")
@click.option(
    "--fault", "faults", multiple=True, metavar="NAME[:VALUE]", help="Make something go wrong, as flip:0.0001."
)
@click.option("--trace", metavar="FILE.vcd", default="", help="Write every signal to a VCD file.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def command(
    source: str | None, seed: int, pace: float | None, faults: tuple[str, ...], trace: str, as_json: bool, **given: Any
) -> int:
    """Knit on the simulator and compare every needle with the plan.

    The passes go over the real serial code to a model of the board; a simulated hand moves the
    carriage; every needle is looked at when the selector has passed it. docs/reference/simulator.md lists
    the faults.

    \b
      latchline dry-run harbour-blanket.toml
      latchline dry-run waves.png --technique slip --pace 45 --trace run.vcd
      latchline dry-run waves.png --fault flip:0.0001 --seed 5
    """
    from latchline.dry_run import address_of, reached_rows_min

    piece = piece_from(source, given)
    plan = piece.plan()
    address = address_of(plan, seed=seed, pace=pace, faults=faults, trace=trace)
    chatter(f"{plan.name}: {counted(plan.passes, 'pass')} on {plan.profile.span_name(plan.span)}, board {address}")
    if pace is not None and (reached := reached_rows_min(plan, address)) < pace - 0.5:
        chatter(f"No hand keeps {pace:g} rows a minute over these needles; this one comes to about {reached:.0f}.")
    with _Progress(plan.passes) as progress:
        result = latchline.knit_dry(piece, seed=seed, pace=pace, faults=faults, trace=trace, progress=progress)
    if as_json:
        print_json(_as_json(plan, result))
    else:
        _print(plan, result)
    return 0 if result.as_planned else 1


class _Progress:
    """A bar on a terminal, nothing elsewhere."""

    def __init__(self, passes: int) -> None:
        self._passes = passes
        self._bar: Any = None

    def __enter__(self) -> _Progress:
        if sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import Progress

            self._bar = Progress(console=Console(stderr=True), transient=True)
            self._bar.start()
            self._task = self._bar.add_task("knitting", total=self._passes)
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, done: int) -> None:
        if self._bar is not None:
            self._bar.update(self._task, completed=done)


def _print(plan: Plan, result: DryRun) -> None:
    from latchline.link.faults import fault_text

    hours, rest = divmod(round(result.seconds), 3600)
    took = f"{hours} h {rest // 60} min" if hours else f"{rest // 60} min {rest % 60} s"
    click.echo(f"Knitted {result.done} of {counted(result.passes, 'pass')} in {took} of simulated time.")
    for number, pass_number in result.faults:
        click.echo(f"On the way, at pass {pass_number}: {fault_text(number).name}; the row was knitted again.")
    if result.resent:
        click.echo(f"Sent again, as the line had damaged them: {counted(result.resent, 'pass')}.")
    if result.restarts:
        click.echo(f"The board was restarted {times(result.restarts)}.")
    if result.as_planned:
        click.echo(f"Compared {counted(result.compared, 'needle')} with the plan: every needle stands as planned.")
        return
    for wrong in result.wrong[:SHOWN]:
        stands = "selected" if wrong.selected else "not selected"
        click.echo(
            f"Pass {wrong.pass_number}, needle {plan.profile.needle_name(wrong.needle)}: {stands}, against the plan."
        )
    if len(result.wrong) > SHOWN:
        click.echo(f"… and {len(result.wrong) - SHOWN} more.")
    differ = counted(len(result.wrong), "differs", "differ")
    click.echo(f"Compared {counted(result.compared, 'needle')} with the plan: {differ}.")


def _as_json(plan: Plan, result: DryRun) -> dict[str, Any]:
    value = asdict(result)
    value["wrong"] = [
        {"pass": wrong.pass_number, "needle": plan.profile.needle_name(wrong.needle), "selected": wrong.selected}
        for wrong in result.wrong
    ]
    value["faults"] = [{"fault": number, "pass": pass_number} for number, pass_number in result.faults]
    return value | {"as_planned": result.as_planned, "fingerprint": f"{plan.fingerprint:08x}"}
