"""From levels of the encoder's two channels to steps."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from latchline.sim.face import PIN_LEFT, PIN_MIDDLE, PIN_RIGHT, Pins

Steps = npt.NDArray[np.int8]

IMPOSSIBLE = 2
SENSORS = PIN_LEFT | PIN_RIGHT | PIN_MIDDLE

# Step from one (A, B) to the next: rightward 00 → 10 → 11 → 01 → 00, A being bit 0.
_RIGHTWARD = (0b00, 0b01, 0b11, 0b10)
_STEP = np.full((4, 4), IMPOSSIBLE, np.int8)
for _at in range(4):
    _STEP[_RIGHTWARD[_at], _RIGHTWARD[_at]] = 0
    _STEP[_RIGHTWARD[_at - 1], _RIGHTWARD[_at]] = 1
    _STEP[_RIGHTWARD[_at], _RIGHTWARD[_at - 1]] = -1


def steps(before: int, pins: Pins) -> Steps:
    """The step at each change of the pins: 1 rightward, −1 leftward, 0 neither A nor B, or IMPOSSIBLE."""
    phase = np.empty(len(pins) + 1, np.uint8)
    phase[0] = before & 3
    np.bitwise_and(pins, 3, out=phase[1:])
    found: Steps = _STEP[phase[:-1], phase[1:]]
    return found


def breaks(steps: Steps) -> list[int]:
    """Where a stretch of like steps ends; the last one is the length."""
    return [*((steps[1:] != steps[:-1]).nonzero()[0] + 1).tolist(), len(steps)] if len(steps) else []


def sensor_changes(pins: Pins) -> list[int]:
    """Where a sensor shows something else than just before."""
    sensors = pins & SENSORS
    changes: list[int] = ((sensors[1:] != sensors[:-1]).nonzero()[0] + 1).tolist()
    return changes
