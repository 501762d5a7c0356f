"""A board on the simulator for the doctor."""

from __future__ import annotations

from latchline.doctor.diagnose import Diagnosis, diagnose
from latchline.doctor.observe import Watch
from latchline.doctor.observed import Observed
from latchline.link.host import Host
from latchline.link.messages import Bed
from latchline.link.setup import bed_message
from latchline.machine.profile import Profile, load_profile, shipped_profiles
from latchline.machine.sense import watch_limits
from latchline.sim.coils import Coils
from latchline.sim.faults import Faults
from latchline.sim.port import SimPort
from latchline.sim.world import MakeBoard, World

PROFILES = [load_profile(name) for name in shipped_profiles()]


def bed_for(profile: Profile) -> Bed:
    supply_min, current_max = watch_limits(profile)
    return bed_message(profile, supply_min=supply_min, current_max=current_max)


def observe(
    machine: str | Profile = "standard-200",
    faults: str = "",
    seed: int = 1,
    told: str = "",
    make_board: MakeBoard | None = None,
    coils: Coils | None = None,
) -> Observed:
    """What the doctor sees of this machine, told that it is `told`; on another board than the model if one is given."""
    port = SimPort()
    port.port = f"sim://standard-200?seed={seed}" + (f"&fault={faults}" if faults else "")
    port.machine = machine if isinstance(machine, Profile) else load_profile(machine)
    port.coils = coils
    port.open()
    if make_board is not None:
        port.world = World(port.machine, seed=seed, faults=Faults.parse([faults]), make_board=make_board)
    try:
        host = Host(port, port.clock)
        info = host.greet()
        bed = bed_for(load_profile(told) if told else port.machine)
        return Watch(host, bed, port.clock, lambda _: None).observe(info, port)
    finally:
        port.close()


def found(
    machine: str | Profile = "standard-200",
    faults: str = "",
    seed: int = 1,
    told: str = "",
    make_board: MakeBoard | None = None,
    coils: Coils | None = None,
) -> list[Diagnosis]:
    profile = load_profile(told) if told else machine if isinstance(machine, Profile) else load_profile(machine)
    return diagnose(observe(machine, faults, seed, told, make_board, coils), profile, PROFILES)
