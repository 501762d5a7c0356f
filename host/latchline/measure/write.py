"""Look whether what was measured can be, and put it into a profile's text, all else left as it is."""

from __future__ import annotations

from collections.abc import Mapping

import tomlkit
from tomlkit.exceptions import TOMLKitError

from latchline.errors import InputError, ProfileError
from latchline.machine.electrical import RANGES, read_electrical
from latchline.machine.profile import parse_profile


def check_measured(measured: Mapping[str, float]) -> None:
    """Raises InputError where a figure cannot be of any coil that a profile may describe, or two belie each other."""
    for key, value in measured.items():
        low, high = RANGES[key]
        if not low <= value <= high:
            raise InputError(
                f"these readings make {key} {value:.4g}, where {low:g} to {high:g} can be",
                hint="read once more, and look at the meter's range and at the decimal point",
            )
    pull_in_a, drop_out_a = measured.get("pull_in_a"), measured.get("drop_out_a")
    if pull_in_a is not None and drop_out_a is not None and drop_out_a >= pull_in_a:
        raise InputError(
            f"a coil that lets go at {drop_out_a:g} A cannot pull in at {pull_in_a:g} A",
            hint="the drop-out current is the smaller one",
        )


def with_measured(text: str, measured: Mapping[str, float], *, name: str, file: str) -> str:
    """The profile's text with these keys of [electrical] replaced. Raises ProfileError where the outcome is none.

    A table that is not there yet must become whole: the complaint names the first key that is missing.
    """
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise ProfileError(f"this is no profile: {error}", where=file) from None
    if "electrical" not in document:
        document["electrical"] = tomlkit.table()
    for key, value in measured.items():
        document["electrical"][key] = float(f"{value:.4g}")
    changed = tomlkit.dumps(document)
    read_electrical(parse_profile(changed, name=name, file=file))
    return changed
