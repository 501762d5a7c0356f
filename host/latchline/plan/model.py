"""A plan: numbered passes, each with its mask, its direction, its yarns and where it came from."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from latchline.chart.model import Chart
from latchline.machine.needles import Span
from latchline.machine.profile import DIRECTIONS, Profile
from latchline.plan.hand import NEW_YARN, HandStep, Position, lines_of
from latchline.plan.options import Options
from latchline.plan.steps import Act, Step
from latchline.technique.model import SecondBed, Separation, Technique

Bools = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int32]

BED_MASK_BYTES = 32
HOLD_SET = "set the carriage to hold, so that needles in holding position stay out and keep their loops"
HOLD_WEIGHTS = "hang weights under the needles that go on knitting"  # common practice, no source
SET_BACK = "set the carriage back from hold: no needle is held any more"
REST, EVERY, BY_ITSELF = "nothing", "every needle", "every other needle, alternating by itself"
FROM = {
    SecondBed.EVEN: "every other needle, from the first on the left",
    SecondBed.ODD: "every other needle, from the second on the left",
}


PARTS = ("fabric", "waste", "hem inside")
SET_UP_PASS = "set-up pass"  # the band of the plain pass that pushes the needles for the first patterned one
FOLD_ROW = ", fold row"  # what the name of that band ends with


@dataclass(frozen=True)
class Yarn:
    """A yarn as the piece file gives it; None where it says nothing.

    tex: grams per kilometre, of the strands together. stitch_size: on the carriage's dial.
    loop_length_mm: yarn in one plain stitch.
    """

    name: str
    colour: str = "#d8d0c0"
    tex: float | None = None
    stitch_size: float | None = None
    loop_length_mm: float | None = None


@dataclass(frozen=True, eq=False)
class Band:
    """A stretch of passes of one kind.

    first, last: pass numbers from 1. chart: after mirroring onto needles, as wide as the span;
    None where there is none. drawing: the chart as it was drawn. yarns: those that it knits, main
    first. colours: in colour work, the chart's number of each of them, upwards: a colour that no
    stitch of the band has keeps its number and is not carried. edge: what the end needles are made to
    be, selected or not; None leaves them as charted. part: one of PARTS. stitch_size: on the dial, where
    it isn't the yarn's own. tension: of the yarn, in the knitter's words. scale: width and height of a stitch of the
    band's own swatch over those of the piece's gauge. measured: whether that swatch is of the band's technique, so that
    each row that the counter shows is as tall as one of the swatch.
    """

    name: str
    technique: Technique
    options: Options
    first: int
    last: int
    yarns: tuple[Yarn, ...]
    colours: tuple[int, ...] = ()
    drawing: Chart | None = None
    chart: Chart | None = None
    separation: Separation | None = None
    edge: bool | None = None
    part: str = "fabric"
    stitch_size: float | None = None
    tension: str = ""
    scale: tuple[float, float] = (1.0, 1.0)
    measured: bool = False

    @property
    def passes(self) -> int:
        return self.last - self.first + 1

    @property
    def counts(self) -> bool:
        """Whether its rows count in the finished height: waste comes off, and a hem lies double."""
        return self.part == "fabric"

    @property
    def way(self) -> str:
        return self.options.one_way if self.technique.one_way else "both"


def stitch_size_of(band: Band) -> float | None:
    """What the dial is set to for a band: its own stitch size, else that of the first yarn that has one."""
    sizes = (yarn.stitch_size for yarn in band.yarns if yarn.stitch_size is not None)
    return band.stitch_size if band.stitch_size is not None else next(sizes, None)


def is_fold(band: Band) -> bool:
    """Whether it is the fold row of a hem, which is knitted looser than the rest."""
    return band.part == "hem inside" and band.name.endswith(FOLD_ROW)


@dataclass(frozen=True, eq=False)
class Plan:
    """All passes of a piece. Pass k (from 1) is entry k − 1 of each array.

    table: uint8 (distinct masks, ⌈width / 8⌉), little bit order, one row for each distinct mask.
    acting: int32, the table row that decides what the needles do in this pass.
    driven: int32, the table row that the selectors are driven with during this pass: the same on
        a `this-pass` machine; on a `next-pass` machine the next pass's, of those needles that work in this one.
    rightward: bool. chart_row: int32 from 1, 0 where none. knitted_row: int32 from 1 within the
    band. colour: int16, the place among the band's yarns of the one knitted, −1 where the pass is not
    of one colour. way_back: bool, passes that select nothing and only bring the yarn, or the
    carriage without one, to where the next pass begins.
    second_bed: uint8, what the second bed knits (`technique.model.SecondBed`).
    hand: what is done by hand between passes, in order. positions: uint8 (distinct, width), the
    needles' positions (`plan.hand.Position`); position: int32 (passes), which of its rows each pass has;
    cast_on: bool (width), the needles that hold a loop before the first pass. All three are empty where
    every needle is in work from first to last.
    settled: where a width was asked for, and the stitches that it came to, in order.
    band: int32 index into bands. notes: pass number → what the operator does before it.
    fingerprint: CRC-32, never 0, of everything that is knitted.
    """

    name: str
    profile: Profile
    span: Span
    bands: tuple[Band, ...]
    table: Bytes
    acting: Ints
    driven: Ints
    rightward: Bools
    chart_row: Ints
    knitted_row: Ints
    colour: npt.NDArray[np.int16]
    way_back: Bools
    second_bed: Bytes
    band: Ints
    notes: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    fingerprint: int = 0
    hand: tuple[HandStep, ...] = ()
    positions: Bytes = field(default_factory=lambda: np.zeros((0, 0), dtype=np.uint8))
    position: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int32))
    cast_on: Bools = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    settled: tuple[tuple[str, int], ...] = ()

    @property
    def passes(self) -> int:
        return len(self.acting)

    @property
    def shaped(self) -> bool:
        """Whether some needle is at some time out of work, held, or without the loop that it began with."""
        return len(self.position) > 0

    def positions_of(self, first: int = 1, last: int | None = None) -> Bytes:
        """Positions in passes first to last: uint8 codes of `plan.hand.Position`, shape (passes, width)."""
        if not self.shaped:
            return np.full((len(self.acting[first - 1 : last]), self.span.width), Position.WORK, dtype=np.uint8)
        return self.positions[self.position[first - 1 : last]]

    def cast_on_loops(self) -> Bools:
        """The needles that hold a loop before the first pass, bool (width)."""
        return self.cast_on if self.shaped else np.ones(self.span.width, dtype=np.bool_)

    def span_of(self, number: int) -> Span:
        """From the first to the last needle that knits in a pass."""
        if not self.shaped:
            return self.span
        there = np.flatnonzero(self.positions[self.position[number - 1]] == Position.WORK)
        return Span(self.span.first + int(there[0]), self.span.first + int(there[-1]))

    def turn_span(self, number: int) -> Span:
        """The needles that the carriage goes over in a pass, from its turn before it to its turn after it.

        Those that knit in it; on a `next-pass` machine those of the coming pass, too, which it sets. Where it
        turns between two passes it is past the needles of both. The whole span where a second bed knits, and
        where a coil that is off selects: there the needles that do not work must be driven, too.
        """
        if not self.shaped:
            return self.span
        first, last = self._turns[:, number - 1].tolist()
        return Span(self.span.first + first, self.span.first + last)

    @cached_property
    def narrow(self) -> bool:
        """Whether the carriage may turn within the span in some pass."""
        return self.shaped and bool((self._turns[0] > 0).any() or (self._turns[1] < self.span.width - 1).any())

    @cached_property
    def _turns(self) -> Ints:
        """First and last place in the span of each pass's `turn_span`: int32 (2, passes)."""
        there, end = self.positions == Position.WORK, self.span.width - 1
        first = there.argmax(axis=1)[self.position]
        last = end - there[:, ::-1].argmax(axis=1)[self.position]
        if self.profile.drive == "next-pass":
            first[:-1], last[:-1] = np.minimum(first[:-1], first[1:]), np.maximum(last[:-1], last[1:])
        whole = np.array([band.technique.double_bed for band in self.bands])[self.band]
        whole |= self.profile.selectors.active == "low"
        first[whole], last[whole] = 0, end
        turns = self.rightward[:-1] != self.rightward[1:]
        at_right, at_left = np.flatnonzero(turns & self.rightward[:-1]), np.flatnonzero(turns & ~self.rightward[:-1])
        last[at_right] = last[at_right + 1] = np.maximum(last[at_right], last[at_right + 1])
        first[at_left] = first[at_left + 1] = np.minimum(first[at_left], first[at_left + 1])
        return np.stack([first, last]).astype(np.int32)

    def hand_before(self, number: int) -> tuple[HandStep, ...]:
        """What is done by hand before a pass; of one more than the last: after it."""
        low = bisect_left(self.hand, number, key=lambda step: step.before)
        return self.hand[low : bisect_right(self.hand, number, key=lambda step: step.before)]

    @cached_property
    def yarn_breaks(self) -> Ints:
        """The passes, upwards, before which the yarn is broken and joined again elsewhere: int32."""
        return np.array(sorted({step.before for step in self.hand if step.words == NEW_YARN}), dtype=np.int32)

    def places_name(self, first: int, last: int) -> str:
        """What a needle or span is called, from places in the span."""
        return self.profile.needles_name(Span(self.span.first + first, self.span.first + last))

    def hand_words(self, number: int) -> tuple[str, ...]:
        """The hand steps before a pass, one a line."""
        return tuple(words for _, words in lines_of(self.hand_before(number), self.places_name))

    @property
    def start(self) -> str:
        """The side on which the carriage stands before the first pass."""
        return "left" if self.rightward[0] else "right"

    def direction(self, number: int) -> str:
        return "rightward" if self.rightward[number - 1] else "leftward"

    def band_of(self, number: int) -> Band:
        return self.bands[int(self.band[number - 1])]

    def on_two_beds(self, number: int) -> bool:
        """Whether the second bed has loops after a pass: it knits in its band, or in the one that it only sets up."""
        band = self.band_of(number)
        if band.name == SET_UP_PASS and number == 1 and self.passes > 1:
            band = self.band_of(2)
        return band.technique.double_bed

    def yarns_of(self, number: int) -> tuple[Yarn, ...]:
        """The yarns in the carriage in this pass, main first."""
        band = self.band_of(number)
        if band.technique.yarns == 0:
            colour = int(self.colour[number - 1])
            return (band.yarns[colour],) if colour >= 0 else ()
        return band.yarns[: band.technique.yarns]

    def steps(self, number: int) -> tuple[Step, ...]:
        """What the operator does before a pass: hand steps, set up the band, change colour, lay in, hold or release.

        One more than the last pass: what is done after it.
        """
        steps = [
            Step(Act.HAND, words, waits=kind.waits, kind=kind.name)
            for kind, words in lines_of(self.hand_before(number), self.places_name)
        ]
        if number > self.passes:
            return tuple(steps)
        band, before = self.band_of(number), number - 1 if number > self.band_of(number).first else 0
        steps += [Step(Act.NOTE, text) for text in self.notes.get(number, ())]
        colour = int(self.colour[number - 1])
        earlier = int(self.colour[before - 1]) if before else -1
        if colour >= 0 and colour != earlier:
            yarn = band.yarns[colour]
            steps.append(
                Step(Act.CHANGE, yarn=yarn, before=band.yarns[earlier]) if earlier >= 0 else Step(Act.THREAD, yarn=yarn)
            )
        if colour < 0 and self.way_back[number - 1]:
            steps.append(Step(Act.CHANGE, "take the yarn out: the carriage goes across without one"))
        if setting := self.second_setting(number):
            steps.append(Step(Act.SECOND_BED, f"set the second bed to knit {setting}"))
        if setting := self.held_setting(number):
            if self.holds(number) and not (number > 1 and self.holds(number - 1)):
                steps.append(Step(Act.NOTE, HOLD_WEIGHTS))
            steps.append(Step(Act.NOTE, setting))
        cams = band.technique.cams_for(self.direction(number), band.way)
        unused = band.technique.one_way and number == band.first and cams is band.technique.back
        if cams.action and not unused:  # a way back that comes first has nothing to undo
            steps.append(Step(Act.NEEDLES, cams.action))
        return tuple(steps)

    def actions(self, number: int) -> tuple[str, ...]:
        """The same in words, one step a line."""
        return tuple(step.line for step in self.steps(number))

    def holds(self, number: int) -> bool:
        """Whether some needle is in holding position in a pass."""
        return self.shaped and bool((self.positions_of(number, number) == Position.HELD).any())

    def held_setting(self, number: int) -> str:
        """How the carriage must be set before a pass for the needles that are held; empty where it stays as it is.

        Setting the carriage up for a band may undo it, so that each band says it anew.
        """
        held, before = self.holds(number), number > 1 and self.holds(number - 1)
        if held and (not before or number == self.band_of(number).first):
            return self.hold_words
        return SET_BACK if before and not held else ""

    @property
    def hold_words(self) -> str:
        """How the carriage is set so that held needles stay out: the profile's own words for its levers, if any."""
        own = self.profile.levers.get("hold", {})
        levers = " and ".join(f"{own[way]} {way}" for way in DIRECTIONS if own.get(way))
        return HOLD_SET + (f": {levers}" if levers else "")

    def second_setting(self, number: int) -> str:
        """How the second bed must be set before a pass; empty where it goes on as it is set.

        A second bed that alternates by itself knits the other half in each next pass.
        """
        band = self.band_of(number)
        now = int(self.second_bed[number - 1])
        before = int(self.second_bed[number - 2]) if number > band.first else -1
        if not band.technique.double_bed or now == before:
            return ""
        if now in (SecondBed.REST, SecondBed.ALL):
            return REST if now == SecondBed.REST else EVERY
        if self.profile.second_carriage == "as-set":
            return FROM[SecondBed(now)]
        return "" if before in FROM else f"{BY_ITSELF}, {FROM[SecondBed(now)].split(', ')[1]}"

    def by_changer(self, band: Band) -> bool:
        """Whether the colours of a band are changed by a changer at an end of the bed, not by hand."""
        return (band.options.changer or self.profile.changer) in ("left", "right")

    def why_empty(self, number: int) -> str:
        """Why a pass of one colour selects no needle; empty where it selects some, or where it is of no colour."""
        band, colour = self.band_of(number), int(self.colour[number - 1])
        if self.way_back[number - 1] and colour < 0:
            return "no yarn: the carriage goes to where the next one lies"
        if colour < 0 or self.table[self.acting[number - 1]].any():
            return ""
        name = band.yarns[colour].name
        if self.way_back[number - 1]:
            return f"way back: brings {name} {'to the changer' if self.by_changer(band) else 'back'}"
        second = ", and the second bed knits it" if band.technique.double_bed else ""
        return f"no stitch of {name} in this row{second}"

    def acting_masks(self, first: int = 1, last: int | None = None) -> Bools:
        """Selections that act in passes first to last: bool, shape (passes, width)."""
        return self._masks(self.acting, first, last)

    def driven_masks(self, first: int = 1, last: int | None = None) -> Bools:
        """Selections driven during passes first to last: bool, shape (passes, width)."""
        return self._masks(self.driven, first, last)

    def _masks(self, rows: Ints, first: int, last: int | None) -> Bools:
        chosen = self.table[rows[first - 1 : last]]
        return np.unpackbits(chosen, axis=1, count=self.span.width, bitorder="little").view(np.bool_)

    def bed_mask(self, number: int) -> bytes:
        """The driven mask of a pass over the whole bed: 32 bytes, bit n mod 8 of byte n // 8 is needle n."""
        packed = int.from_bytes(self.table[self.driven[number - 1]].tobytes(), "little")
        return (packed << self.span.first).to_bytes(BED_MASK_BYTES, "little")
