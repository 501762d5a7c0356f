"""A piece: all bands of one knitted part, and what the sheet and the checks want to know beside."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from latchline.errors import InputError
from latchline.machine.needles import Span
from latchline.machine.profile import Profile
from latchline.piece.measure import Length, Swatch
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.limits import Limits
from latchline.plan.model import Plan, Yarn


@dataclass(frozen=True)
class Piece:
    """A piece as read: everything that `plan` needs, and what the sheet and the checks want to know.

    file: the piece file or chart that it was read from, as complaints call it; empty where there is none.
    swatch: the one that says most of the whole piece; swatches: all of them. lengths: those asked for
    in centimetres. tables: for each band the number, from 0, of the [[bands]] that asked for it;
    places: where that stands, as complaints name it.
    """

    name: str
    profile: Profile
    span: Span
    start: str | None
    yarns: tuple[Yarn, ...]
    bands: tuple[BandRequest, ...]
    swatch: Swatch | None = None
    limits: Limits = field(default_factory=Limits)
    file: str = ""
    swatches: tuple[Swatch, ...] = ()
    lengths: tuple[Length, ...] = ()
    tables: tuple[int, ...] = ()
    places: tuple[str, ...] = ()

    def plan(self) -> Plan:
        """The compiled plan. Raises InputError, naming file, line, key, band and, where known, row and needles."""
        return self._plan

    @cached_property
    def measured(self) -> tuple[str, ...]:
        """What each length in centimetres has come to, a sentence each. Raises InputError as `plan` does."""
        settled: dict[str, list[int]] = {}
        for at, stitches in self.plan().settled:
            settled.setdefault(at, []).append(stitches)
        said = (length.words(came) for length in self.lengths for came in settled.get(length.at, [None]))
        return tuple(dict.fromkeys(said))

    @cached_property
    def _plan(self) -> Plan:
        try:
            return compile_plan(self.name, self.profile, self.span, self.bands, start=self.start)
        except InputError as error:
            raise error.at(self._place(error.where)) from None

    def _place(self, where: str) -> str:
        """A band's name as a reader would look for it; of a single band the file says enough."""
        named = [n for n, band in enumerate(self.bands) if f"{where}, ".startswith(f"{band.name}, ")]
        if not self.file or not named:
            return where
        number = max(named, key=lambda n: len(self.bands[n].name))
        band, place = self.bands[number].name, (self.places[number] if self.places else "") or self.file
        inside = where.removeprefix(band)  # a row and needles
        return place + inside if len(self.bands) == 1 else f'{place}, band "{band}"{inside}'
