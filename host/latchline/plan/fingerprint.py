"""The number by which host, board and journal know a plan: two plans that are knitted otherwise have two."""

from __future__ import annotations

import json
import zlib
from dataclasses import asdict
from typing import Any

from latchline.plan.model import Plan

FINGERPRINT_FORM = 1  # raise it when the meaning of the bytes under the fingerprint changes


def fingerprint(plan: Plan) -> int:
    """CRC-32 of all that is knitted: bed, needles, and each pass's technique, yarns, direction and selections."""
    head: dict[str, Any] = {
        "form": FINGERPRINT_FORM,
        "bed": [plan.profile.needles, plan.profile.drive, plan.span.first, plan.span.last],
        "bands": [
            {
                "technique": band.technique.name,
                "way": band.way,
                "backing": band.options.backing,
                "first": band.first,
                "yarns": [asdict(yarn) for yarn in band.yarns],
            }
            for band in plan.bands
        ],
    }
    if plan.shaped:
        head["hand"] = [
            [step.before, step.kind, step.first, step.last, step.by, step.leaves, step.words] for step in plan.hand
        ]
    parts = [[band.part, band.stitch_size, band.tension] for band in plan.bands]
    if any(part != ["fabric", None, ""] for part in parts):
        head["parts"] = parts
    value = zlib.crc32(json.dumps(head, sort_keys=True).encode())
    if plan.shaped:
        for array in (plan.cast_on, plan.positions, plan.position.astype("<i4", copy=False)):
            value = zlib.crc32(array.tobytes(), value)
    for array in (plan.rightward, plan.colour.astype("<i2"), plan.second_bed):
        value = zlib.crc32(array.tobytes(), value)
    for rows in (plan.acting, plan.driven) if plan.driven is not plan.acting else (plan.acting,):
        for at in range(0, len(rows), 1 << 14):
            value = zlib.crc32(plan.table[rows[at : at + (1 << 14)]].tobytes(), value)
    return value or 1
