"""`latchline ports`: which serial ports there are."""

from __future__ import annotations

import click

from latchline.cli import chatter, print_json


@click.command("ports")
@click.option("--json", "as_json", is_flag=True, help="Print the list as JSON.")
def command(as_json: bool) -> None:
    """List the serial ports, with what is plugged in.

    A simulated board is always there and is not listed: sim://standard-200 is a port, too.
    """
    from serial.tools.list_ports import comports

    found = sorted(comports())
    if as_json:
        print_json([{"port": port.device, "description": _described(port.description)} for port in found])
        return
    for port in found:
        click.echo(f"{port.device}  {_described(port.description)}".rstrip())
    if not found:
        chatter("No serial port was found. Is the board plugged in, with a cable that carries data?")
        chatter("Without a board, sim://standard-200 is a port, too.")


def _described(text: str | None) -> str:
    return "" if text in (None, "n/a") else str(text)
