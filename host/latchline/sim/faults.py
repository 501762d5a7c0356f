"""Faults that the simulator can be told to suffer: `fault=flip:0.001,early-turn:@3` in its address.

`docs/reference/simulator.md` explains each. A value is a chance (of each bit, byte, edge or pass), or
`@N` for the Nth time only, or a plain amount; what kind it is belongs to the fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from latchline.errors import InputError


@dataclass(frozen=True)
class Kind:
    """What the value of a fault is: `chance` of each `of`, or an amount between two limits.

    single: there is no sense in telling it twice, as with the edges of the one encoder.
    """

    of: str = ""
    least: float = 0.0
    most: float = 1.0
    usual: float | None = None
    whole: bool = False
    single: bool = False


def _chance(of: str, usual: float) -> Kind:
    return Kind(of=of, usual=usual)


_COIL = Kind(least=0, most=15, whole=True)
_SECOND = Kind(least=0, most=1e6)
_SET = Kind(least=1, most=1, usual=1, whole=True, single=True)

KINDS: Mapping[str, Kind] = {
    # wire
    "flip": _chance("bit", 1e-5),
    "drop": _chance("byte", 1e-4),
    "double": _chance("byte", 1e-4),
    "stall": _chance("frame", 0.01),
    "split": _chance("frame", 1.0),
    "unplug": _SECOND,
    "unplug-byte": Kind(least=0, most=1e9, whole=True),
    # carriage
    "lost": _chance("edge", 1e-4),
    "extra": _chance("edge", 1e-4),
    "bounce": _chance("edge", 1e-3),
    "gap": _chance("edge", 1e-4),
    "a-drops": _chance("edge", 1e-4),
    "b-drops": _chance("edge", 1e-4),
    "end-bounce": _chance("touch", 0.1),
    "encoder-out": _SECOND,
    "early-turn": _chance("pass", 0.05),
    "lift-off": _chance("pass", 0.05),
    "reversal": _chance("pass", 0.05),
    "too-fast": _chance("pass", 0.05),
    # board
    "reset": _SECOND,
    "power-cut": _SECOND,
    "slow": Kind(least=1, most=100_000, usual=5000, whole=True, single=True),
    "full": Kind(least=1, most=32, usual=1, whole=True, single=True),
    # coils
    "coil-open": _COIL,
    "coil-short": _COIL,
    "coil-stuck": _COIL,
    "coil-slow": _COIL,
    "coil-weak": _COIL,
    # sensors
    "channels-swapped": _SET,
    "a-dead": _SET,
    "b-dead": _SET,
    "ends-swapped": _SET,
    "left-stuck": _SET,
    "right-stuck": _SET,
    "left-missing": _SET,
    "right-missing": _SET,
    "edges": Kind(least=1, most=16, whole=True, single=True),
    # supply
    "sag": Kind(least=0, most=1, usual=0.3, single=True),
}


@dataclass(frozen=True)
class Fault:
    """One fault. once: it strikes the `amount`th time only, instead of by chance."""

    name: str
    amount: float
    once: bool = False

    def __str__(self) -> str:
        return f"{self.name}:{'@' if self.once else ''}{self.amount:g}"


@dataclass(frozen=True)
class Faults:
    """The faults of one run, in the order told. What can befall more than once may be told more than once."""

    told: tuple[Fault, ...] = ()

    @classmethod
    def parse(cls, texts: Iterable[str]) -> Faults:
        """Read `name`, `name:value` or `name:@N`, several to a text with commas between.

        Raises InputError, naming the fault and what would be accepted.
        """
        faults = [_parse(part.strip()) for text in texts for part in text.split(",") if part.strip()]
        for number, fault in enumerate(faults):
            if KINDS[fault.name].single and fault.name in {other.name for other in faults[:number]}:
                raise InputError(f'the fault "{fault.name}" is told twice', where="fault", hint="leave one of them out")
        return cls(tuple(dict.fromkeys(faults)))

    def __contains__(self, name: str) -> bool:
        return any(fault.name == name for fault in self.told)

    def __str__(self) -> str:
        return ",".join(map(str, self.told))

    def amounts(self, name: str) -> list[float]:
        """What was told of this fault, each time: seconds, coils."""
        return [fault.amount for fault in self.told if fault.name == name]

    def amount(self, name: str, absent: float = 0.0) -> float:
        """The lowest amount told of this fault: of one that ends something, the first to come."""
        return min(self.amounts(name), default=absent)

    def coils(self, name: str) -> list[int]:
        """The coils that have this fault."""
        return [int(amount) for amount in self.amounts(name)]

    def strikes(self, name: str, nth: int, rng: np.random.Generator) -> bool:
        """Does it strike the nth pass (from 1)? One draw for each fault that goes by chance."""
        struck = [
            nth == fault.amount if fault.once else bool(rng.random() < fault.amount)
            for fault in self.told
            if fault.name == name
        ]
        return any(struck)

    def struck(self, name: str, before: int, count: int, rng: np.random.Generator) -> list[int]:
        """Which of the next `count` bits, bytes or edges are struck, `before` having gone by already."""
        found: set[int] = set()
        for fault in self.told:
            if fault.name != name or count == 0:
                continue
            if fault.once:
                found |= {int(fault.amount) - 1 - before} & set(range(count))
            else:
                found |= set(np.flatnonzero(rng.random(count) < fault.amount).tolist())
        return sorted(found)


def _parse(text: str) -> Fault:
    name, _, value = text.partition(":")
    kind = KINDS.get(name)
    if kind is None:
        raise InputError(f'no fault is called "{name}"', where="fault", hint="there are " + ", ".join(KINDS))
    if not value:
        if kind.usual is None:
            raise InputError(f'the fault "{name}" needs a value', where="fault", hint=f"write {name}:{_example(kind)}")
        return Fault(name, kind.usual)
    once = value.startswith("@") and bool(kind.of)
    try:
        amount = float(value[once:])
    except ValueError:
        amount = -1.0
    least, most = (1, 1e9) if once else (kind.least, kind.most)
    if not least <= amount <= most or ((once or kind.whole) and amount != int(amount)):
        hint = f"from {kind.least:g} to {kind.most:g}" + (f", or @N for the Nth {kind.of} only" if kind.of else "")
        raise InputError(f'"{value}" is no value for the fault "{name}"', where="fault", hint=f"write a number {hint}")
    return Fault(name, amount, once)


def _example(kind: Kind) -> str:
    return "3" if kind.whole else "12.5"
