"""`latchline profiles`: the machine profiles that ship, and what one says."""

from __future__ import annotations

from typing import Any

import click

from latchline.cli import print_json


@click.command("profiles")
@click.argument("name", required=False, metavar="[NAME|FILE]")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def command(name: str | None, as_json: bool) -> None:
    """List the machine profiles, or show one.

    To make one of your own, start from a shipped one: `latchline profiles standard-200 > my-machine.toml`,
    correct its numbers, and name the file wherever a machine is asked for.
    """
    from latchline.machine.profile import load_profile, profile_text, shipped_profiles

    if name is not None and not as_json:
        load_profile(name)
        click.echo(profile_text(name), nl=False)
        return
    names = [name] if name is not None else shipped_profiles()
    rows = [_row(load_profile(each)) for each in names]
    if as_json:
        print_json(rows)
        return
    for row in rows:
        click.echo(f"{row['name']:<14} {row['needles']:>3} needles {row['pitch_mm']:>4g} mm  {row['title']}")


def _row(profile: Any) -> dict[str, Any]:
    return {
        "name": profile.name,
        "title": profile.title,
        "needles": profile.needles,
        "pitch_mm": profile.pitch_mm,
        "beds": profile.beds,
        "changer": profile.changer,
        "drive": profile.drive,
        "layout": profile.selectors.layout,
        "selectors": profile.selectors.count,
    }
