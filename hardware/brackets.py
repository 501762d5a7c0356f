"""Brackets of the sensors for a bed, as files for a printer of parts.

    python hardware/brackets.py standard-200 --out brackets

OpenSCAD renders `brackets.scad` with the figures of the profile. Nobody has printed one.
"""

from __future__ import annotations

import argparse
import subprocess
from math import ceil
from pathlib import Path

from latchline.machine.profile import Profile, load_profile

DRAWING = Path(__file__).parent / "brackets.scad"
PARTS = ("encoder", "left", "right")
ROOM_MM = 26.0  # that one optical switch takes along the strip (memory)


def switches_apart_mm(profile: Profile) -> float:
    """From switch A to switch B of the encoder: a quarter of a period, and whole periods until both have room."""
    period_mm = 4 * profile.edge_mm
    return (ceil(ROOM_MM / period_mm - 0.25) + 0.25) * period_mm


def render(profile: Profile, part: str, file: Path) -> None:
    """Write one bracket as STL. Raises FileNotFoundError without OpenSCAD, CalledProcessError where it fails."""
    given = {"part": f'"{part}"', "apart_mm": f"{switches_apart_mm(profile):.6f}"}
    sets = [word for name, value in given.items() for word in ("-D", f"{name}={value}")]
    command = ["openscad", "-o", str(file), "--export-format", "binstl", *sets, str(DRAWING)]
    subprocess.run(command, check=True, capture_output=True, timeout=300)


def main() -> None:
    parser = argparse.ArgumentParser(description="Brackets of a bed's sensors, to be printed.")
    parser.add_argument("profile", help="a shipped profile, or the path of your own")
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    given = parser.parse_args()
    profile = load_profile(given.profile)
    given.out.mkdir(parents=True, exist_ok=True)
    for part in PARTS:
        try:
            render(profile, part, given.out / f"{part}.stl")
        except FileNotFoundError:
            parser.error("OpenSCAD is not installed (Debian package openscad)")
        print(given.out / f"{part}.stl")


if __name__ == "__main__":
    main()
