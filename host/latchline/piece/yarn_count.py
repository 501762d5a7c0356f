"""Yarn counts as they stand on a label, turned into tex (grams per kilometre).

tex = 590.541 / Ne = 1000 / Nm = 885.812 / worsted = denier / 9 = dtex / 10. The constants follow
from the definitions: Ne counts hanks of 840 yards in a pound, worsted hanks of 560 yards in a
pound, Nm kilometres in a kilogram; denier weighs 9 km, tex 1 km (tex system: ISO 1144).
"""

from __future__ import annotations

import re

from latchline.errors import InputError

TEX_MIN, TEX_MAX = 1.0, 20_000.0  # finer than sewing silk, thicker than rope: a slip of the pen
ACCEPTED = "230 tex, 300 dtex, 180 denier, Nm 30/2, Ne 20, 2/24 worsted, or 2 x in front of one for 2 strands"

_GRAMS_PER_POUND = 453.59237
_METRES_PER_YARD = 0.9144
NE_TEX = _GRAMS_PER_POUND * 1000 / (840 * _METRES_PER_YARD)
WORSTED_TEX = _GRAMS_PER_POUND * 1000 / (560 * _METRES_PER_YARD)
NM_TEX = 1000.0

# unit as written, lower case → tex of count 1, and whether a higher count is a finer yarn
_UNITS = {
    "tex": (1.0, False),
    "dtex": (0.1, False),
    "denier": (1 / 9, False),
    "den": (1 / 9, False),
    "nm": (NM_TEX, True),
    "ne": (NE_TEX, True),
    "nec": (NE_TEX, True),
    "cotton": (NE_TEX, True),
    "worsted": (WORSTED_TEX, True),
    "nek": (WORSTED_TEX, True),
}
_NUMBER = r"\d{1,6}(?:[.,]\d{1,4})?"
_UNIT = "|".join(sorted(_UNITS, key=len, reverse=True))
_STRANDS = re.compile(r"^([1-9]\d?)\s*(?:[x×*]|strands\s+of)\s*(.+)$")
_BEFORE = re.compile(rf"^({_UNIT})\s*({_NUMBER})(?:\s*/\s*({_NUMBER}))?$")
_AFTER = re.compile(rf"^({_NUMBER})(?:\s*/\s*({_NUMBER}))?\s*({_UNIT})$")


def tex_of(text: str) -> float:
    """The count of a yarn in tex, all plies and strands together.

    Of the two numbers of a plied count the smaller one is the plies, so that both customs of
    writing them, 2/24 and 24/2, mean the same yarn. Raises InputError with the accepted forms.
    """
    wanted = " ".join(text.lower().split())
    strands = 1
    if match := _STRANDS.match(wanted):
        strands, wanted = int(match[1]), match[2]
    if match := _BEFORE.match(wanted):
        unit, first, second = match[1], match[2], match[3]
    elif match := _AFTER.match(wanted):
        first, second, unit = match[1], match[2], match[3]
    else:
        raise InputError(f'"{text[:60]}" is no yarn count that is known here', hint="accepted: " + ACCEPTED)
    of_one, finer = _UNITS[unit]
    numbers = sorted(float(number.replace(",", ".")) for number in (first, second) if number)
    if numbers[0] == 0 or (len(numbers) == 2 and not finer):
        raise InputError(f'"{text[:60]}" is no yarn count', hint="accepted: " + ACCEPTED)
    plies = numbers[0] if len(numbers) == 2 else 1.0
    tex = strands * (of_one * plies / numbers[-1] if finer else of_one * numbers[-1])
    if not TEX_MIN <= tex <= TEX_MAX:
        raise InputError(
            f'"{text[:60]}" would be a yarn of {tex:.3g} tex',
            hint=f"yarns from {TEX_MIN:g} to {TEX_MAX:g} tex are believed; check the number and its unit",
        )
    return tex
