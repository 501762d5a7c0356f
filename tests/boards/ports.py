"""Ports at whose other end the firmware stands: `emu://` the emulated chip, `native://` the core on this computer.

Everything around them is the simulator's world, and the options of the address are those of `sim://`, so
`emu://standard-200?seed=7&fault=flip:0.0001` is what it looks like. `register` makes them known to pySerial.
"""

from __future__ import annotations

import serial

from boards.chip import ChipBoard
from boards.native import NativeBoard
from latchline.sim.face import Analog, Board
from latchline.sim.port import SimPort

HANDLERS = "boards.handlers"


def register() -> None:
    if HANDLERS not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(HANDLERS)


class EmulatedPort(SimPort):
    """The chip's own image behind a simulated line, under a simulated hand."""

    @staticmethod
    def make_board(analog: Analog) -> Board:
        return ChipBoard(analog=analog)


class NativePort(SimPort):
    """The firmware's core behind a simulated line, under a simulated hand."""

    @staticmethod
    def make_board(analog: Analog) -> Board:
        return NativeBoard(analog=analog)
