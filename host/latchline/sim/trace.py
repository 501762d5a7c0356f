"""What a run looked like on the wires, kept for a VCD file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from latchline.machine.profile import Profile
from latchline.sim import vcd
from latchline.sim.carriage import Motion
from latchline.sim.face import Pins, Signals, Times
from latchline.sim.needles import Knitted


@dataclass
class Trace:
    """Sensors, outputs and the carriage's place, in the order in which they were added."""

    profile: Profile
    _sensors: list[tuple[Times, Pins]] = field(default_factory=list)
    _motions: list[Motion] = field(default_factory=list)
    _signals: list[Signals] = field(default_factory=list)

    def add(self, at_us: Times, pins: Pins, motion: Motion, signals: Signals) -> None:
        if len(at_us):
            self._sensors.append((at_us, pins))
        if len(motion):
            self._motions.append(motion)
        if len(signals.at_us):
            self._signals.append(signals)

    def write(self, path: Path, knitted: Sequence[Knitted]) -> None:
        """Write the VCD file. Raises InputError when the file cannot be written."""
        vcd.write(path, self.lines(knitted))

    def lines(self, knitted: Sequence[Knitted]) -> list[vcd.Line]:
        none = np.zeros(0, np.int64)
        sensor_us = np.concatenate([none, *(at_us for at_us, _ in self._sensors)])
        pins = np.concatenate([none, *(pins for _, pins in self._sensors)]).astype(np.int64)
        found = [vcd.Line(name, 1, sensor_us, pins >> bit & 1) for bit, name in enumerate(("a", "b", "left", "right"))]
        signal_us = np.concatenate([none, *(part.at_us for part in self._signals)])

        def output(name: str) -> Times:
            column: Times = np.concatenate([none, *(getattr(part, name) for part in self._signals)]).astype(np.int64)
            return column

        register = output("register")
        coils = range(self.profile.selectors.count)
        found += [vcd.Line(f"selector_{coil}", 1, signal_us, register >> coil & 1) for coil in coils]
        found += [vcd.Line(name, 1, signal_us, output(name)) for name in ("enabled", "lamp", "buzzer")]
        motion_us = np.concatenate([none, *(part.at_us for part in self._motions)])
        places = np.concatenate([none, *(part.places for part in self._motions)])
        found.append(vcd.Line("position", 16, motion_us, places))
        ends = [(at, number) for index, one in enumerate(knitted) for at, number in _span(one, index + 1)]
        pass_us = np.array([at for at, _ in ends], np.int64)
        found.append(vcd.Line("pass", 32, pass_us, np.array([number for _, number in ends], np.int64)))
        return found


def _span(one: Knitted, number: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """A pass has its number from its first edge to its last, and 0 stands between."""
    return (one.begin_us, number), (one.end_us, 0)
