"""`latchline sheet`: how to set the machine up for a piece, one page a band."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from latchline.cli import chatter
from latchline.cli.common import piece_from, takes_chart
from latchline.files import ending_of, write_whole


@click.command("sheet")
@takes_chart
@click.option("--out", type=click.Path(path_type=Path), help="Write .md, .html or .pdf.  [Markdown on standard output]")
def command(source: str | None, out: Path | None, **given: Any) -> None:
    """Print how to set the machine up: needles, levers, yarns, turn marks, colour changes, cautions.

    \b
      latchline sheet harbour-blanket.toml
      latchline sheet harbour-blanket.toml --out harbour-blanket.pdf
    """
    from latchline.sheet.make import make_sheet
    from latchline.sheet.write import sheet_html, sheet_markdown, sheet_pdf

    form = ending_of(out, ("md", "html", "pdf")) if out is not None else "md"
    piece = piece_from(source, given)
    sheet = make_sheet(piece, piece.plan())
    if out is None:
        click.echo(sheet_markdown(sheet), nl=False)
        return
    write_whole(
        out, sheet_pdf(sheet) if form == "pdf" else sheet_html(sheet) if form == "html" else sheet_markdown(sheet)
    )
    click.echo(str(out))
    chatter(f"{len(sheet.pages)} pages")
