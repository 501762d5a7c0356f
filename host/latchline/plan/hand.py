"""What is done by hand between two passes: one declaration a kind.

From it the plan knows which needles are in work, the loops know where they hang, and the sheet, the
working chart and the prompts know what to say. Needles are places in the plan's span, 0 at the operator's left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import groupby

import numpy as np
import numpy.typing as npt

from latchline.counted import counted
from latchline.errors import InputError

Bytes = npt.NDArray[np.uint8]
Places = npt.NDArray[np.int16]

GONE = -1  # a loop that leaves the needles

NEW_YARN = "break the yarn and join it again at the neck of the other side"  # of a step after which it begins anew

TOOL, TWO_TOOLS = "a transfer tool", "two transfer tools"
LATCH_TOOL = "a latch tool"


class Position(IntEnum):
    """Where a needle stands during a pass."""

    OUT = 0  # non-working position: takes no yarn
    WORK = 1  # working position
    HELD = 2  # holding position: keeps its loops, takes no yarn


OUT, WORK, HELD = (int(position) for position in Position)  # to compare arrays with, many times quicker


@dataclass(frozen=True)
class HandStep:
    """One thing done by hand.

    before: the pass before which it is due, from 1; one more than the last pass: after it.
    kind: a name in HAND_KINDS. first, last: needles, both included. by: needles that loops go to the
    right, negative to the left; in a cable the size of the left group, negative where the right one
    goes over it. leaves: the position of a needle that is emptied. words: the knitter's own.
    """

    before: int
    kind: str
    first: int
    last: int
    by: int = 0
    leaves: Position = Position.WORK
    words: str = ""

    @property
    def needles(self) -> int:
        return self.last - self.first + 1


@dataclass(frozen=True)
class HandKind:
    """One kind of hand step.

    words: what to do, with {needles}, {count}, {loops}, {far}, {way}, {target}, {left}, {right}, {words}.
    goes: where the loops of the step's needles go, from the step; None: they stay. makes: whether each of
    its needles gets a loop. sets: the position that its needles take; None: as they stand. fresh:
    whether they must be out of work before. at_hand: what it takes. waits: whether the carriage must not
    go before it is done. sign: its letter on the working chart. unsettles: whether its needles, and those to which
    loops go, may stand anywhere afterwards, so that a selection made before is gone. of_plan: whether only the
    plan asks for it; such steps that follow one another are said in one line. on_second: whether it is done on the
    second bed, whose loops are not followed.
    """

    name: str
    title: str
    words: str
    sign: str
    goes: Callable[[HandStep], Places] | None = None
    makes: bool = False
    sets: Position | None = None
    every_other: bool = False
    fresh: bool = False
    at_hand: str = ""
    waits: bool = True
    unsettles: bool = False
    of_plan: bool = False
    on_second: bool = False

    @property
    def selects(self) -> bool:
        """Whether it sets needles of the pattern bed as the carriage should have selected them."""
        return self.of_plan and not self.on_second


def _gone(step: HandStep) -> Places:
    return np.full(step.needles, GONE, dtype=np.int16)


def _moved(step: HandStep) -> Places:
    return np.arange(step.first + step.by, step.last + step.by + 1, dtype=np.int16)


def _crossed(step: HandStep) -> Places:
    """The left group goes to the right end, the right group to the left end."""
    places, left = np.arange(step.first, step.last + 1, dtype=np.int16), abs(step.by)
    return np.roll(places, -left) if left == 0 else np.concatenate([places[-left:], places[: step.needles - left]])


_KINDS = (
    HandKind(
        "wrap",
        "cast on, closed edge wrapped by hand",
        "bring {needles} into working position and wrap the yarn round each in turn, {count} {loops}, from the "
        "side where the carriage does not stand",
        "c",
        makes=True,
        sets=Position.WORK,
        fresh=True,
    ),
    HandKind("into-work", "needles into work", "bring {needles} into working position", "+", sets=Position.WORK),
    HandKind(
        "every-other",
        "every other needle into work",
        "bring every other needle of {needles} into working position, beginning with the first on the left",
        "v",
        sets=Position.WORK,
        every_other=True,
    ),
    HandKind(
        "comb",
        "hang the comb",
        "hang the cast-on comb and its weights into the loops of {needles}",
        "w",
        at_hand="a cast-on comb and weights",
    ),
    HandKind(
        "move",
        "move loops",
        "move the {loops} of {needles} by {far} to the {way}, onto {target}",
        "m",
        goes=_moved,
        at_hand=TOOL,
        unsettles=True,
    ),
    HandKind(
        "cross",
        "cross two groups",
        "cross {left} and {right}: the {way} group lies in front",
        "x",
        goes=_crossed,
        at_hand=TWO_TOOLS,
        unsettles=True,
    ),
    HandKind(
        "bind-off",
        "bind off",
        "bind off the {loops} of {needles} with the transfer tool, {count} in all, and put the needles out of work",
        "b",
        goes=_gone,
        sets=Position.OUT,
        at_hand=TOOL,
    ),
    HandKind(
        "take-off",
        "take off the needles",
        "take the fabric off {needles}; the waste yarn keeps its loops",
        "o",
        goes=_gone,
        sets=Position.OUT,
    ),
    HandKind(
        "onto-cord",
        "loops onto a cord",
        "thread a cord through the {loops} of {needles}, take them off and put the needles out of work",
        "o",
        goes=_gone,
        sets=Position.OUT,
        at_hand="a cord and a blunt needle",
    ),
    HandKind(
        "hold",
        "needles into holding position",
        "bring {needles} into holding position",
        "h",
        sets=Position.HELD,
        at_hand="edge weights",
    ),
    HandKind(
        "release",
        "needles back from holding position",
        "push {needles} back into working position",
        "r",
        sets=Position.WORK,
    ),
    HandKind(
        "wrap-held",
        "wrap a held needle",
        "lay the yarn round {needles}, which is held, so that no hole stays",
        "u",
    ),
    HandKind(
        "pick-up",
        "pick up a loop",
        "hang the loop that lies below the neighbour of {needles} onto it, so that it is not empty",
        "p",
        makes=True,
        at_hand=TOOL,
        unsettles=True,
    ),
    HandKind(
        "hang-hem",
        "hang a hem",
        "fold the hem and hang the first row's {loops} onto {needles}, one beside each loop",
        "p",
        makes=True,
        at_hand=TOOL,
    ),
    HandKind(
        "lift-hem",
        "close a hem",
        "fold the hem to the side that faces you and lift the loop of its first row below each needle of {needles} "
        "onto it",
        "p",
        makes=True,
        at_hand=TOOL,
    ),
    HandKind(
        "buttonhole",
        "a buttonhole",
        "make a buttonhole: bind off the {loops} of {needles} and wrap the yarn round these needles again",
        "k",
        goes=_gone,
        makes=True,
        at_hand=TOOL,
        unsettles=True,
    ),
    HandKind(
        "buttonhole-waste",
        "a buttonhole on waste yarn",
        "make a buttonhole: knit the {loops} of {needles} by hand with a short length of waste yarn and leave its "
        "loops on the needles; when the piece is done, pull it out and bind off the open loops above and below",
        "k",
        goes=_gone,
        makes=True,
        at_hand="short lengths of waste yarn",
        unsettles=True,
    ),
    HandKind(
        "latch-up",
        "latch up",
        "latch up the ladder or float at {needles}{words}",
        "l",
        at_hand=LATCH_TOOL,
    ),
    HandKind("catch", "catch floats", "catch the float of {words}: lift it onto the needle beside the loop", "f"),
    HandKind(
        "forward",
        "needles forward by hand",
        "push {needles} forward by hand, as selected for this row: the carriage could not",
        "a",
        of_plan=True,
    ),
    HandKind(
        "back",
        "needles back by hand",
        "leave {needles} back in working position, not selected for this row",
        "j",
        of_plan=True,
    ),
    # The second bed lies half a pitch off, so its needles stand between those of the pattern bed. What is done on it is
    # common practice, no source.
    HandKind(
        "second-onto",
        "the second bed's loops onto the pattern bed",
        "transfer the second bed's loops at {needles} onto these needles of the pattern bed, and put the second bed's "
        "needles there out of work",
        "d",
        at_hand=TOOL,
        of_plan=True,
        on_second=True,
    ),
    HandKind(
        "second-in",
        "the second bed's needles into work",
        "bring the second bed's needles at {needles} into working position; the next pass lays their loops",
        "i",
        of_plan=True,
        on_second=True,
    ),
    HandKind(
        "second-move",
        "move the second bed's end loops",
        "at {needles} move the second bed's end loops inward as those of the pattern bed are moved, and put the end "
        "needles that they leave out of work",
        "e",
        at_hand=TOOL,
        of_plan=True,
        on_second=True,
    ),
    HandKind(
        "second-hold",
        "the second bed's needles into holding position",
        "bring the second bed's needles at {needles} into holding position, its carriage set so that they stay out",
        "g",
        of_plan=True,
        on_second=True,
    ),
    HandKind(
        "second-release",
        "the second bed's needles back from holding position",
        "push the second bed's needles at {needles} back into working position",
        "s",
        of_plan=True,
        on_second=True,
    ),
    HandKind("weight", "hang a weight", "hang a weight at {needles}", "w", at_hand="edge weights", waits=False),
    HandKind("marker", "put in a marker", "put in a marker at {needles}{words}", "t", at_hand="markers", waits=False),
    HandKind("note", "the knitter's own words", "{words}", "n"),
)  # fmt: skip
_ANYWHERE = ("weight", "marker", "note", "latch-up", "comb", "catch")
HAND_KINDS: dict[str, HandKind] = {kind.name: kind for kind in _KINDS}


def kind_of(step: HandStep) -> HandKind:
    return HAND_KINDS[step.kind]


def lines_of(steps: Iterable[HandStep], name: Callable[[int, int], str]) -> Iterator[tuple[HandKind, str]]:
    """What to do, a line each; steps of a kind that the plan asks for share one. name: as `in_words` has it."""
    for kind, alike in groupby(steps, key=kind_of):
        if kind.of_plan:
            yield kind, kind.words.format(needles=", ".join(name(step.first, step.last) for step in alike))
        else:
            yield from ((kind, in_words(step, name)) for step in alike)


def in_words(step: HandStep, name: Callable[[int, int], str]) -> str:
    """What to do, as one line. name: what a needle or span is called, from its first and last place."""
    kind, far = kind_of(step), abs(step.by)
    before = f"{step.words}: " if step.words and "{words}" not in kind.words else ""
    after = f": {step.words}" if step.words and kind.name not in ("note", "catch") else step.words
    text = kind.words.format(
        needles=name(step.first, step.last),
        count=step.needles,
        loops="loop" if step.needles == 1 else "loops",
        far=counted(far, "needle"),
        way="left" if (step.by > 0) == (kind.name == "cross") else "right",
        target=name(step.first + step.by, step.last + step.by),
        left=name(step.first, step.first + max(far, 1) - 1),
        right=name(step.first + far, step.last),
        words=after,
    )
    needles = "needle" if min(far, step.needles) == 1 else "needles"
    emptied = f" and put the emptied {needles} out of work" if far and step.leaves == Position.OUT else ""
    return before + text + emptied


def goes(step: HandStep, width: int) -> Places:
    """For each needle of a span, the needle on which its loops hang after the step; GONE where they leave."""
    places = np.arange(width, dtype=np.int16)
    kind = kind_of(step)
    if kind.goes is not None:
        places[step.first : step.last + 1] = kind.goes(step)
    return places


def positions_after(step: HandStep, positions: Bytes) -> Bytes:
    """The needles' positions after a step, uint8 (width). Raises InputError where loops leave the span."""
    kind = kind_of(step)
    width = len(positions)
    if step.first < 0 or step.last >= width or step.last < step.first:
        raise InputError("the needles lie outside those of the piece", hint="name more needles under `needles`")
    here = positions[step.first : step.last + 1]
    if kind.fresh and (here != OUT).any():
        raise InputError("a needle to be cast on is in work already", hint="name needles that are out of work")
    if not kind.fresh and kind.sets != WORK and kind.name not in _ANYWHERE and (here == OUT).any():
        raise InputError(f"{kind.title}: a needle there is out of work", hint="name needles that have a loop")
    if kind.name == "cross" and not 0 < abs(step.by) < step.needles:
        raise InputError(
            "a cable crosses two groups",
            hint="name more needles than the left group has, or draw an even number of signs side by side",
        )
    after = positions.copy()
    if kind.sets is not None:
        after[step.first : step.last + 1 : 2 if kind.every_other else 1] = int(kind.sets)
    if kind.goes is not None and kind.sets is None and not kind.makes:
        targets = kind.goes(step)
        if targets.min() < 0 or targets.max() >= width:
            raise InputError("the loops would leave the needles of the piece", hint="name more needles under `needles`")
        after[targets[after[targets] == OUT]] = WORK
        emptied = set(range(step.first, step.last + 1)).difference(targets.tolist())
        after[list(emptied)] = int(step.leaves)
    return after


def at_hand(steps: Sequence[HandStep]) -> tuple[str, ...]:
    """What a number of steps take, each thing once."""
    things = dict.fromkeys(kind_of(step).at_hand for step in steps if kind_of(step).at_hand)
    return tuple(thing for thing in things if not (thing == TOOL and TWO_TOOLS in things))
