"""The sensors along the bed and what they say of the position (docs/protocol.md, section 5)."""

from __future__ import annotations

from dataclasses import dataclass

from latchline.link.faults import FaultNumber
from latchline.link.messages import Bed
from latchline.sim.face import PIN_A, PIN_LEFT, PIN_MIDDLE, PIN_RIGHT

MOST_TOLERANCE = 3  # four edges are a period, which an encoder may lose in silence
LEAST_HYSTERESIS = 8


def tolerance(bed: Bed) -> int:
    return min(bed.tolerance, MOST_TOLERANCE)


def hysteresis(bed: Bed) -> int:
    return max(LEAST_HYSTERESIS, 2 * bed.edges_per_needle)


@dataclass
class Edge:
    """One edge: the position after it, its step, whether the edge before had the same or the other, and the pins."""

    position: int
    step: int
    straight: bool
    turned: bool
    pins: int
    pins_before: int

    @property
    def lone_channel(self) -> int:
        """The channel that has changed: 0 is A, 1 is B."""
        return 0 if (self.pins ^ self.pins_before) & PIN_A else 1


@dataclass(frozen=True)
class Verdict:
    """What a sensor says at an edge. Exactly one of the three is given.

    moved: the position becomes certain, changed by so much. deviation: the count minus the sensor's place.
    fault: number and detail.
    """

    moved: int | None = None
    deviation: int | None = None
    fault: tuple[FaultNumber, int] | None = None


class Switch:
    """One sensor. way: 1 if it is approached rightward, −1 leftward; end: it can make the position certain."""

    def __init__(self, number: int, pin: int, place: int, way: int, bed: Bed, *, other: int | None = None) -> None:
        self.number, self.pin, self.place, self.way = number, pin, place, way
        self.end = other is None
        self._places = {way: place, -way: place if other is None else other}
        self.tolerance, self.hysteresis = tolerance(bed), hysteresis(bed)
        self.last_on: tuple[int, bool] | None = None  # position, and whether that edge was of its way
        self.forget()

    def forget(self) -> None:
        self.first: int | None = None
        self.told = self.due = False

    def depth(self, position: int) -> int:
        return self.way * (position - self.place)

    def inward(self, position: int) -> bool:
        """Is the carriage so far before the sensor that it must come on anew? Turns the middle one about."""
        inner = -(self.tolerance + self.hysteresis)
        if not self.end and self.depth(position) >= inner:
            about = -self.way
            if about * (position - self._places[about]) < inner:
                self.way, self.place = about, self._places[about]
        return self.depth(position) < inner

    def certain_at(self, position: int) -> None:
        """The position has become certain by another sensor."""
        self.forget()
        self.last_on = None
        self.due = self.inward(position)

    def _near_last(self, position: int) -> bool:
        return self.last_on is not None and abs(position - self.last_on[0]) < self.hysteresis

    def edge(self, edge: Edge, certain: bool) -> Verdict | None:
        on, was = not edge.pins & self.pin, not edge.pins_before & self.pin
        verdict = self._while_certain(edge, on, was) if certain else self._while_uncertain(edge, on, was)
        if on and not (verdict and verdict.fault):
            moved = verdict.moved if verdict and verdict.moved else 0
            self.last_on = edge.position + moved, edge.step == self.way
        return verdict

    def left(self, position: int) -> None:
        """Off, the place not being known: a touch that lies far behind the carriage says nothing of the next one."""
        if self.last_on and self.way * (position - self.last_on[0]) <= -self.hysteresis:
            self.last_on = None

    def _while_uncertain(self, edge: Edge, on: bool, was: bool) -> Verdict | None:
        if not on:
            self.left(edge.position)
        if not on or not self.end:
            return None
        towards = edge.step == self.way
        if not was:
            self.told = False
            if not towards:
                self.first = None
            elif not self._bounced(edge.position):
                self.first = edge.position
        elif not self.told and self.first is not None and towards and edge.straight:
            self.told = True
            if abs(edge.position - edge.step - self.first) > self.tolerance:
                return Verdict(fault=(FaultNumber.SENSOR_BOUNCES, self.number))
            self.due = False
            return Verdict(moved=self.place - self.first)
        return None

    def _bounced(self, position: int) -> bool:
        """Was it last on shortly before here, on the same way?"""
        if self.last_on is None:
            return False
        before, towards = self.last_on
        return towards and 0 < self.way * (position - before) < self.hysteresis

    def _while_certain(self, edge: Edge, on: bool, was: bool) -> Verdict | None:
        position = edge.position
        if self.inward(position):
            off_early = self.end and self.told and self.last_on and self.depth(self.last_on[0]) > self.tolerance
            self.due, self.told, self.first = True, False, None
            if self.last_on and off_early:
                return Verdict(fault=(FaultNumber.SENSOR_DISAGREES, self.last_on[0] - self.place))
            return Verdict(fault=(FaultNumber.SENSOR_DISAGREES, position - self.place)) if on and was else None
        if on and not was:
            self._comes_on(edge)
        elif on and not self.told:
            self.told = True
            return self._told(edge)
        if self.due and self.depth(position) > self.tolerance:
            if not on and not self._near_last(position):
                return Verdict(fault=(FaultNumber.SENSOR_SILENT, self.number))
            if self.depth(position) > self.tolerance + self.hysteresis:
                return Verdict(fault=(FaultNumber.SENSOR_BOUNCES, self.number))
        return None

    def _comes_on(self, edge: Edge) -> None:
        position = edge.position
        if self.due:
            self.first = position if self.first is None else self.first
            return
        away = self.last_on is None or self.way * (position - self.last_on[0]) >= self.hysteresis
        if self.end and edge.step == self.way and self.depth(position) > self.tolerance and away:
            self.told, self.first = False, position
        else:
            self.told = True

    def _told(self, edge: Edge) -> Verdict:
        first = edge.position if self.first is None else self.first
        if not self.due:
            return Verdict(fault=(FaultNumber.SENSOR_DISAGREES, first - self.place))
        self.due = False
        sure = edge.position - edge.step
        for place in (first, sure):
            if abs(place - self.place) <= self.tolerance:
                return Verdict(deviation=place - self.place)
        return Verdict(fault=(FaultNumber.SENSOR_DISAGREES, sure - self.place))

    def may_change_at(self, position: int, passing: bool) -> bool:
        """May it switch without an edge with the carriage here?"""
        if not self.end:
            left, right = sorted(self._places.values())
            return left - self.tolerance - 1 <= position <= right + self.tolerance + 1
        margin = self.tolerance + 1
        near_last = self.last_on is not None and abs(position - self.last_on[0]) <= margin
        return -margin <= self.depth(position) < margin or (passing and near_last)

    def places_of_interest(self) -> list[int]:
        """Positions at which, with this sensor's pin unchanged, something may happen to a carriage on its way there."""
        before = self.tolerance + self.hysteresis + 1
        places = [self.place - self.way * before]
        if not self.end:
            places.append(self._places[-self.way] + self.way * before)
        if self.due:
            beyond = self.place + self.way * (self.tolerance + 1)
            places += range(beyond, beyond + self.way * (self.hysteresis + 2), self.way)
        return places


def switches(bed: Bed) -> list[Switch]:
    """Left, right and middle, in the order in which they are looked at."""
    ends = [
        Switch(0, PIN_LEFT, bed.left_sensor, -1, bed),
        Switch(1, PIN_RIGHT, bed.right_sensor, 1, bed),
    ]
    if bed.middle_left > bed.middle_right:
        return ends
    return [*ends, Switch(2, PIN_MIDDLE, bed.middle_left, 1, bed, other=bed.middle_right)]
