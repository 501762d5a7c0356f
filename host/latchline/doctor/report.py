"""The doctor's findings in words, as values for JSON, and as a bundle with nothing private in it."""

from __future__ import annotations

import io
import json
import platform
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from typing import Any

from latchline.counted import counted
from latchline.doctor.diagnose import Diagnosis
from latchline.doctor.observed import REST, Observed, Stretch
from latchline.link.messages import BoardInfo
from latchline.machine import sense
from latchline.machine.profile import Profile, shipped_profiles
from latchline.mend import PIECE_FILE, Mend, Tongue

_KIND = re.compile(r"^(tty[A-Za-z]+|COM|cu\.[a-z]+)", re.IGNORECASE)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest time that a zip can carry


GO_ON = Mend("go on with it", task="resume")


@dataclass(frozen=True)
class UsbPort:
    """A serial port as the system lists it. name: of the device; product: what it calls itself."""

    name: str
    product: str = ""
    vendor_id: int | None = None
    product_id: int | None = None

    def __str__(self) -> str:
        usb = "" if self.vendor_id is None else f"  USB {self.vendor_id:04x}:{self.product_id or 0:04x}"
        return f"{self.name}  {self.product}{usb}".rstrip()


@dataclass(frozen=True)
class Examination:
    """What the doctor did and found. port: its address, empty where none was opened."""

    port: str
    usb: tuple[UsbPort, ...]
    profile: Profile
    found: tuple[Diagnosis, ...]
    seen: Observed | None = None


def as_text(done: Examination, tongue: Tongue = PIECE_FILE) -> Iterator[str]:
    """The findings with cause and next step, then the figures."""
    for one in done.found:
        yield f"{one.ailment.says}."
        if one.detail:
            yield f"  seen:    {one.detail}"
        yield f"  likely:  {one.ailment.cause}"
        yield f"  do next: {one.ailment.next_step(tongue)}"
        yield ""
    if done.seen is None:
        return
    if not done.found:
        yield "Nothing wrong was found."
    yield from _figures(done.seen, done.profile)
    if done.seen.was_knitting:
        yield f"A piece was under way on the board: {tongue.mend(GO_ON)}."


def _figures(seen: Observed, profile: Profile) -> Iterator[str]:
    numbers = ".".join(str(part) for part in seen.info.version)
    clock = "" if seen.clock_error is None else f", clock {seen.clock_error:+.1%} against this computer's"
    starts = "its first start" if seen.info.boots == 1 else f"{seen.info.boots} starts in its life"
    yield f"Firmware {numbers}, protocol {seen.info.protocol}, {starts}{clock}."
    yield f"{counted(seen.asked, 'question')}, {seen.unanswered} repeated, {counted(seen.bad_frames, 'damaged frame')}."
    for stretch in seen.walk:
        if stretch.wanted != REST:
            counters = ("edges", "reversals", "impossible", "left_on", "right_on")
            edges, turns, impossible, left, right = (stretch.gained(name) for name in counters)
            yield (
                f"Walk to the {stretch.wanted}: {counted(edges, 'edge')}, {counted(turns, 'turn')}, "
                f"{impossible} impossible; "
                f"end sensors on: left {left}, right {right}."
            )
    tried = [one for one in seen.tries if one.probed is not None]
    if tried:
        drawn = [sense.current_a(one.drawn) for one in tried]
        supply = sense.supply_v(tried[0].idle.supply)
        lowest = min(sense.supply_v(one.probed.supply_on) for one in tried if one.probed is not None)
        yield (
            f"Selectors: {len(tried)} of {len(seen.tries)} tried, {min(drawn):.2f} to {max(drawn):.2f} A each; "
            f"supply {supply:.1f} V, {lowest:.1f} V at the least with one on."
        )


def as_values(done: Examination, tongue: Tongue = PIECE_FILE) -> dict[str, Any]:
    """For JSON; docs/how-to/doctor.md lists the keys."""
    return {
        "healthy": not done.found,
        "port": done.port,
        "ports": [asdict(one) for one in done.usb],
        "machine": done.profile.name,
        "found": [_diagnosis(one, tongue) for one in done.found],
        "seen": None if done.seen is None else _seen(done.seen),
    }


def _diagnosis(one: Diagnosis, tongue: Tongue) -> dict[str, Any]:
    return {
        "name": one.name,
        "says": one.ailment.says,
        "seen": one.detail,
        "likely": one.ailment.cause,
        "do_next": one.ailment.next_step(tongue),
        "figures": dict(one.figures),
    }


def _seen(seen: Observed) -> dict[str, Any]:
    return {
        "board": _board(seen.info),
        "bed": asdict(seen.bed),
        "clock_error": seen.clock_error,
        "asked": seen.asked,
        "unanswered": seen.unanswered,
        "bad_frames": seen.bad_frames,
        "restarts": seen.restarts,
        "was_knitting": seen.was_knitting,
        "walk": [_stretch(stretch) for stretch in seen.walk],
        "selectors": [
            {
                "selector": one.selector,
                "idle": {"supply": one.idle.supply, "current": one.idle.current},
                "on": None if one.probed is None else asdict(one.probed),
                "fault": one.fault,
            }
            for one in seen.tries
        ],
    }


def _board(info: BoardInfo) -> dict[str, Any]:
    """Without the number by which boards are told apart."""
    values = asdict(info)
    del values["board"], values["nonce"]
    return values | {"version": ".".join(str(part) for part in info.version)}


def _stretch(stretch: Stretch) -> dict[str, Any]:
    begin_s = stretch.samples[0].at_s
    return {
        "wanted": stretch.wanted,
        "faults": [asdict(fault) for fault in stretch.faults],
        "samples": [
            {
                "at_s": round(one.at_s - begin_s, 4),
                "position": one.status.position,
                "pins": one.status.pins,
                "flags": one.status.flags,
                **asdict(one.counts),
            }
            for one in stretch.samples
        ],
    }


# ---- the bundle -------------------------------------------------------------------------------


def bundle(done: Examination, passes_csv: str = "", tongue: Tongue = PIECE_FILE) -> bytes:
    """One zip to attach to a question.

    It names no folder, user, computer, piece, board or USB serial number: a port is told by its kind
    alone, a profile of the user's by its figures, and times count from the first pass.
    """
    report = as_values(done, tongue)
    report["port"] = port_kind(done.port)
    report["ports"] = [
        {"kind": port_kind(one.name), "vendor_id": one.vendor_id, "product_id": one.product_id} for one in done.usb
    ]
    if done.profile.name not in shipped_profiles():
        report["machine"] = "a profile of the user's"
    for one in report["found"]:
        if done.seen is None:  # the detail is a complaint that may name the port
            one["seen"] = ""
        one["figures"].pop("profile", None)
    files: Mapping[str, str] = {
        "report.json": json.dumps(report, indent=1, ensure_ascii=False),
        "report.txt": "\n".join(_bundled_text(done, tongue)),
        "versions.json": json.dumps(_versions(), indent=1),
        **({"passes.csv": passes_csv} if passes_csv else {}),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(zipfile.ZipInfo(name, _EPOCH), text.encode(), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _bundled_text(done: Examination, tongue: Tongue) -> Sequence[str]:
    if done.seen is None:
        return [f"{one.ailment.says}." for one in done.found]
    return list(as_text(done, tongue))


def port_kind(name: str) -> str:
    """What kind of port this is, without what tells one from another: `ttyUSB`, `COM`, `sim`, `other`."""
    if "://" in name:
        return name.partition("://")[0]
    match = _KIND.match(re.split(r"[/\\]", name)[-1])
    return match[1] if match else "other" if name else ""


def _versions() -> dict[str, str]:
    return {
        "latchline": version("latchline"),
        "pyserial": version("pyserial"),
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
    }
