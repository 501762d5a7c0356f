"""Events and views as plain values that JSON holds, and wishes and answers back from them.

`docs/reference/session.md` lists the shapes. Names are those of the classes and fields, in lower
case with hyphens where a class or a member is named; errors are their what, where and hint.
"""

from __future__ import annotations

import dataclasses
import math
import re
from enum import Enum
from typing import Any

from latchline.errors import InputError, LatchlineError
from latchline.knit import events as told
from latchline.knit import words
from latchline.knit.events import Answer, Numbered, Reply, Wish
from latchline.knit.prompts import Prompt
from latchline.knit.view import View

NOTE_LONGEST = 1000  # letters


def plain(item: Any) -> Any:
    """A dataclass of this room, or what it holds, as dicts, lists, texts, numbers, booleans and None."""
    match item:
        case Enum():
            return item.name.lower().replace("_", "-")
        case LatchlineError():
            named = {name: getattr(item, name) for name in ("number", "needle", "pass_number") if hasattr(item, name)}
            return {"what": item.what, "where": item.where, "hint": item.hint, "sentence": item.sentence(), **named}
        case Prompt():
            return _fields(item) | {"line": words.line(item), "short": words.short(item)}
        case bytes():
            return item.hex()
        case float():
            return item if math.isfinite(item) else None
        case None | str() | int():
            return item
        case tuple() | list():
            return [plain(part) for part in item]
    if dataclasses.is_dataclass(item):
        return _fields(item)
    raise TypeError(f"{type(item).__name__} has no plain form")


def plain_event(numbered: Numbered) -> dict[str, Any]:
    """An event with its number, its time and its name."""
    event = _fields(numbered.event)
    for name in ("wish", "reply"):
        if name in event:
            event[name] = _named(getattr(numbered.event, name))
    return {"number": numbered.number, "at_s": numbered.at_s, "event": _name(numbered.event), "told": event}


def plain_view(view: View) -> dict[str, Any]:
    """A view; each prompt of what comes next with the words for a big screen and for a voice."""
    values = _fields(view)
    if view.coming is not None:
        for prompt, texts in zip(view.coming.prompts, values["coming"]["prompts"], strict=True):
            texts["ahead"] = words.ahead(prompt, view.number)
            texts["spoken"] = words.spoken(prompt, view.number)
    return values


def wish_of(values: Any) -> Wish:
    """`{"wish": "step-back", "passes": 2}` as a wish. Raises InputError."""
    match values:
        case {"wish": "pause", **rest} if not rest:
            return told.Pause()
        case {"wish": "plain-rows", **rest} if not rest:
            return told.PlainRows()
        case {"wish": "stop", **rest} if not rest:
            return told.Stop()
        case {"wish": "step-back", "passes": int(passes), **rest} if not rest and passes is not True and passes >= 1:
            return told.StepBack(passes)
        case {"wish": "note", "text": str(text), **rest} if not rest and text.strip():
            return told.Note(text.strip()[:NOTE_LONGEST])
    raise InputError("this is no wish", hint="pause, plain-rows, step-back with passes, note with text, or stop")


def answer_of(values: Any) -> tuple[int, Reply]:
    """`{"question": 17, "reply": "go-on"}` as serial and reply. Raises InputError."""
    match values:
        case {"question": int(serial), "reply": str(word), **rest} if not rest and word in _ANSWERS:
            return serial, _ANSWERS[word]
        case {"question": int(serial), "reply": int(row), **rest} if not rest and not isinstance(row, bool):
            return serial, row
    raise InputError("this is no answer", hint="the question's serial, and go-on, stop, no or the number of a pass")


_ANSWERS = {item.name.lower().replace("_", "-"): item for item in Answer}


def _fields(item: Any) -> dict[str, Any]:
    return {field.name: plain(getattr(item, field.name)) for field in dataclasses.fields(item)}


def _name(item: object) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "-", type(item).__name__).lower()


def _named(item: Any) -> Any:
    """A wish with its name; an answer or a number as it is."""
    return {"wish": _name(item), **_fields(item)} if dataclasses.is_dataclass(item) else plain(item)
