"""Read each selector's coil through the board: its probe switches one on by itself and reads supply and current."""

from __future__ import annotations

from latchline.doctor.observe import PROBE_MS
from latchline.errors import LinkError, Silent
from latchline.link.host import Host
from latchline.link.messages import Bed, Probe, Probed, Refused
from latchline.machine.parts import Part
from latchline.measure.coil import Reading, Resistance, resistance_of


def read_coils(host: Host, bed: Bed, driver: Part) -> list[Resistance | None]:
    """Resistance of each selector's coil; None where it draws none or too much. The board was greeted and has no plan.

    Raises LinkError where the board refuses to try a coil, and what the host raises for a line that is lost.
    """
    host.set_bed(bed)
    found: list[Resistance | None] = []
    for selector in range(bed.count):
        question = Probe(selector, min(PROBE_MS, bed.limit_ms - 1))
        try:
            answer = host.ask(question, lambda message: isinstance(message, Probed | Refused), tries=1)
        except Silent:  # a fault ended the probe: too much current, or the supply gave way
            host.clear(host.fresh_status().fault)
            found.append(None)
            continue
        if not isinstance(answer, Probed):
            raise LinkError(
                f"the board does not try selector {selector} now",
                hint="end the piece that is under way, and have the faults of the board looked for",
            )
        reading = Reading(answer.supply_on, answer.current_idle, answer.current_on)
        found.append(_behind(reading, driver))
    return found


def _behind(reading: Reading, driver: Part) -> Resistance | None:
    on_ohm = driver.value("on_ohm") if "on_ohm" in driver.ratings else 0.0
    return resistance_of(reading, on_ohm=on_ohm, drop_v=driver.drop_v(0.1))
