"""A plan as text and bytes, so that a journal keeps it whole: a later edit of the files changes nothing."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict, fields
from typing import Any

import numpy as np

from latchline.chart.model import Chart, Colour
from latchline.errors import JournalError
from latchline.machine.needles import Span
from latchline.machine.profile import Profile, parse_profile
from latchline.plan.hand import HandStep, Position
from latchline.plan.model import Band, Plan, Yarn
from latchline.plan.options import Options
from latchline.technique.table import technique_named

Arrays = dict[str, Any]


def kept(plan: Plan) -> tuple[str, bytes]:
    """The plan as JSON, and its arrays as a compressed NumPy archive. The profile's own text is not in it."""
    values = {item.name: getattr(plan, item.name) for item in fields(plan)}
    arrays = {name: value for name, value in values.items() if isinstance(value, np.ndarray)}
    words = {
        "name": plan.name,
        "span": [plan.span.first, plan.span.last],
        "fingerprint": plan.fingerprint,
        "notes": {str(number): list(lines) for number, lines in plan.notes.items()},
        "hand": [asdict(step) for step in plan.hand],
        "bands": [_kept_band(band, number, arrays) for number, band in enumerate(plan.bands)],
    }
    packed = io.BytesIO()
    np.savez_compressed(packed, allow_pickle=False, **arrays)
    return json.dumps(words, ensure_ascii=False, indent=1), packed.getvalue()


def restored(words: str, packed: bytes, machine: str, profile: str) -> Plan:
    """The plan back from `kept`, with the profile's name and text. Raises JournalError when something is damaged."""
    try:
        told = json.loads(words)
        with np.load(io.BytesIO(packed), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        values = {item.name: arrays[item.name] for item in fields(Plan) if item.name in arrays}
        knitted_on = parse_profile(profile, name=machine, file=f"{machine} in the journal")
        return Plan(
            name=told["name"],
            profile=knitted_on,
            span=Span(*told["span"]),
            bands=tuple(_restored_band(band, number, arrays, knitted_on) for number, band in enumerate(told["bands"])),
            notes={int(number): tuple(lines) for number, lines in told["notes"].items()},
            fingerprint=told["fingerprint"],
            hand=tuple(HandStep(**(step | {"leaves": Position(step["leaves"])})) for step in told.get("hand", [])),
            **values,
        )
    except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile) as error:
        raise JournalError(f"the plan in the journal is damaged ({error})") from None


def _kept_band(band: Band, number: int, arrays: Arrays) -> dict[str, Any]:
    kept = {item.name: getattr(band, item.name) for item in fields(band)} | {
        "technique": band.technique.name,
        "options": asdict(band.options),
        "yarns": [asdict(yarn) for yarn in band.yarns],
        "separation": None if band.separation is None else band.separation.name,
    }
    for which in ("drawing", "chart"):
        chart = getattr(band, which)
        if chart is not None:
            arrays[f"{which}-{number}"] = chart.cells
            kept[which] = {"name": chart.name, "palette": [asdict(colour) for colour in chart.palette]}
    return kept


def _restored_band(told: dict[str, Any], number: int, arrays: Arrays, profile: Profile) -> Band:
    technique = technique_named(told["technique"])
    charts = {
        which: Chart(
            arrays[f"{which}-{number}"],
            tuple(Colour(**colour) for colour in told[which]["palette"]),
            told[which]["name"],
        )
        for which in ("drawing", "chart")
        if told[which] is not None
    }
    options = Options(**told["options"])
    separations = (item.changed_at(options.changer or profile.changer) for item in technique.separations)
    parts = {
        "technique": technique,
        "options": options,
        "yarns": tuple(Yarn(**yarn) for yarn in told["yarns"]),
        "separation": next((item for item in separations if item.name == told["separation"]), None),
    }
    return Band(**(told | parts | charts))
