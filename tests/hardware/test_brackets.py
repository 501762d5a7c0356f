"""The brackets of the sensors, rendered: closed bodies whose holes lie where the profile's encoder needs them."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "hardware"))

import brackets

from latchline.machine.profile import load_profile, shipped_profiles

pytestmark = [pytest.mark.slow, pytest.mark.external]
if shutil.which("openscad") is None and not os.environ.get("CI"):
    pytestmark.append(pytest.mark.skip(reason="openscad is not installed (Debian package openscad)"))

HOLE_MM, TRIM_MM, WALL_MM = 3.4, 2.0, 4.0


def rendered(name: str, part: str, folder: Path) -> Any:
    """The bracket as another program reads it."""
    trimesh = pytest.importorskip("trimesh")
    brackets.render(load_profile(name), part, folder / "part.stl")
    return trimesh.load(folder / "part.stl")


def holes(body: Any) -> list[tuple[float, float]]:
    """Middles, along and up, of the openings in the front of the upright, from its rims' half circles."""
    front = body.vertices[np.isclose(body.vertices[:, 1], 0.0)]
    rims = front[(np.abs(front[:, 0]) < front[:, 0].max() - WALL_MM) & (front[:, 2] > WALL_MM + 1)]
    rims = rims[rims[:, 2] < front[:, 2].max() - 1]
    groups: list[list[Any]] = []
    for point in rims[np.lexsort((rims[:, 0], np.sign(rims[:, 0]), rims[:, 2] > rims[:, 2].mean()))]:
        side = (point[0] > 0, point[2] > rims[:, 2].mean())
        home = next((group for group in groups if (group[0][0] > 0, group[0][2] > rims[:, 2].mean()) == side), None)
        (home.append(point) if home is not None else groups.append([point]))
    middles = [(np.min(group, axis=0) + np.max(group, axis=0)) / 2 for group in groups]
    return [(float(middle[0]), float(middle[2])) for middle in middles]


@pytest.mark.parametrize(
    ("name", "part"), [("standard-200", part) for part in brackets.PARTS] + [("chunky-112", "encoder")]
)
def test_a_bracket_is_one_closed_body(name: str, part: str, tmp_path: Path) -> None:
    body = rendered(name, part, tmp_path)
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.body_count == 1
    assert body.volume > 1000
    assert max(body.extents) < 150  # a small printer's table
    if part != "encoder":
        return
    profile = load_profile(name)
    found = holes(body)
    assert len(found) == 4
    apart_mm = max(along for along, _ in found) - min(along for along, _ in found)
    periods = apart_mm / (4 * profile.pitch_mm / profile.edges_per_needle)
    assert periods % 1 == pytest.approx(0.25, abs=0.002)
    assert apart_mm >= brackets.ROOM_MM


def test_a_body_with_a_hole_in_its_skin_would_be_seen(tmp_path: Path) -> None:
    body = rendered("standard-200", "left", tmp_path)
    body.update_faces(np.arange(len(body.faces)) > 0)
    assert not body.is_watertight


@pytest.mark.parametrize("name", shipped_profiles())
def test_the_switches_stand_whole_periods_and_a_quarter_apart_on_every_bed(name: str) -> None:
    profile = load_profile(name)
    periods = brackets.switches_apart_mm(profile) / (4 * profile.edge_mm)
    assert periods % 1 == pytest.approx(0.25)
    assert brackets.ROOM_MM <= brackets.switches_apart_mm(profile) < brackets.ROOM_MM + 4 * profile.edge_mm
