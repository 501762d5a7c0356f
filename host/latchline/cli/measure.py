"""`latchline measure`: what an unknown machine's coils are."""

from __future__ import annotations

from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from latchline.cli import caution, chatter, print_json
from latchline.errors import InputError
from latchline.files import write_whole
from latchline.tables import read_text

if TYPE_CHECKING:
    from latchline.machine.profile import Profile
    from latchline.measure.board import ReadCoil


@click.command("measure")
@click.argument("profile_name", metavar="PROFILE")
@click.option("--port", metavar="PORT", help="Have the board read its coils: as /dev/ttyUSB0, auto, sim://.")
@click.option(
    "--wires", type=click.Path(path_type=Path), metavar="FILE.csv", help="Which wire the coils share: wire,wire,ohms."
)
@click.option("--ohm", type=float, metavar="OHM", help="A cold coil, by the meter.")
@click.option("--air", "air_c", type=float, default=20.0, show_default=True, metavar="CELSIUS", help="Then and now.")
@click.option("--tone", type=float, nargs=3, metavar="HZ V V", help="A tone; volts over the coil; over the resistor.")
@click.option("--resistor", "resistor_ohm", type=float, metavar="OHM", help="In series with the coil under the tone.")
@click.option("--hot", type=float, nargs=2, metavar="OHM V", help="The coil after an hour on; volts that it was on.")
@click.option("--pull-in", "pull_in_a", type=float, metavar="A", help="Current that moves the armature.")
@click.option("--drop-out", "drop_out_a", type=float, metavar="A", help="Current at which it falls back.")
@click.option("--five-volts", "board_v", type=float, metavar="V", help="The board's 5 V pin, by the meter.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.toml", help="Write the profile with all this.")
@click.option("--json", "as_json", is_flag=True, help="Print the figures for programs.")
def command(
    profile_name: str,
    port: str | None,
    wires: Path | None,
    ohm: float | None,
    air_c: float,
    tone: tuple[float, float, float] | None,
    resistor_ohm: float | None,
    hot: tuple[float, float] | None,
    pull_in_a: float | None,
    drop_out_a: float | None,
    board_v: float | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Work out an unknown coil from a meter's readings, and from the board's own.

    PROFILE is the one to start from; --out writes it with what was found. The how-to page tells how to
    take each reading without harm.

    \b
      latchline measure standard-200 --ohm 118 --tone 400 0.91 0.52 --resistor 100 --out my-bed.toml
      latchline measure ./my-bed.toml --port auto
    """
    from latchline.machine.electrical import RANGES
    from latchline.machine.profile import load_profile, profile_text
    from latchline.measure import coil
    from latchline.measure.write import check_measured, with_measured

    low_c, high_c = RANGES["ambient_c"]
    if not low_c <= air_c <= high_c:
        raise InputError(f"no room is at {air_c:g} °C", key="air", hint=f"accepted: {low_c:g} to {high_c:g}")
    profile = load_profile(profile_name)
    found: dict[str, float] = {}
    shared = coil.common_wire(_pairs(wires)) if wires is not None else None
    coils = _by_the_board(port, profile) if port is not None else []
    read = [one.resistance for one in coils if one.resistance is not None]
    if ohm is not None:
        found["resistance_ohm"] = coil.at_20_ohm(ohm, air_c)
    elif read:
        found["resistance_ohm"] = coil.at_20_ohm(coil.usual_ohm(read), air_c)
    cold_ohm = ohm if ohm is not None else coil.usual_ohm(read) if read else None
    if (tone is None) != (resistor_ohm is None):
        raise InputError("--tone and --resistor belong together", hint="give the tone, its two volts, and the ohms")
    if tone is not None and resistor_ohm is not None:
        found["inductance_mh"] = 1000 * coil.inductance_of_tone(*tone, resistor_ohm, _needed(cold_ohm, "--tone"))
    if hot is not None:
        found["coil_k_per_w"] = coil.heating_k_per_w(_needed(cold_ohm, "--hot"), hot[0], air_c, hot[1])
    found |= {
        key: value
        for key, value in (("pull_in_a", pull_in_a), ("drop_out_a", drop_out_a), ("board_v", board_v))
        if value is not None
    }
    check_measured(found)
    wanted_v = coil.supply_wanted_v(pull_in_a, found["resistance_ohm"]) if pull_in_a and cold_ohm else None
    if not found and port is None and shared is None:
        raise InputError("nothing was measured", hint="give a reading, or --port to have the board read its coils")
    if out is not None:
        text = with_measured(profile_text(profile_name), found, name=out.stem, file=str(out))
        write_whole(out, text.encode("utf-8"))
    if as_json:
        print_json(
            {
                "electrical": found,
                "supply_wanted_v": wanted_v,
                "common_wire": None if shared is None else shared.common,
                "selectors": [None if one.resistance is None else asdict(one.resistance) for one in coils],
            }
        )
        return
    if shared is not None:
        click.echo(f"common wire: {shared.common}")
        for name, between_ohm in shared.coils.items():
            click.echo(f"  a coil of {between_ohm:g} Ω at {name}")
    _print(found, coils, wanted_v)
    if out is not None:
        chatter(f"{out} is written; ask `latchline budget {out}` next.")


def _pairs(file: Path) -> dict[tuple[str, str], float]:
    """Ohms between wires, from lines of two names and a figure. Raises InputError, naming the line."""
    pairs = {}
    for number, line in enumerate(read_text(file, InputError).splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        try:
            one, other, ohms = (part.strip() for part in line.split(","))
            pairs[one, other] = float(ohms)
        except ValueError:
            raise InputError(
                "this line is not two wires and the ohms between them", where=f"{file}, line {number}",
                hint='write it as "red,blue,118"; leave pairs without a reading out',
            ) from None  # fmt: skip
    return pairs


def _needed(cold_ohm: float | None, option: str) -> float:
    if cold_ohm is None:
        raise InputError(f"{option} needs the cold coil's resistance", hint="add --ohm, or --port")
    return cold_ohm


def _by_the_board(port: str, profile: Profile) -> list[ReadCoil]:
    from latchline.connect import connect, watched_bed
    from latchline.link.host import Host
    from latchline.link.port import clock_of
    from latchline.measure.board import read_coils

    with closing(connect(port, profile, caution=caution)) as line:
        clock = clock_of(line)
        host = Host(line, clock)
        host.greet()
        return read_coils(host, watched_bed(profile), profile, clock, chatter)


def _print(found: dict[str, float], coils: list[ReadCoil], wanted_v: float | None) -> None:
    for selector, one in enumerate(coils):
        if one.resistance is None:
            click.echo(f"selector {selector}: {one.why}")
        else:
            click.echo(f"selector {selector}: {one.resistance.ohm:.0f} Ω, give or take {one.resistance.share:.0%}")
    for key, value in found.items():
        click.echo(f"{key} = {value:.4g}")
    if wanted_v is not None:
        click.echo(f"supply: about {wanted_v:.3g} V for a coil that pulls in even when warm")
