"""Read each selector's coil through the board: its probe switches one on by itself and reads supply and current."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from latchline.doctor.diagnose import COIL_FAULTS, Diagnosis, of_supply
from latchline.doctor.observe import Watch
from latchline.doctor.observed import Try
from latchline.errors import LinkError
from latchline.link.host import Host
from latchline.link.messages import Bed
from latchline.machine.electrical import read_electrical
from latchline.machine.parts import Part, load_part
from latchline.machine.profile import Profile
from latchline.measure.coil import LEAST_A, Reading, Resistance, resistance_of

NO_CURRENT = f"draws no current, or less than {1000 * LEAST_A:.0f} mA"
TOO_MUCH = "draws too much current"


@dataclass(frozen=True)
class ReadCoil:
    """One selector's coil; `why` there is no resistance."""

    resistance: Resistance | None
    why: str = ""


def read_coils(
    host: Host, bed: Bed, profile: Profile, clock: Callable[[], float], said: Callable[[str], None]
) -> list[ReadCoil]:
    """Each selector's coil. The board was greeted and has no plan; the supply is judged before any coil is.

    Raises LinkError where the supply is not fit to judge a coil by, where no coil draws current or the board
    refuses to try them, and what the host raises for a line that is lost.
    """
    tries = Watch(host, bed, clock, said).coils_alone()
    for diagnosis in of_supply(tries, profile):
        raise _complaint(diagnosis)
    driver = load_part(read_electrical(profile).driver, "driver")
    found = [_behind(one, driver) for one in tries]
    if all(one.why == NO_CURRENT for one in found):
        raise _complaint(Diagnosis("no-coil-current"))
    return found


def _behind(one: Try, driver: Part) -> ReadCoil:
    if one.probed is None or one.fault in COIL_FAULTS:
        return ReadCoil(None, TOO_MUCH)
    probed = one.probed
    reading = Reading(probed.supply_on, probed.current_idle, probed.current_on)
    resistance = resistance_of(reading, driver)
    if resistance is not None:
        return ReadCoil(resistance)
    return ReadCoil(None, NO_CURRENT if reading.draws_nothing else TOO_MUCH)


def _complaint(diagnosis: Diagnosis) -> LinkError:
    ailment = diagnosis.ailment
    what = f"{ailment.says} ({diagnosis.detail})" if diagnosis.detail else ailment.says
    return LinkError(what, hint=ailment.do_next, mends=ailment.mends)
