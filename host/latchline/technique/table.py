"""The table of techniques. A new one is one entry here and a test."""

from __future__ import annotations

from dataclasses import replace

from latchline.errors import InputError
from latchline.technique.model import PLAIN, YARN_CLASSES, Cams, Does, Technique
from latchline.technique.separation import DOUBLE_BED, SINGLE_BED

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

_TUCK_CHECKS = ("tucks-stacked", "tucks-beside", "never-knits", "edge-needle", "rows-alike")
_SLIP_CHECKS = ("float-across", "float-over-turn", "loop-kept", "never-knits", "edge-needle", "rows-alike")

TUCK = Technique(
    name="tuck",
    title="unselected needles tuck in both directions",
    cams=_TUCK,
    back=PLAIN,
    one_way=False,
    yarns=1,
    colours_min=2,
    colours_max=2,
    edge_selected=True,
    edge_default="knit",
    colour_work=False,
    yarn_classes=("fine", "medium"),
    checks=_TUCK_CHECKS,
)

TUCK_ONE_WAY = replace(
    TUCK,
    name="tuck-one-way",
    title="unselected needles tuck in one direction, all knit on the way back",
    one_way=True,
)

SLIP = Technique(
    name="slip",
    title="unselected needles miss in both directions",
    cams=_MISS,
    back=PLAIN,
    one_way=False,
    yarns=1,
    colours_min=2,
    colours_max=2,
    edge_selected=True,
    edge_default="knit",
    colour_work=False,
    checks=_SLIP_CHECKS,
)

SLIP_ONE_WAY = replace(
    SLIP,
    name="slip-one-way",
    title="unselected needles miss in one direction, all knit on the way back",
    one_way=True,
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
    checks=("float-across", "float-over-turn", "yarn-idle", "rows-alike", "weights"),
)

SLIP_COLOURS = Technique(
    name="slip-colours",
    title="one colour a pass on a single bed: selected needles knit it, the others keep their loop",
    cams=_MISS,
    back=_MISS,
    one_way=False,
    yarns=0,
    colours_min=2,
    colours_max=4,
    edge_selected=False,
    colour_work=True,
    separations=SINGLE_BED,
    feeders=("one colour at a time",),
    accessories=("a colour changer, or the yarns changed by hand",),
    yarn_classes=("fine", "medium"),
    checks=(
        "float-across",
        "float-over-turn",
        "loop-kept",
        "never-knits",
        "colour-not-carried",
        "yarn-idle",
        "weights",
    ),
)

JACQUARD = Technique(
    name="jacquard",
    title="one colour a pass on two beds: selected needles knit it, and the second bed ties it in",
    cams=_MISS,
    back=_MISS,
    one_way=False,
    yarns=0,
    colours_min=2,
    colours_max=4,
    edge_selected=False,
    colour_work=True,
    double_bed=True,
    separations=DOUBLE_BED,
    feeders=("one colour at a time",),
    accessories=("the second bed", "a colour changer, or the yarns changed by hand"),
    yarn_classes=("fine", "medium"),
    checks=("loop-kept", "never-knits", "colour-not-carried", "yarn-idle"),
)

_INLAY = Cams(
    "inlay",
    Does.LAID_OVER,
    Does.LAID_UNDER,
    action="lay the inlay yarn across in front of the carriage, over the selected needles and under the others",
)

INLAY = Technique(
    name="inlay",
    title="a yarn laid in: over the selected needles, under the others, while the ground knits",
    cams=_INLAY,
    back=_INLAY,
    one_way=False,
    yarns=2,
    colours_min=2,
    colours_max=2,
    edge_selected=None,
    colour_work=False,
    feeders=("ground yarn", "inlay yarn"),
    accessories=("inlay brushes",),
    yarn_classes=YARN_CLASSES,
    checks=("laid-in-float", "yarn-idle", "rows-alike"),
)

HOLD = Technique(
    name="hold",
    title="selected needles go to holding position in one direction; all knit on the way back",
    cams=Cams(
        "hold",
        Does.HELD,
        Does.KNIT,
        action="set the carriage to hold, so that selected needles go to holding position and keep their loops",
    ),
    back=Cams("plain", Does.KNIT, Does.KNIT, action="release the hold: held needles come back and knit"),
    one_way=True,
    yarns=1,
    colours_min=2,
    colours_max=2,
    edge_selected=False,
    colour_work=False,
    accessories=("edge weights under the held needles",),
    checks=(*_SLIP_CHECKS, "weights"),
)

TECHNIQUES: dict[str, Technique] = {
    technique.name: technique
    for technique in (
        STOCKING,
        TUCK,
        TUCK_ONE_WAY,
        SLIP,
        SLIP_ONE_WAY,
        FAIR_ISLE,
        SLIP_COLOURS,
        JACQUARD,
        INLAY,
        HOLD,
    )
}


def technique_named(name: str) -> Technique:
    """The technique of that name. Raises InputError, listing the names."""
    if name not in TECHNIQUES:
        bare = "".join(character for character in name.lower() if character.isalnum())
        meant = next((known for known in TECHNIQUES if known.replace("-", "") == bare), None)
        hint = f'write "{meant}"' if meant else "accepted: " + ", ".join(TECHNIQUES)
        raise InputError(f'no technique is called "{name}"', hint=hint)
    return TECHNIQUES[name]
