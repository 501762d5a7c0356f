"""`latchline doctor`: find out what is wrong with the board, the line, the sensors or the coils."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from latchline.cli import caution, chatter, print_json
from latchline.cli.words import TYPED

if TYPE_CHECKING:
    from latchline.doctor.diagnose import Diagnosis
    from latchline.doctor.observed import Observed
    from latchline.doctor.report import Examination, UsbPort
    from latchline.link.host import Host
    from latchline.link.port import Port
    from latchline.machine.profile import Profile


@click.command("doctor")
@click.option("--port", metavar="PORT", default="auto", help="As /dev/ttyUSB0 or sim://standard-200.  [the one on USB]")
@click.option("--machine", metavar="NAME|FILE", help="Machine profile.  [standard-200]")
@click.option("--no-walk", is_flag=True, help="Leave the carriage alone: line and coils only.")
@click.option("--no-coils", is_flag=True, help="Leave the selectors off: line and sensors only.")
@click.option("--json", "as_json", is_flag=True, help="Print everything seen as JSON.")
@click.option("--bundle", metavar="FILE.zip", type=click.Path(path_type=Path), help="Write a file for a question.")
@click.option("--journal", metavar="JOURNAL", type=click.Path(path_type=Path), help="Put its timings in the bundle.")
def command(
    port: str,
    machine: str | None,
    no_walk: bool,
    no_coils: bool,
    as_json: bool,
    bundle: Path | None,
    journal: Path | None,
) -> int:
    """Find out what is wrong with the board, the line, the sensors or the coils.

    The doctor listens to the board's clock, tries the line, asks you to take the carriage to the
    left, to the right and back, switches on one selector after the other, and names each fault with
    its likely cause and the next step. The bundle names no folder, user, computer, piece or serial
    number.

    \b
      latchline doctor
      latchline doctor --port /dev/ttyUSB0 --machine chunky-112
      latchline doctor --port "sim://standard-200?fault=a-dead"
      latchline doctor --bundle question.zip
    """
    from latchline.doctor import report as listing
    from latchline.machine.profile import load_profile

    if journal is not None and bundle is None:
        raise click.UsageError("--journal goes with --bundle")
    if bundle is not None:
        from latchline.files import ending_of, require_folder

        ending_of(bundle, ("zip",))
        require_folder(bundle)
    profile = load_profile(machine or _simulated(port) or "standard-200")
    passes_csv = _passes_csv(journal) if journal is not None else ""
    done = _examine(port, profile, walks=not no_walk, coils=not no_coils)
    if as_json:
        print_json(listing.as_values(done, TYPED))
    else:
        for line in listing.as_text(done, TYPED):
            click.echo(line)
    if bundle is not None:
        from latchline.files import write_whole

        write_whole(bundle, listing.bundle(done, passes_csv, TYPED))
        chatter(f"Wrote {bundle}.")
    return 1 if done.found else 0


def _simulated(port: str) -> str | None:
    """The profile of a simulated port."""
    if not port.startswith("sim://"):
        return None
    from latchline.sim.port import parse_url

    return parse_url(port).profile


def _examine(port: str, profile: Profile, *, walks: bool, coils: bool) -> Examination:
    """Open, greet, observe, diagnose. An error on the way is a diagnosis where it is one of the doctor's."""
    from latchline.connect import connect
    from latchline.doctor.diagnose import diagnose, of_error
    from latchline.doctor.report import Examination
    from latchline.errors import LinkError
    from latchline.link.host import Host
    from latchline.link.port import clock_of
    from latchline.machine.profile import load_profile, shipped_profiles

    usb = _usb_ports()
    for one in usb:
        chatter(f"serial port: {one}")
    found: list[Diagnosis] = []
    seen: Observed | None = None
    host: Host | None = None
    try:
        with closing(connect(port, caution=caution)) as line:
            host = Host(line, clock_of(line))
            chatter(f"greeting the board on {line.port}")
            seen = _observe(host, line, profile, walks, coils)
            found = diagnose(seen, profile, [load_profile(name) for name in shipped_profiles()])
    except LinkError as error:
        diagnosis = of_error(error, host.info if host is not None else None)
        if diagnosis is None:
            raise
        found = [diagnosis]
    return Examination("" if port == "auto" and host is None else port, usb, profile, tuple(found), seen)


def _observe(host: Host, line: Port, profile: Profile, walks: bool, coils: bool) -> Observed:
    from latchline.connect import watched_bed
    from latchline.doctor.observe import Watch
    from latchline.link.port import clock_of

    info = host.greet()
    bed = watched_bed(profile)
    if coils:
        chatter("The selectors will be switched on one by one: keep fingers clear of carriage and needles.")
    walker = _Walker(host, getattr(line, "walk", None)) if walks else None
    return Watch(host, bed, clock_of(line), chatter).observe(info, walker, coils=coils)


class _Walker:
    """Whoever stands at the machine, or the simulator's own hand."""

    def __init__(self, host: Host, simulated: Callable[[str], None] | None) -> None:
        self._host, self._simulated = host, simulated

    def walk(self, side: str) -> None:
        if self._simulated is not None:
            chatter(f"the simulated hand takes the carriage to the {side}")
            self._simulated(side)
            return
        self._host.buzz(0.2)
        chatter(f"Take the carriage to your {side.upper()}, slowly, past the end sensor there, and leave it.")


def _usb_ports() -> tuple[UsbPort, ...]:
    from serial.tools.list_ports import comports

    from latchline.doctor.report import UsbPort

    return tuple(
        UsbPort(port.device, port.product or "", port.vid, port.pid)
        for port in sorted(comports())
        if port.vid is not None
    )


def _passes_csv(journal: Path) -> str:
    """The timings of a journal, its times counted from the first pass."""
    from dataclasses import replace

    from latchline.knit.timings import timings_of
    from latchline.timing.listing import as_csv

    _, timings = timings_of(journal)
    began_s = timings[0].start_s
    return as_csv([replace(one, start_s=one.start_s - began_s, end_s=one.end_s - began_s) for one in timings])
