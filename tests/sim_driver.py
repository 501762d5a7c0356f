"""A small plan and a host that knits it over `sim://`, for the tests of the simulator."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import serial

from latchline.link.host import Faulted, Host, PassDone, Restarted
from latchline.link.messages import Fault
from latchline.link.setup import bed_message
from latchline.machine.needles import Span
from latchline.machine.profile import Profile, load_profile
from latchline.sim import port


@dataclass(frozen=True, eq=False)
class SmallPlan:
    """As much of a plan as a host needs: random masks over a span."""

    profile: Profile
    span: Span
    masks: npt.NDArray[np.bool_]
    start_right: bool = False
    fingerprint: int = 0x5EED_0001

    @property
    def passes(self) -> int:
        return len(self.masks)

    @property
    def rightward(self) -> npt.NDArray[np.bool_]:
        odd: npt.NDArray[np.bool_] = np.arange(self.passes) % 2 == (1 if self.start_right else 0)
        return odd

    def turn_span(self, number: int) -> Span:
        return self.span

    def selected(self, number: int) -> npt.NDArray[np.bool_]:
        """For each needle of the bed."""
        bed = np.zeros(self.profile.needles, bool)
        bed[self.span.first : self.span.last + 1] = self.masks[number - 1]
        return bed

    def bed_mask(self, number: int) -> bytes:
        return np.packbits(self.selected(number), bitorder="little").tobytes().ljust(32, b"\0")


def small_plan(
    profile: str | Profile = "standard-200", passes: int = 4, seed: int = 1, width: int = 0, start_right: bool = False
) -> SmallPlan:
    machine = load_profile(profile) if isinstance(profile, str) else profile
    span = machine.centred(width or machine.needles)
    masks = np.random.default_rng(seed).random((passes, span.width)) < 0.5
    return SmallPlan(machine, span, masks, start_right)


@dataclass
class Told:
    """What a run came to."""

    port: port.SimPort
    done: list[PassDone] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    host: Host | None = None


def knit(
    plan: SmallPlan,
    url: str,
    *,
    patience_s: float = 400.0,
    wait_s: float = 0.5,
    machine: Profile | None = None,
    close: bool = True,
) -> Told:
    """Knit the plan to its end, clearing faults as they come; gives up after so many virtual seconds."""
    port.register()
    sim = serial.serial_for_url(url, baudrate=250_000, timeout=0.1, do_not_open=True)
    assert isinstance(sim, port.SimPort)
    sim.machine = machine
    sim.open()
    host = Host(sim, sim.clock)
    told = Told(sim, host=host)
    host.greet()
    host.set_bed(bed_message(plan.profile))
    host.start(plan, 1)  # type: ignore[arg-type]
    while len(told.done) < plan.passes and sim.clock() < patience_s:
        for event in host.step(wait_s):
            if isinstance(event, PassDone):
                told.done.append(event)
                host.acknowledge(event.number)
            elif isinstance(event, Restarted):
                host.greet()
                host.set_bed(bed_message(plan.profile))
                host.start(plan, len(told.done) + 1)  # type: ignore[arg-type]
            elif isinstance(event, Faulted):
                told.faults.append(event.fault)
                host.clear(event.fault.fault)
    if close:
        sim.close()
    return told
