"""The firmware's core, compiled for this computer, as a Board."""

from __future__ import annotations

import functools

from boards.compiled import BUILD, CompiledBoard, lacking, make
from latchline.sim.face import Analog


def missing() -> str:
    """What this machine lacks for it; empty when it lacks nothing."""
    return lacking("gcc", "make")


@functools.cache
def build() -> None:
    make("native")


class NativeBoard(CompiledBoard):
    def __init__(self, *, chosen: int = 0x4C617463, analog: Analog | None = None):
        build()
        super().__init__(BUILD / "native.so", chosen=chosen, analog=analog)
