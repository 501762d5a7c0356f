"""The simulator as a serial port: `sim://standard-200?seed=7&pace=30&fault=flip:0.0001`.

`register` tells pySerial where to look; then `serial.serial_for_url` opens it like any other. Time is
virtual: it goes on only while the host waits in `read`, and `clock` tells it.
`docs/reference/simulator.md` lists the options.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from math import ceil
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import serial
from serial import PortNotOpenError, SerialBase, SerialException

from latchline.errors import PortError, file_trouble
from latchline.files import write_whole
from latchline.machine.profile import Profile, load_profile
from latchline.sim.board import memory
from latchline.sim.carriage import Hand
from latchline.sim.coils import Coils
from latchline.sim.faults import Faults
from latchline.sim.world import MakeBoard, World

SCHEME = "sim"
HANDLERS = "latchline.sim.handlers"
FOREVER_US = 3_600_000_000
LIVE_SLICE_US = 20_000


def register() -> None:
    """Let pySerial find `sim://`."""
    if HANDLERS not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(HANDLERS)


@dataclass(frozen=True)
class Address:
    """The simulator's address, taken apart."""

    profile: str = "standard-200"
    seed: int = 0
    hand: Hand = field(default_factory=Hand)
    faults: Faults = field(default_factory=Faults)
    live: bool = False
    trace: str = ""
    memory: str = ""


def parse_url(url: str) -> Address:
    """Read a `sim://` address. Raises PortError or InputError, naming the option."""
    parts = urlsplit(url)
    given: dict[str, list[str]] = {}
    for key, value in parse_qsl(parts.query, keep_blank_values=True):
        given.setdefault(key, []).append(value)
    faults = Faults.parse(given.pop("fault", []))
    last = {key: values[-1] for key, values in given.items()}
    habits = Hand()
    hand = Hand(
        rows_per_minute=_number(last, "pace", habits.rows_per_minute, 1, 600),
        jitter=_number(last, "jitter", habits.jitter, 0, 0.3),
        pauses=_number(last, "pauses", habits.pauses, 0, 1),
        backing_up=_number(last, "backing-up", habits.backing_up, 0, 1),
        reaction_s=_number(last, "reaction", habits.reaction_s, 0.26, 60),
        clearance_needles=int(_number(last, "clearance", 0, 0, 60)) if "clearance" in last else None,
    )
    options = Address(
        profile=(parts.netloc + parts.path) or Address.profile,
        seed=int(_number(last, "seed", 0, 0, 2**53)),
        hand=hand,
        faults=faults,
        live=bool(_number(last, "live", 0, 0, 1)),
        trace=last.pop("trace", ""),
        memory=last.pop("memory", ""),
    )
    if last:
        known = "seed, pace, fault, live, trace, memory, jitter, pauses, backing-up, reaction, clearance"
        raise PortError(f'the simulator has no option "{next(iter(last))}"', where=url, hint=f"it has {known}")
    return options


def _number(given: dict[str, str], key: str, otherwise: float, least: float, most: float) -> float:
    text = given.pop(key, None)
    if text is None:
        return otherwise
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not least <= value <= most:
        hint = f"write a number from {least:g} to {most:g}"
        raise PortError(f'"{text}" is no value for the option "{key}" of the simulator', hint=hint)
    return value


def _kept_memory(path: Path | None) -> bytes | None:
    """What outlived power at an earlier opening. Raises PortError for a file that cannot be that."""
    if path is None or not path.exists():
        return None
    try:
        kept = path.read_bytes()
    except OSError as error:
        raise file_trouble(path, error, PortError) from None
    if not kept:
        return None  # a new file, made beforehand
    if len(kept) != memory.SIZE:
        hint = f"name a new file, or one of {memory.SIZE} bytes"
        raise PortError("this is no board's memory", where=str(path), hint=hint)
    return kept


class SimPort(SerialBase):
    """A port whose other end is a `World`.

    machine: set before opening, stands in for the profile that the address names.
    """

    world: World
    machine: Profile | None = None
    make_board: MakeBoard | None = None  # another board than the model
    coils: Coils | None = None  # others than the profile says

    def open(self) -> None:
        """Put a board under power. Raises PortError, InputError or ProfileError for an address that is wrong."""
        if self.port is None:
            raise SerialException("the port has no name yet")
        if self.is_open:
            raise SerialException("the port is open already")
        self.options = options = parse_url(str(self.port))
        self._memory = Path(options.memory) if options.memory else None
        self.world = World(
            self.machine or load_profile(options.profile),
            seed=options.seed,
            hand=options.hand,
            faults=options.faults,
            make_board=self.make_board,
            trace=bool(options.trace),
            memory=_kept_memory(self._memory),
            coils=self.coils,
        )
        self._kept = b""
        self._began_s = time.monotonic()
        self.is_open = True

    def close(self) -> None:
        if self.is_open:
            self.is_open = False
            if self.options.trace and self.world.trace:
                self.world.trace.write(Path(self.options.trace), self.world.knitted)

    def clock(self) -> float:
        """Virtual seconds since the port was opened; what the host takes for its clock."""
        return self.world.now_us / 1e6

    def walk(self, side: str) -> None:
        """Have the simulated hand take the carriage past the end sensor at the `left` or `right`."""
        self.world.knitter.walk(1 if side == "right" else -1, self.world.now_us)

    @property
    def in_waiting(self) -> int:
        self._check()
        return self.world.waiting()

    def read(self, size: int = 1) -> bytes:
        """Let virtual time pass until `size` bytes are here or the time-out is over."""
        self._check()
        world = self.world
        wait_us = FOREVER_US if self.timeout is None else ceil(self.timeout * 1e6)  # never 0, or time would stand
        self._pass_time(world.now_us + wait_us, lambda: world.waiting() >= size or world.unplugged)
        self._check()
        return world.read(size)

    def write(self, data: Any) -> int:
        self._check()
        out = bytes(data)
        self.world.write(out)
        return len(out)

    def flush(self) -> None:
        """The line takes what it is given."""

    def reset_input_buffer(self) -> None:
        self._check()
        self.world.read(self.world.waiting())

    def reset_output_buffer(self) -> None:
        self._check()

    def _check(self) -> None:
        if not self.is_open:
            raise PortNotOpenError()
        if self.world.unplugged:
            raise SerialException("the simulated cable has been pulled")

    def _pass_time(self, until_us: int, enough: Callable[[], bool]) -> None:
        woken = enough()
        while not woken and self.world.now_us < until_us:
            step_us = min(until_us, self.world.now_us + LIVE_SLICE_US) if self.options.live else until_us
            woken = self.world.run_until(step_us, wake=enough)
            self._keep_memory()
            if self.options.live:
                time.sleep(max(0.0, self.world.now_us / 1e6 - (time.monotonic() - self._began_s)))

    def _keep_memory(self) -> None:
        """Write down what outlives power, so that another opening of the port finds it."""
        if self._memory is not None and (memory := self.world.board.memory) != self._kept:
            write_whole(self._memory, memory)
            self._kept = memory

    def _reconfigure_port(self) -> None:
        """Any rate will do."""

    def _update_rts_state(self) -> None: ...

    def _update_dtr_state(self) -> None: ...

    def _update_break_state(self) -> None: ...
