"""Prompts in words: a line to read at the machine, a few words for a big screen, a sentence to be spoken."""

from __future__ import annotations

from latchline.counted import counted
from latchline.knit.prompts import Prompt, What


def line(prompt: Prompt) -> str:
    """The whole of it, without a full stop."""
    match prompt.what:
        case What.THREAD if prompt.yarn is not None:
            return f"thread {prompt.yarn.name}"
        case What.CHANGE if prompt.yarn is not None:
            return f"change to {prompt.yarn.name}"
        case What.WEIGHTS:
            return "move the weights up"
        case What.CARRIAGE:
            return f"put the carriage at the {prompt.side}, past the end sensor"
        case What.SIDE:
            return f"put the carriage at the {prompt.side}"
        case What.KNIT:
            return f"bring the needles forward, then take the carriage {prompt.side}"
        case What.UNDO_ABOVE:
            return f"pass {prompt.count} is the last one that counts: undo whatever lies above it"
        case What.UNDO_BEGUN:
            return f"pass {prompt.count} did not count: undo what is knitted of it"
        case What.UNKNIT:
            return f"un-knit {counted(prompt.count, 'pass')}"
        case What.BEGUN:
            known = counted(prompt.count, "pass of it is", "passes of it are")
            before = f"this piece was begun before, {known} knitted ({prompt.text})"
            return f"{before}: go on here only to begin it anew"
        case What.OTHER:
            return (
                f"the board is in the middle of another piece and has counted {counted(prompt.count, 'pass')} of it: "
                "going on here ends that piece on the board; stop here to go on with that one first"
            )
        case What.SINCE:
            return "another piece was begun on this board since: look whether the right fabric hangs on the needles"
        case What.LOOK:
            return f"pass {prompt.count} was not knitted as planned: look at it, step back if it is wrong"
    return prompt.text


_SHORT = {
    What.SECOND_BED: "set the second bed",
    What.NEEDLES: "needles by hand",
    What.WEIGHTS: "weights up",
    What.PLAIN: "plain rows",
    What.UNDO_BEGUN: "undo this pass",
}


def short(prompt: Prompt) -> str:
    """As few words as can be read across a room."""
    match prompt.what:
        case What.CARRIAGE | What.SIDE:
            return f"carriage to the {prompt.side}"
        case What.KNIT:
            return f"needles, then {prompt.side}"
        case What.UNDO_ABOVE:
            return f"down to pass {prompt.count}"
        case What.LOOK:
            return f"look at pass {prompt.count}"
    return _SHORT.get(prompt.what) or line(prompt)


def ahead(prompt: Prompt, coming: int) -> str:
    """The short form with the passes that lie before it: `in 3: change to blue`."""
    passes = prompt.pass_number - coming
    return f"in {passes}: {short(prompt)}" if passes > 0 else f"now: {short(prompt)}"


def spoken(prompt: Prompt, coming: int) -> str:
    """For a voice: `In three passes, change to blue.`"""
    passes = prompt.pass_number - coming
    text = line(prompt)
    if passes <= 0:
        return f"{text[:1].upper()}{text[1:]}."
    return f"In {_count(passes)} pass{'es' if passes != 1 else ''}, {text}."


def _count(number: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[number] if number < len(words) else str(number)
