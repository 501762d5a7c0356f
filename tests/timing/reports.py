"""Reports of passes as a board would make them, for the timing tests."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Any

import numpy as np

from latchline.link.messages import Done
from latchline.machine.needles import Span
from latchline.machine.profile import Profile, load_profile
from latchline.timing.passes import WRAP_S, PassRecord, PassTiming, time_passes

PROFILE: Profile = load_profile("standard-200")
SPAN: Span = PROFILE.span("L50-R50")
TICKS_PER_S = 250_000


def report(
    number: int,
    start_s: float = 0.0,
    *,
    tenths_s: Sequence[float] = (0.1,) * 10,
    rightward: bool | None = None,
    **more: Any,
) -> Done:
    """Pass `number` with a start on the board's clock; odd passes go leftward unless told otherwise."""
    values: dict[str, Any] = {
        "fingerprint": 7,
        "pass_number": number,
        "direction": int(number % 2 == 0 if rightward is None else rightward),
        "digest": 0,
        "start": round(start_s % WRAP_S * TICKS_PER_S) & 0xFFFFFFFF,
        "tenths": struct.pack("<10H", *(min(65535, int(tenth / 256e-6)) for tenth in tenths_s)),
        "backings": 0,
        "backed": 0,
        "stops": 0,
        "advance": 4,
        "shortest": 1000,
        "furthest": 0,
        "correction": 0,
    }
    return Done(**(values | more))


def session(
    passes: int, *, seed: int, pace_s: float = 2.0, speed_s: float = 1.0, scatter: float = 0.1, first_s: float = 0.0
) -> list[PassTiming]:
    """A session of a knitter whose passes take `speed_s` and whose rows take `pace_s`, give or take `scatter`."""
    chance = np.random.default_rng(seed)
    records, now_s = [], first_s
    for number in range(1, passes + 1):
        tenths = speed_s / 10 * (1 + scatter * chance.standard_normal(10)).clip(0.3, 3)
        records.append(PassRecord(report(number, now_s, tenths_s=tenths.tolist()), now_s + tenths.sum()))
        now_s += tenths.sum() + (pace_s - speed_s) * max(0.3, 1 + scatter * float(chance.standard_normal()))
    return time_passes(records, PROFILE, SPAN)
