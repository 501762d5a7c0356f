"""`latchline examples`: copy the packaged piece files and charts."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import click

from latchline.cli import chatter
from latchline.errors import InputError, file_trouble


@click.command("examples")
@click.argument("folder", type=click.Path(path_type=Path), default="latchline-examples")
@click.option("--replace", is_flag=True, help="Write over files of the same name.")
def command(folder: Path, replace: bool) -> None:
    """Copy the example piece files and their charts into FOLDER.

    They tell of a boathouse by a small harbour whose benches want covers. Start with
    harbour-blanket.toml.
    """
    packaged = [
        entry
        for entry in (resources.files("latchline") / "examples").iterdir()
        if entry.is_file() and not entry.name.endswith(".py")
    ]
    if folder.is_file():
        raise InputError("this is a file, not a folder", where=str(folder), hint="choose another name")
    try:
        taken = [entry.name for entry in packaged if (folder / entry.name).exists()]
        if taken and not replace:
            raise InputError(
                f'there is a file "{sorted(taken)[0]}" already',
                where=str(folder),
                hint="choose another folder, or --replace",
            )
        folder.mkdir(parents=True, exist_ok=True)
        for entry in packaged:
            (folder / entry.name).write_bytes(entry.read_bytes())
    except OSError as error:
        raise file_trouble(folder, error) from None
    for entry in sorted(packaged, key=lambda item: item.name):
        click.echo(folder / entry.name)
    chatter(f"Copied {len(packaged)} files into {folder}.")
