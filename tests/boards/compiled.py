"""The C face of `firmware/emulator/face.h` as a Board; used by `native` and `chip`."""

from __future__ import annotations

import ctypes as c
import fcntl
import functools
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np

from latchline.sim.face import Analog, Pins, Signals, Times

FIRMWARE = Path(__file__).parents[2] / "firmware"
BUILD = FIRMWARE / "build"
ANALOG = c.CFUNCTYPE(c.c_uint32, c.c_uint16, c.c_uint8)
MEMORY_BYTES = 1024


def make(target: str) -> None:
    """`make -C firmware target`, one at a time, so that parallel test workers build everything once."""
    BUILD.mkdir(exist_ok=True)
    with (BUILD / ".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        environment = {
            key: value for key, value in os.environ.items() if key not in ("MAKEFLAGS", "MFLAGS", "LD_PRELOAD")
        }
        done = subprocess.run(
            ["make", "-C", str(FIRMWARE), target], capture_output=True, text=True, env=environment, check=False
        )
    if done.returncode:
        raise RuntimeError(f"make -C firmware {target} failed:\n{done.stdout}{done.stderr}")


def lacking(*tools: str) -> str:
    """The first of these that this machine does not have; empty when it has them all."""
    return next((tool for tool in tools if not (Path(tool).exists() if tool[0] == "/" else shutil.which(tool))), "")


@functools.cache
def library(path: Path) -> Any:
    """The shared library with the types of its functions declared."""
    lib = c.CDLL(str(path))
    face, size, time = c.c_void_p, c.c_size_t, c.c_int64
    for name, result, arguments in (
        ("new", face, [c.c_char_p, c.c_uint32, ANALOG]),
        ("free", None, [face]),
        ("power", None, [face, time, c.c_uint8]),
        ("run", None, [face, time]),
        ("edges", None, [face, size, c.c_void_p, c.c_void_p]),
        ("receive", None, [face, time, size, c.c_char_p]),
        ("sent_count", size, [face]),
        ("sent", None, [face, c.c_void_p, c.c_void_p]),
        ("signals_count", size, [face]),
        ("signals", None, [face, c.c_void_p, c.c_void_p, c.c_void_p]),
        ("memory", c.POINTER(c.c_uint8), [face]),
    ):
        function = getattr(lib, f"face_{name}")
        function.restype, function.argtypes = result, arguments
    return lib


class CompiledBoard:
    """A Board (`latchline/sim/face.py`) behind the C face. One frame is one entry of `sent`."""

    def __init__(
        self, path: Path, image: Path | None = None, *, chosen: int = 0x4C617463, analog: Analog | None = None
    ):
        self.lib = library(path)

        def read(coils: int, enabled: int) -> int:
            supply, current = analog(coils, bool(enabled)) if analog else (711, 0)
            return supply | current << 16

        self._begun = 0
        self._partial = bytearray()  # a frame that is still being sent
        self._whole: list[tuple[int, bytes]] = []
        self._read = ANALOG(read)  # kept, because C holds only its address
        self._face = self.lib.face_new(str(image).encode() if image else None, chosen, self._read)
        if not self._face:
            raise RuntimeError(f"{path.name} could not make a board")

    def __del__(self) -> None:
        if getattr(self, "_face", None):
            self.lib.face_free(self._face)
            self._face = None

    @property
    def face(self) -> int:
        """The C object, for functions of one library only."""
        return int(self._face)

    def power(self, at_us: int, cause: int) -> None:
        self.run(at_us)
        self._whole = self._sent_by(at_us)
        if self._partial:  # cut short by the power
            self._whole.append((self._begun, bytes(self._partial)))
            self._partial.clear()
        self.lib.face_power(self._face, at_us, cause)

    def run(self, until_us: int) -> None:
        self.lib.face_run(self._face, until_us)

    def edges(self, at_us: Times, pins: Pins) -> int:
        at, levels = np.ascontiguousarray(at_us, np.int64), np.ascontiguousarray(pins, np.uint8)
        self.lib.face_edges(self._face, len(at), at.ctypes.data, levels.ctypes.data)
        return len(at)

    def receive(self, at_us: int, data: bytes) -> None:
        self.lib.face_receive(self._face, at_us, len(data), bytes(data))

    def sent(self) -> list[tuple[int, bytes]]:
        return self._sent_by(1 << 62)

    def _sent_by(self, until_us: int) -> list[tuple[int, bytes]]:
        """The frames whose bytes are complete by then; what was to follow is lost."""
        count = self.lib.face_sent_count(self._face)
        at, data = np.empty(count, np.int64), np.empty(count, np.uint8)
        self.lib.face_sent(self._face, at.ctypes.data, data.ctypes.data)
        for time, byte in zip(at[at <= until_us].tolist(), data[at <= until_us].tolist(), strict=True):
            if not self._partial:
                self._begun = time
            self._partial.append(byte)
            if byte == 0:
                self._whole.append((self._begun, bytes(self._partial)))
                self._partial.clear()
        frames, self._whole = self._whole, []
        return frames

    def signals(self) -> Signals:
        count = self.lib.face_signals_count(self._face)
        at, coils, bits = np.empty(count, np.int64), np.empty(count, np.uint16), np.empty(count, np.uint8)
        self.lib.face_signals(self._face, at.ctypes.data, coils.ctypes.data, bits.ctypes.data)
        return Signals(at, coils, (bits & 1) != 0, (bits & 2) != 0, (bits & 4) != 0)

    @property
    def memory(self) -> bytes:
        return bytes(self.lib.face_memory(self._face)[:MEMORY_BYTES])

    @memory.setter
    def memory(self, data: bytes) -> None:
        c.memmove(self.lib.face_memory(self._face), bytes(data), MEMORY_BYTES)
