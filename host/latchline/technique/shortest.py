"""The fewest passes that knit each colour of each row once, where colours are changed by hand.

A yarn lies where it was knitted last, at the left or the right, and one that was not yet carried may begin
anywhere. A pass takes the carriage to the other side, with a yarn that lies where the carriage stands, or with
none. Exact, from the last row to the first (dynamic programming); of equally short ways the one with fewer changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

NO_COLOUR = -1  # the carriage goes across without a yarn

FRESH, HERE, THERE = range(3)
# Of each colour whether its yarn lies where the carriage stands; and the one that is in the carriage.
State = tuple[tuple[int, ...], int]
Row = tuple[int, ...]
Costs = npt.NDArray[np.int64]

PASS = 1 << 24  # more than all changes of a piece of a million passes
NEVER = PASS << 30


def shortest_by_hand(rows: Sequence[Row], colours: int) -> list[tuple[int, int]]:
    """The passes as (row from 0, colour), NO_COLOUR where the carriage goes without a yarn."""
    start: State = ((FRESH,) * colours, NO_COLOUR)
    kinds = dict.fromkeys(rows)
    states = _reached(start, list(kinds))
    places = {state: place for place, state in enumerate(states)}
    costs = {row: _costs(row, states, places) for row in kinds}
    onward = np.zeros((len(rows), len(states)), dtype=np.int16)
    to_go: Costs = np.zeros(len(states), dtype=np.int64)
    for number in range(len(rows) - 1, -1, -1):
        ways = costs[rows[number]] + to_go
        onward[number] = ways.argmin(axis=1)
        to_go = np.minimum(ways.min(axis=1), NEVER)
    passes, now = [], 0
    for number, row in enumerate(rows):
        after = int(onward[number, now])
        passes += [(number, colour) for colour in _ways(row, states[now])[states[after]]]
        now = after
    return passes


def _reached(start: State, kinds: Sequence[Row]) -> list[State]:
    states = {start: None}
    left = [start]
    while left:
        now = left.pop()
        for row in kinds:
            for after in _ways(row, now):
                if after not in states:
                    states[after] = None
                    left.append(after)
    return list(states)


def _costs(row: Row, states: Sequence[State], places: dict[State, int]) -> Costs:
    """What it costs to knit a row from each state to each other one: int64 (states, states)."""
    costs = np.full((len(states), len(states)), NEVER, dtype=np.int64)
    for place, state in enumerate(states):
        for after, way in _ways(row, state).items():
            costs[place, places[after]] = _cost(state, way)
    return costs


def _cost(state: State, way: Row) -> int:
    changes = sum(now not in (before, NO_COLOUR) for before, now in zip((state[1], *way), way, strict=False))
    return PASS * len(way) + changes


@lru_cache(maxsize=1 << 14)
def _ways(row: Row, state: State) -> dict[State, Row]:
    """To each state that a row may end in, the cheapest order of its passes."""
    found: dict[State, Row] = {}
    for way, after in _tried(row, state):
        if after not in found or _cost(state, way) < _cost(state, found[after]):
            found[after] = way
    return found


def _tried(left: Row, state: State) -> Iterator[tuple[Row, State]]:
    if not left:
        yield (), state
        return
    lies, carried = state
    for colour in sorted(left, key=lambda colour: (colour != carried, colour)):
        rest = tuple(other for other in left if other != colour)
        if lies[colour] != THERE:
            for way, after in _tried(rest, _crossed(lies, colour)):
                yield (colour, *way), after
        if lies[colour] != HERE:
            for way, after in _tried(rest, _crossed(_crossed(lies, NO_COLOUR)[0], colour)):
                yield (NO_COLOUR, colour, *way), after


def _crossed(lies: tuple[int, ...], colour: int) -> State:
    """After a pass with a colour: its yarn has come along, and from the carriage the others lie at the other end."""
    other = {FRESH: FRESH, HERE: THERE, THERE: HERE}
    return tuple(HERE if place == colour else other[lie] for place, lie in enumerate(lies)), colour
