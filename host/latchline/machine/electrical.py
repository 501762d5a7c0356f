"""The `[electrical]` table of a profile: coil, supply, driver, clamp and wiring.

`docs/reference/profile-file.md` lists the keys. The table is optional in a profile; only the
budget asks for it.
"""

from __future__ import annotations

import difflib
from dataclasses import MISSING, dataclass, fields
from math import isclose, isfinite

from latchline.errors import ProfileError
from latchline.machine.parts import load_part, part_names
from latchline.machine.profile import Profile

CLAMPS = ("zener", "diode", "driver")


@dataclass(frozen=True)
class Electrical:
    """What a profile says of its coils and their supply. Every quantity carries its unit last.

    The coil's resistance is that at 20 °C. clamp: `zener` (zener and diode beside the coil),
    `diode` (diode alone), `driver` (the driver's own clamp). wire_m is the length one way.
    fuse_a 0 asks the budget to choose. driver: a part on file, or the path of a file like those.
    board_v: the board's own 5 V as a meter reads it, against which its converter measures.
    """

    supply_v: float
    supply_tolerance_percent: float
    supply_limit_a: float
    resistance_ohm: float
    inductance_mh: float
    pull_in_a: float
    drop_out_a: float
    coil_k_per_w: float
    ambient_c: float
    driver: str
    clamp: str
    clamp_v: float = 0.0
    fuse_a: float = 0.0
    wire_awg: float = 22.0
    wire_m: float = 1.5
    board_v: float = 5.0

    @property
    def board_v_measured(self) -> bool:
        """Whether the profile says more of the board's 5 V than that it should be 5 V."""
        return self.board_v != 5.0

    @property
    def inductance_h(self) -> float:
        return self.inductance_mh / 1000

    @property
    def low_v(self) -> float:
        return self.supply_v * (1 - self.supply_tolerance_percent / 100)

    @property
    def high_v(self) -> float:
        return self.supply_v * (1 + self.supply_tolerance_percent / 100)


# Lowest and highest value of each key that is no slip of the pen.
RANGES = {
    "supply_v": (3.0, 60.0),
    "supply_tolerance_percent": (0.0, 30.0),
    "supply_limit_a": (0.05, 20.0),
    "resistance_ohm": (0.5, 5000.0),
    "inductance_mh": (0.1, 5000.0),
    "pull_in_a": (0.001, 10.0),
    "drop_out_a": (0.0005, 10.0),
    "coil_k_per_w": (0.1, 500.0),
    "ambient_c": (-10.0, 60.0),
    "clamp_v": (0.0, 60.0),
    "fuse_a": (0.0, 10.0),
    "wire_awg": (22.0, 26.0),
    "wire_m": (0.0, 10.0),
    "board_v": (4.4, 5.5),
}


def read_electrical(profile: Profile) -> Electrical:
    """The `[electrical]` table of a profile.

    Raises ProfileError, naming the key, for one that is missing, unknown, of the wrong kind, out of
    range or at odds with another.
    """
    if not profile.electrical:
        raise _complaint(
            profile,
            "",
            "this profile has no [electrical] table",
            "add one: the profile reference lists its keys",
        )
    known = {one.name: one.default for one in fields(Electrical)}
    values: dict[str, float | str] = {}
    for key, value in profile.electrical.items():
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            hint = f'did you mean "{near[0]}"?' if near else "accepted: " + ", ".join(known)
            raise _complaint(profile, key, "this key is not known here", hint)
        values[key] = _checked(profile, key, value)
    for key, default in known.items():
        if default is MISSING and key not in values:
            raise _complaint(profile, key, "this key is missing", f'add "{key} = …"')
    electrical = Electrical(**values)  # type: ignore[arg-type]  # each was checked against its key
    _agree(profile, electrical)
    return electrical


def _checked(profile: Profile, key: str, value: float | str) -> float | str:
    options = {"driver": part_names("driver"), "clamp": list(CLAMPS)}.get(key)
    if options is not None:
        if key == "driver" and isinstance(value, str) and value.endswith(".toml"):
            return load_part(value, kind="driver").name
        if value not in options:
            raise _complaint(profile, key, f'"{value}" is not known here', "accepted: " + ", ".join(options))
        return value
    low, high = RANGES[key]
    if isinstance(value, str):
        raise _complaint(profile, key, f'expected a number, found the text "{value}"', "write it without quotes")
    if not (isfinite(value) and low <= value <= high):
        raise _complaint(profile, key, f"{value:g} is out of range", f"accepted: {low:g} to {high:g}")
    return float(value)


def _agree(profile: Profile, electrical: Electrical) -> None:
    """Limits that need more than one key."""
    if electrical.drop_out_a >= electrical.pull_in_a:
        raise _complaint(
            profile,
            "drop_out_a",
            f"a coil that lets go at {electrical.drop_out_a:g} A cannot pull in at {electrical.pull_in_a:g} A",
            "the drop-out current is the smaller one",
        )
    if electrical.clamp == "zener" and not electrical.clamp_v:
        raise _complaint(profile, "clamp_v", "a zener clamp needs its voltage", 'add "clamp_v = …"')
    ratings_a = load_part("supply").fuses_a
    if electrical.fuse_a and not any(isclose(electrical.fuse_a, rating) for rating in ratings_a):
        near = sorted(sorted(ratings_a, key=lambda rating: abs(rating - electrical.fuse_a))[:2])
        raise _complaint(
            profile,
            "fuse_a",
            f"no fuse is sold for {electrical.fuse_a:g} A",
            f"the nearest standard ones are {near[0]:g} and {near[1]:g} A; 0 has the budget choose",
        )
    if electrical.wire_awg not in (22, 24, 26):
        raise _complaint(profile, "wire_awg", f"{electrical.wire_awg:g} is not on file", "accepted: 22, 24, 26")
    steady_a = electrical.supply_v / electrical.resistance_ohm
    if steady_a <= electrical.pull_in_a:
        raise _complaint(
            profile,
            "pull_in_a",
            f"the coil would settle at {steady_a:.3g} A, so it can never reach its pull-in current of "
            f"{electrical.pull_in_a:g} A",
            "raise supply_v, or measure resistance_ohm and pull_in_a again",
        )


def _complaint(profile: Profile, key: str, what: str, hint: str) -> ProfileError:
    where = f"profile {profile.name}, [electrical]"
    return ProfileError(what, where=f'{where}, key "{key}"' if key else where, hint=hint)
