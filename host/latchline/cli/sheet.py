"""`latchline sheet`: how to set the machine up for a piece, one page a band."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

import latchline
from latchline.cli.common import piece_from, takes_chart
from latchline.files import ending_of, write_whole


@click.command("sheet")
@takes_chart
@click.option("--out", type=click.Path(path_type=Path), help="Write .md, .html or .pdf.  [Markdown on standard output]")
@click.option("--handout", is_flag=True, help="A page for a class instead: the piece, its steps and its words.")
def command(source: str | None, out: Path | None, handout: bool, **given: Any) -> None:
    """Print how to set the machine up: needles, levers, yarns, turn marks, colour changes, cautions.

    \b
      latchline sheet harbour-blanket.toml
      latchline sheet harbour-blanket.toml --out harbour-blanket.pdf
      latchline sheet net-scarf.toml --handout --out net-scarf-handout.pdf
    """
    from latchline.door import SHEET_FORMS

    form = ending_of(out, SHEET_FORMS) if out is not None else "md"
    sheet = latchline.write_sheet(piece_from(source, given), form, handout=handout)
    if out is None:
        click.echo(sheet.decode(), nl=False)
        return
    write_whole(out, sheet)
    click.echo(str(out))
