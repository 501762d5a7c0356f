"""`latchline desk`: draw, see, check, print and knit in a browser, on this machine."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from latchline.cli import chatter

if TYPE_CHECKING:
    from latchline.desk.guard import Keys
    from latchline.desk.serve import Address


@click.command("desk")
@click.argument("source", metavar="[PIECE|FOLDER]", required=False, type=click.Path(path_type=Path))
@click.option("--port-number", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port of the page.  [any]")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
@click.option(
    "--share", metavar="ADDRESS", default="", help="Also listen on this address of the machine, for a tablet."
)
def command(source: Path | None, port_number: int, no_browser: bool, share: str) -> None:
    """Draw, see, check, print and knit in a browser.

    Serves a page from this machine to this machine, offline, until Ctrl-C, and prints its address: one line on
    standard output. Whoever has the address has the desk, so keep it to yourself.

    \b
      latchline desk
      latchline desk harbour-blanket.toml
      latchline desk my-pieces --share 192.168.1.20
    """
    from latchline.desk.serve import serve, show_in_browser

    def ready(address: Address, keys: Keys) -> None:
        click.echo(address.page(keys.own))
        sys.stdout.flush()
        if keys.shared is not None:
            from latchline.desk.share import WARNING, code_for_terminal

            shared = address.shared_page(keys.shared)
            chatter(f"For the tablet: {shared}\n{code_for_terminal(shared)}\n! {WARNING}")
        chatter("The desk is open. Ctrl-C closes it.")
        if not no_browser:
            show_in_browser(address.page(keys.own))

    serve(source, port_number=port_number, share=share, ready=ready)
