"""The port's door: find it, open it, say the cautions the first time, and begin a session on it."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

from latchline.errors import InputError, file_trouble
from latchline.knit.events import Question
from latchline.knit.journals import journal_folder
from latchline.knit.record import Record
from latchline.knit.session import Session
from latchline.knit.talk import Operator
from latchline.link.host import Host
from latchline.link.messages import Bed
from latchline.link.port import Port, clock_of, find_port, open_port
from latchline.link.setup import bed_message
from latchline.machine.cautions import SHORT_CAUTIONS
from latchline.machine.profile import Profile
from latchline.machine.sense import watch_limits
from latchline.plan.model import Plan
from latchline.sim.port import SimPort, register

AUTO = "auto"  # the one port on USB
USED = "ports-used"  # one a line
WAIT_S = 0.05  # how long a step waits for the board
VIRTUAL_WAIT_S = 0.25  # a simulated port's time flies while nobody waits for it


def connect(name: str, machine: Profile | None = None, *, caution: Callable[[str], None] | None = None) -> Port:
    """An open port.

    name: as /dev/ttyUSB0 or sim://standard-200; `auto` for the one on USB.
    machine: what `sim://` simulates when it names none. caution: is told each caution, the first time
        that a real port is used; None where a question is made of them (`cautions_for`, `cautioned`).
    Raises PortError, and InputError where the port simulates another machine.
    """
    register()
    name = find_port() if name == AUTO else name

    def prepare(opening: Any) -> None:
        if machine is not None and isinstance(opening, SimPort) and name.split("?")[0] == "sim://":
            opening.machine = machine

    line = open_port(name, prepare)
    try:
        if machine is not None and isinstance(line, SimPort):
            _require_same(name, line.world.profile, machine)
        if caution is not None:
            for text in cautions_for(name):
                caution(text)
            cautioned(name)
    except BaseException:
        line.close()
        raise
    return line


def _require_same(name: str, simulated: Profile, machine: Profile) -> None:
    if bed_message(simulated) != bed_message(machine):
        raise InputError(
            f'this port simulates the machine "{simulated.name}", but the piece is for "{machine.name}"',
            where=name,
            hint="leave the name out, as in sim://?seed=1, or knit for that machine",
        )


def session_on(
    line: Port,
    plan: Plan,
    *,
    operator: Operator | None = None,
    record: Record | None = None,
    waits_at_bands: bool = True,
    waits_at_changes: bool | None = None,
    first: Sequence[Question] = (),
    wait_s: float = WAIT_S,
    reopen: Callable[[], Port] | None = None,
) -> Session:
    """A session on an open port, by the port's own time; `Session` says what the others are.

    wait_s: how long a step waits for a board whose time is the clock on the wall.
    """
    clock = clock_of(line)
    virtual = clock is not time.monotonic
    return Session(
        Host(line, clock, nonce=time.time_ns() & 0xFFFFFFFF),
        plan,
        operator,
        clock=clock,
        record=record,
        bed=None if virtual else watched_bed(plan.profile),
        waits_at_bands=waits_at_bands,
        waits_at_changes=waits_at_changes,
        first=first,
        wait_s=VIRTUAL_WAIT_S if virtual else wait_s,
        reopen=reopen,
    )


def watched_bed(profile: Profile) -> Bed:
    """The bed with the limits between which a real board watches its coil supply."""
    supply_min, current_max = watch_limits(profile)
    return bed_message(profile, supply_min=supply_min, current_max=current_max)


def cautions_for(port: str) -> tuple[str, ...]:
    """The cautions of a real port, until somebody has read them there."""
    return () if port.startswith("sim://") or port in _used() else SHORT_CAUTIONS


def cautioned(port: str) -> None:
    """Remember, beside the journals, that the cautions were read for this port."""
    if port.startswith("sim://") or port in (used := _used()):
        return
    path = journal_folder() / USED
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text("".join(f"{name}\n" for name in [*used, port]), encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise file_trouble(path, error) from None


def _used() -> list[str]:
    path = journal_folder() / USED
    try:
        return path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    except (OSError, UnicodeDecodeError) as error:
        raise file_trouble(path, error) from None
