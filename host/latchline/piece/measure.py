"""Centimetres in a piece file: which swatch counts, and how many needles and rows a length comes to."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from latchline.counted import counted
from latchline.errors import InputError
from latchline.machine.profile import Profile
from latchline.plan.model import Yarn
from latchline.shaping.gauge import (
    Gauge,
    estimate_gauge,
    gauge_from_pitch,
    gauge_from_swatch,
    loop_length_from_count,
)
from latchline.tables import Table
from latchline.technique.model import Technique

_LENGTH = re.compile(r"\s*(\d{1,4}(?:\.\d{1,2})?)\s*cm(?:\s+in\s+repeats(?:\s+of\s+(\d{1,4}))?)?\s*")
LENGTH_HINT = 'write a whole number, or a length as "40 cm" or "40 cm in repeats of 24"'


@dataclass(frozen=True)
class Swatch:
    """A counted and measured piece of the same fabric. yarn, technique, stitch_size: what it was knitted of and how."""

    stitches: float
    rows: float
    width_mm: float
    height_mm: float
    yarn: str | None = None
    technique: str | None = None
    stitch_size: float | None = None

    @property
    def gauge(self) -> Gauge:
        return gauge_from_swatch(self.stitches, self.rows, self.width_mm, self.height_mm)


def swatch_for(
    swatches: Sequence[Swatch], yarn: Yarn | None, technique: Technique, stitch_size: float | None = None
) -> Swatch | None:
    """The swatch that says most of a band: of its yarn, technique and stitch size, or silent about some of them.

    One that tells of another yarn, technique or stitch size is none.
    """
    size = stitch_size if stitch_size is not None or yarn is None else yarn.stitch_size
    own = (None if yarn is None else yarn.name, technique.name, size)

    def told(swatch: Swatch) -> tuple[object, ...]:
        return (swatch.yarn, swatch.technique, swatch.stitch_size)

    able = [item for item in swatches if all(said in (None, is_) for said, is_ in zip(told(item), own, strict=True))]
    return max(able, key=lambda item: sum(said is not None for said in told(item)), default=None)


def gauge_of(profile: Profile, yarns: Iterable[Yarn], swatch: Swatch | None) -> Gauge:
    """The best gauge there is: of the swatch, else from a yarn's loop length or count, else from the pitch."""
    yarns = list(yarns)
    if swatch is not None:
        return swatch.gauge
    for yarn in yarns:
        if yarn.loop_length_mm is not None:
            return estimate_gauge(yarn.loop_length_mm)
    for yarn in yarns:
        if yarn.tex is not None:
            return estimate_gauge(loop_length_from_count(yarn.tex))
    return gauge_from_pitch(profile.pitch_mm)


@dataclass(frozen=True)
class Length:
    """A length that was asked for, and the whole needles or rows nearest to it by a gauge.

    at: where it stands. courses: of the fabric in one row. after: whether the row that follows it is meant.
    """

    at: str
    key: str
    asked_cm: float
    whole: int
    gauge: Gauge
    across: bool
    courses: int = 1
    after: bool = False

    def words(self, settled: int | None = None) -> str:
        """What it becomes, how far off that is, and why. settled: the stitches where both sides go alike."""
        becomes = self.whole if settled is None else settled
        real_cm = self.gauge.finished_cm(becomes, becomes * self.courses)[0 if self.across else 1]
        off = real_cm - self.asked_cm
        difference = "" if abs(off) < 0.05 else f", {abs(off):.1f} cm {'more' if off > 0 else 'less'} than asked"
        estimated = " by an estimated gauge" if self.gauge.estimated else ""
        nearer = (
            ""
            if becomes == self.whole
            else f"; {self.whole} would be nearer, but leave one side a stitch wider than the other"
        )
        what = ("after " if self.after else "") + counted(becomes, "needle" if self.across else "row")
        what += f" of {self.courses} courses" if self.courses > 1 else ""
        return f"{self.key} = {self.asked_cm:g} cm: {what}, {real_cm:.1f} cm{difference}{estimated}{nearer}"


SHOWN_MOST = 40  # characters of a text that a complaint repeats


@dataclass
class Measure:
    """Turns lengths into needles and rows at one gauge, and keeps each in `told`.

    courses: asked how many of the fabric one row takes.
    """

    gauge: Gauge
    told: list[Length] = field(default_factory=list)
    courses: Callable[[], int] = lambda: 1

    def needles(self, table: Table, key: str) -> bool:
        """Put whole needles in the place of a length; whether there was one."""
        return table.settle(key, lambda text: self._whole(text, key, table.place(key), across=True))

    def rows(
        self, table: Table, key: str, repeat: Callable[[], int | None] = lambda: None, fours: bool = False
    ) -> bool:
        """The same for rows. repeat: the rows of a repeat where the text doesn't say. fours: only multiples of four."""
        at, least = table.place(key), 4 if fours else 1
        return table.settle(key, lambda text: self._whole(text, key, at, repeat, across=False, least=least))

    def row(self, table: Table, key: str) -> bool:
        """The same for the first row that lies above a length."""
        at = table.place(key)
        return table.settle(key, lambda text: self._whole(text, key, at, across=False, after=True) + 1)

    def _whole(
        self,
        text: str,
        key: str,
        at: str,
        repeat_of: Callable[[], int | None] = lambda: None,
        *,
        across: bool,
        least: int = 1,
        after: bool = False,
    ) -> int:
        length = _LENGTH.fullmatch(text)
        if length is None:
            shown = text if len(text) <= SHOWN_MOST else f"{text[:SHOWN_MOST]}…"
            raise InputError(f'"{shown}" is neither a whole number nor a length', hint=LENGTH_HINT)
        asked_cm = float(length[1])
        known = int(length[2]) if length[2] else repeat_of() if "repeats" in text else least
        if known is None:
            raise InputError("the length of a repeat isn't known here", hint='write it, as "40 cm in repeats of 24"')
        repeat = known
        if asked_cm == 0:
            raise InputError(f'"{text}" is no length to knit', hint="give more than 0 cm")
        courses = 1 if across else self.courses()
        exact = asked_cm * (self.gauge.stitches if across else self.gauge.rows / courses) / 10
        whole = max(1, round(exact / max(repeat, 1))) * max(repeat, 1)
        self.told.append(Length(at, key, asked_cm, whole, self.gauge, across, courses, after))
        return whole
