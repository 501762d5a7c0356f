"""The chip's own image, run by an emulator in virtual time, as a Board. Its figures are emulated, not measured."""

from __future__ import annotations

import ctypes as c
import functools
from typing import Any

import numpy as np
import numpy.typing as npt

from boards.compiled import BUILD, CompiledBoard, lacking, library, make
from latchline.sim.face import Analog

CYCLES_A_US = 16
Cycles = npt.NDArray[np.uint64]


def missing() -> str:
    """What this machine lacks for it; empty when it lacks nothing."""
    return lacking("gcc", "make", "avr-gcc", "/usr/include/simavr/sim_avr.h")


@functools.cache
def build() -> None:
    make("emulator")


@functools.cache
def _library() -> Any:
    lib = library(BUILD / "chip.so")
    face, size, cycles = c.c_void_p, c.c_size_t, c.c_uint64
    for name, result, arguments in (
        ("cycle", cycles, [face]),
        ("run_to", None, [face, cycles]),
        ("edges", None, [face, size, c.c_void_p, c.c_void_p, c.c_void_p]),
        ("latches_count", size, [face]),
        ("latches", None, [face, c.c_void_p, c.c_void_p]),
        ("data", c.POINTER(c.c_uint8), [face]),
        ("overruns", c.c_uint32, [face]),
        ("collisions", c.c_uint32, [face]),
        ("watchdog_resets", c.c_uint32, [face]),
        ("burned", c.c_uint32, [face]),
        ("set_torn", None, [face, c.c_uint8]),
        ("block_main_loop", None, [face]),
    ):
        function = getattr(lib, f"chip_{name}")
        function.restype, function.argtypes = result, arguments
    return lib


@functools.cache
def start_us() -> int:
    """From power to the start of the chip's own clock (TCCR1B is written)."""
    board = ChipBoard()
    board.power(0, 1)
    us = 0
    while not board.data[0x81]:
        us += 1
        board.run(us)
    return us


class ChipBoard(CompiledBoard):
    """`chosen` is written into the memory, because an emulated converter has no noise to choose a number by."""

    def __init__(self, *, chosen: int | None = 0x4C617463, analog: Analog | None = None, image: str = "latchline.elf"):
        build()
        super().__init__(BUILD / "chip.so", BUILD / image, analog=analog)
        self.own = _library()
        if chosen is not None:
            memory = bytearray(self.memory)
            memory[960:972] = (
                chosen.to_bytes(4, "little") + (chosen ^ 0xFFFFFFFF).to_bytes(4, "little") + b"\x00\x00\xff\xff"
            )
            self.memory = bytes(memory)

    def run_to_cycle(self, cycle: int) -> None:
        """Run to a cycle since power-on."""
        self.own.chip_run_to(self._face, cycle)

    def edges_at(self, cycles: Cycles, pins: npt.NDArray[np.uint8]) -> Cycles:
        """Edges by cycles since power-on; the cycle at which each one really came."""
        at, levels = np.ascontiguousarray(cycles, np.uint64), np.ascontiguousarray(pins, np.uint8)
        applied = np.empty(len(at), np.uint64)
        self.own.chip_edges(self._face, len(at), at.ctypes.data, levels.ctypes.data, applied.ctypes.data)
        return applied

    def latches(self) -> tuple[Cycles, npt.NDArray[np.uint16]]:
        """Cycles since power-on at which the register was latched since the last call, and what it then was."""
        count = self.own.chip_latches_count(self._face)
        cycles, coils = np.empty(count, np.uint64), np.empty(count, np.uint16)
        self.own.chip_latches(self._face, cycles.ctypes.data, coils.ctypes.data)
        return cycles, coils

    @property
    def data(self) -> Any:
        """The chip's data space, registers and RAM, to read or to paint."""
        return self.own.chip_data(self._face)

    def block_main_loop(self) -> None:
        self.own.chip_block_main_loop(self._face)

    def tear_with(self, byte: int) -> None:
        """What a memory byte becomes that a power cut catches half written."""
        self.own.chip_set_torn(self._face, byte)

    def count(self, what: str) -> int:
        """`overruns`, `collisions`, `watchdog_resets` or `burned`."""
        return int(getattr(self.own, f"chip_{what}")(self._face))
