"""The table of techniques. A new one is one entry here and a test."""

from __future__ import annotations

from latchline.errors import InputError
from latchline.technique.model import PLAIN, Cams, Does, Technique

STOCKING = Technique(
    name="stocking",
    title="plain knitting",
    cams=PLAIN,
    back=PLAIN,
    one_way=False,
    yarns=1,
    colours_min=1,
    colours_max=16,
    edge_selected=None,
    colour_work=False,
    needs_chart=False,
)

_TUCK = Cams("tuck", Does.KNIT, Does.TUCK)
_MISS = Cams("miss", Does.KNIT, Does.MISS)

TUCK = Technique(
    name="tuck",
    title="tuck: unselected needles tuck in both directions",
    cams=_TUCK,
    back=PLAIN,
    one_way=False,
    yarns=1,
    colours_min=2,
    colours_max=2,
    edge_selected=True,
    colour_work=False,
    yarn_classes=("fine", "medium"),
    checks=("tucks", "edges", "never-knit"),
)

TUCK_ONE_WAY = Technique(
    name="tuck-one-way",
    title="tuck: unselected needles tuck in one direction, all knit on the way back",
    cams=_TUCK,
    back=PLAIN,
    one_way=True,
    yarns=1,
    colours_min=2,
    colours_max=2,
    edge_selected=True,
    colour_work=False,
    yarn_classes=("fine", "medium"),
    checks=("tucks", "edges", "never-knit"),
)

SLIP = Technique(
    name="slip",
    title="slip: unselected needles miss in both directions",
    cams=_MISS,
    back=PLAIN,
    one_way=False,
    yarns=1,
    colours_min=2,
    colours_max=2,
    edge_selected=True,
    colour_work=False,
    checks=("floats", "edges", "never-knit"),
)

SLIP_ONE_WAY = Technique(
    name="slip-one-way",
    title="slip: unselected needles miss in one direction, all knit on the way back",
    cams=_MISS,
    back=PLAIN,
    one_way=True,
    yarns=1,
    colours_min=2,
    colours_max=2,
    edge_selected=True,
    colour_work=False,
    checks=("floats", "edges", "never-knit"),
)

FAIR_ISLE = Technique(
    name="fair-isle",
    title="two colours in one pass: selected needles knit contrast, the others main",
    cams=Cams("two-colour", Does.KNIT_CONTRAST, Does.KNIT),
    back=Cams("two-colour", Does.KNIT_CONTRAST, Does.KNIT),
    one_way=False,
    yarns=2,
    colours_min=2,
    colours_max=2,
    edge_selected=False,
    colour_work=True,
    feeders=("main yarn", "contrast yarn"),
    yarn_classes=("fine", "medium"),
    checks=("floats", "weights"),
)

TECHNIQUES: dict[str, Technique] = {
    technique.name: technique for technique in (STOCKING, TUCK, TUCK_ONE_WAY, SLIP, SLIP_ONE_WAY, FAIR_ISLE)
}


def technique_named(name: str) -> Technique:
    """The technique of that name. Raises InputError, listing the names."""
    if name not in TECHNIQUES:
        raise InputError(f'no technique is called "{name}"', hint="accepted: " + ", ".join(TECHNIQUES))
    return TECHNIQUES[name]
