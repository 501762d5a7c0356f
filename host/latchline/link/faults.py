"""What the board's fault numbers mean to a knitter. The numbers are those of `docs/protocol.md` section 11."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from latchline.errors import BoardFault
from latchline.link.messages import NO_NEEDLE, Fault
from latchline.machine.needles import Span
from latchline.machine.profile import Profile
from latchline.mend import Mend


class FaultNumber(IntEnum):
    """As docs/protocol.md, section 11, numbers them. A board of a later version may tell others."""

    IMPOSSIBLE_STEP = 1
    SENSOR_DISAGREES = 2
    BOTH_SENSORS = 3
    TOO_FAST = 4
    NOT_READY = 5
    TURNED_EARLY = 6
    COIL_RESTED = 7
    NOT_AS_PLANNED = 8
    HOST_SILENT = 9
    SUPPLY_LOW = 10
    CURRENT_HIGH = 11
    CHECKPOINT_UNWRITABLE = 12
    EDGES_TOO_FAST = 13
    OFF_THE_BED = 14
    SELECTOR_LATE = 15
    SENSOR_SILENT = 16
    SENSOR_BOUNCES = 17
    ENCODER_SILENT = 18
    CHANNEL_DEAD = 19
    EDGES_MISSING = 20
    LEFT_AGAIN = 21


LOSES_POSITION = frozenset(
    (
        FaultNumber.IMPOSSIBLE_STEP,
        FaultNumber.SENSOR_DISAGREES,
        FaultNumber.BOTH_SENSORS,
        FaultNumber.EDGES_TOO_FAST,
        FaultNumber.OFF_THE_BED,
        FaultNumber.SENSOR_SILENT,
        FaultNumber.SENSOR_BOUNCES,
        FaultNumber.ENCODER_SILENT,
        FaultNumber.CHANNEL_DEAD,
        FaultNumber.EDGES_MISSING,
    )
)

_REFERENCE = "take the carriage past an end sensor, then to the side where this row starts"
_AGAIN = "undo this row, take the carriage back to the side where it started, then knit it again"


@dataclass(frozen=True)
class FaultText:
    """name: a few words, also the heading of its page; says: the whole clause; hint, mends: what to do."""

    name: str
    says: str
    hint: str
    mends: tuple[Mend, ...] = ()


FAULTS: dict[int, FaultText] = {
    FaultNumber.IMPOSSIBLE_STEP: FaultText(
        "impossible encoder step",
        "both encoder channels changed at once, so the carriage's place is no longer known",
        f"check the encoder's gap, cable and strip for dirt, then {_REFERENCE}",
    ),
    FaultNumber.SENSOR_DISAGREES: FaultText(
        "end sensor disagrees",
        "an end sensor switched somewhere else than the count of needles says, so edges were lost or added",
        "look at every row since the carriage last passed an end sensor, step back if one is shifted; "
        f"check encoder, strip and sensor, then {_REFERENCE}",
    ),
    FaultNumber.BOTH_SENSORS: FaultText(
        "both end sensors on",
        "both end sensors are on at once, which cannot be",
        "one of them is stuck or shorted: look at both, then " + _REFERENCE,
    ),
    FaultNumber.TOO_FAST: FaultText(
        "carriage too fast",
        "the carriage went faster than the coils can follow",
        f"move more slowly; {_AGAIN}",
    ),
    FaultNumber.NOT_READY: FaultText(
        "not ready",
        "the carriage set off before the coming row was ready",
        "wait for the lamp at the turn; take the carriage back to the side where it started",
    ),
    FaultNumber.TURNED_EARLY: FaultText(
        "turned early",
        "the carriage turned back before the end of the row",
        _AGAIN,
    ),
    FaultNumber.COIL_RESTED: FaultText(
        "coil rested",
        "the carriage stood still with a coil on, which was put to rest, and then went on without giving it time",
        f"after a stop in mid row draw back a few needles first; {_AGAIN}",
    ),
    FaultNumber.NOT_AS_PLANNED: FaultText(
        "needle not as planned",
        "a selector was not as the plan has it",
        _AGAIN,
        (Mend("if it comes back, report it", "bundle", task="doctor"),),
    ),
    FaultNumber.HOST_SILENT: FaultText(
        "host silent",
        "the board heard nothing from this program for too long",
        f"keep the computer awake; {_AGAIN}",
    ),
    FaultNumber.SUPPLY_LOW: FaultText(
        "supply low",
        "the coil supply sagged below its limit",
        "check the supply, its plug and its fuse",
    ),
    FaultNumber.CURRENT_HIGH: FaultText(
        "current too high",
        "more current flows through the coils than the limit allows",
        "switch the coil supply off and look for a short before going on",
    ),
    FaultNumber.CHECKPOINT_UNWRITABLE: FaultText(
        "checkpoint cannot be written",
        "the board's own memory of the last row does not take what is written",
        "the journal still counts; change the board when the piece is done",
    ),
    FaultNumber.EDGES_TOO_FAST: FaultText(
        "edges faster than the board can follow",
        "encoder edges came faster than the board can count them",
        f"look for a bouncing or noisy encoder, then {_REFERENCE}",
    ),
    FaultNumber.OFF_THE_BED: FaultText(
        "off the bed",
        "by the count the carriage is far off the bed",
        f"if it was lifted off, put it back, then {_REFERENCE}",
    ),
    FaultNumber.SELECTOR_LATE: FaultText(
        "selector late",
        "the carriage gathered speed so quickly that a selector had no time to act",
        f"set off more gently, most of all after a stop; {_AGAIN}",
    ),
    FaultNumber.SENSOR_SILENT: FaultText(
        "end sensor silent",
        "by the count the carriage went past an end sensor, which never came on",
        "look at the sensor, its magnet and its cable; if they are well, edges were lost: look at every row since "
        f"the carriage last passed an end sensor, step back if one is shifted, then {_REFERENCE}",
    ),
    FaultNumber.SENSOR_BOUNCES: FaultText(
        "end sensor bounces",
        "an end sensor went on and off again, so it does not tell where the carriage is",
        f"check its gap, magnet and cable, then {_REFERENCE}",
    ),
    FaultNumber.ENCODER_SILENT: FaultText(
        "encoder silent",
        "a sensor changed though the encoder told of no movement",
        f"check the encoder's cable and gap; undo what this row has made, then {_REFERENCE}",
    ),
    FaultNumber.CHANNEL_DEAD: FaultText(
        "channel dead",
        "only one of the encoder's two channels changes",
        f"check the other channel's cable, gap and adjustment; undo what this row has made, then {_REFERENCE}",
    ),
    FaultNumber.EDGES_MISSING: FaultText(
        "edges missing",
        "the encoder skipped edges, so the carriage's place is no longer known",
        f"check the encoder's gap and strip for dirt; undo what this row has made, then {_REFERENCE}",
    ),
    FaultNumber.LEFT_AGAIN: FaultText(
        "row begun and left",
        "the carriage went over the first needles of the row and back again",
        "look at these needles and put right what they have made, then begin the row again",
    ),
}

_UNKNOWN = FaultText("unknown fault", "the board named a fault that this program does not know", "update Latchline")


def fault_text(number: int) -> FaultText:
    return FAULTS.get(number, _UNKNOWN)


def crossed_needles(fault: Fault, within: Span | None = None) -> Span | None:
    """The needles that the carriage has gone over and back, when that is the fault; None with any other.

    within: those between the turns of the pass. The board counts from the end of the plan's span.
    """
    if fault.fault != FaultNumber.LEFT_AGAIN or fault.needle == NO_NEEDLE:
        return None
    rightward, count = divmod(fault.detail, 256)
    others = max(count, 1) - 1
    first, last = (fault.needle - others, fault.needle) if rightward else (fault.needle, fault.needle + others)
    if within is not None and within.first <= fault.needle <= within.last:
        first, last = max(first, within.first), min(last, within.last)
    return Span(max(first, 0), last)


def board_fault(fault: Fault, profile: Profile, within: Span | None = None) -> BoardFault:
    """The fault as one of our errors, with its needle and pass by name. within: the needles of the pass."""
    text = fault_text(fault.fault)
    crossed = crossed_needles(fault, within)
    needle = "" if fault.needle == NO_NEEDLE else profile.needle_name(fault.needle)
    places = [f"pass {fault.pass_number}"] if fault.pass_number else []
    if crossed and crossed.width > 1:
        places.append(f"needles {profile.span_name(crossed)}")
    elif needle:
        places.append(f"needle {needle}")
    return BoardFault(
        text.says,
        number=fault.fault,
        needle=needle,
        pass_number=fault.pass_number,
        where=", ".join(places),
        hint=text.hint,
        mends=text.mends,
    )
