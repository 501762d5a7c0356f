"""Put what was measured into a profile's text, its comments and all else left as they are."""

from __future__ import annotations

from collections.abc import Mapping

import tomlkit
from tomlkit.exceptions import TOMLKitError

from latchline.errors import ProfileError
from latchline.machine.electrical import read_electrical
from latchline.machine.profile import parse_profile


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
