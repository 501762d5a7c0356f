"""Read a TOML file key by key, so that every complaint names the file, the line and the key.

`tomllib` forgets where a key stood; `locate` finds it again by scanning the text for table
headers and keys, which is enough for the flat files that Latchline reads.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from latchline.errors import InputError, file_trouble
from latchline.mend import Mend

FILE_BYTES_MAX = 1 << 20
TOML_HINT = 'each line is a [table] or a key = value, with texts in quotes, as in name = "blanket"'
WHOLE_MAX = 1 << 63  # TOML 1.0.0: whole numbers of 64 bits with sign; tomllib reads longer ones, too

Value = TypeVar("Value")

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")


# what may hold brackets that open nothing, then the brackets
_TOKEN = re.compile(
    r'''(?P<idle>#[^\n]*|"""[\s\S]*?"""|\'{3}[\s\S]*?\'{3}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\')|[\[\]{}]'''
)


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def locate(text: str) -> dict[tuple[str, ...], int]:
    """The line (from 1) of every table and key; entries of arrays of tables, written either way, carry their index."""
    lines: dict[tuple[str, ...], int] = {}
    seen: dict[tuple[str, ...], int] = {}
    here: tuple[str, ...] = ()
    at = 0  # where the line begins
    for number, line in enumerate(text.split("\n"), 1):
        if header := _HEADER.match(line):
            *outer, last = _parts(header[2])
            path: tuple[str, ...] = ()
            for part in outer:
                path = (*path, part)
                if path in seen:  # an array of tables: what follows stands in its last entry
                    path = (*path, str(seen[path]))
            path = (*path, last)
            if header[1] == "[[":
                seen[path] = seen.get(path, -1) + 1
                path = (*path, str(seen[path]))
            here = path
            lines.setdefault(here, number)
        elif key := _KEY.match(line):
            path = (*here, *_parts(key[1]))
            lines.setdefault(path, number)
            for place, further in enumerate(_inline_tables(text, at + key.end())):
                lines.setdefault((*path, str(place)), number + further)
        at += len(line) + 1
    return lines


def _inline_tables(text: str, start: int) -> Iterator[int]:
    """How many lines below `start` each table of an array begins that is written there between brackets."""
    if not text[start:].lstrip(" \t").startswith("["):
        return
    depth = 0
    for token in _TOKEN.finditer(text, start):
        if token["idle"]:
            continue
        if depth == 1 and token[0] == "{":
            yield text.count("\n", start, token.start())
        depth += 1 if token[0] in "[{" else -1
        if depth == 0:
            return


def read_text(path: str | Path, kind: type[InputError] = InputError) -> str:
    """The text of a settings file. Raises `kind` when it is missing, too large or not UTF-8."""
    try:
        with Path(path).open("rb") as stream:
            data = stream.read(FILE_BYTES_MAX + 1)
    except (OSError, ValueError) as error:
        raise file_trouble(path, error, kind) from None
    if len(data) > FILE_BYTES_MAX:
        raise kind("the file is larger than 1 MiB", where=str(path), hint="this cannot be a settings file")
    return decode_text(data, str(path), kind)


def decode_text(data: bytes, name: str, kind: type[InputError] = InputError) -> str:
    """UTF-8, with or without a byte order mark. Raises `kind`; `name` is what complaints call it."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        what = f"the file is not UTF-8 text (byte {error.start + 1})"
        raise kind(what, where=name, hint="save it as UTF-8") from None


class Table:
    """One table of a TOML file; each reader method takes a key out, `finish` complains of what is left.

    file: what complaints call it; empty for values that stand in no file, whose complaints carry the key alone.
    """

    def __init__(
        self,
        values: Mapping[str, Any],
        *,
        file: str = "",
        lines: Mapping[tuple[str, ...], int] = MappingProxyType({}),
        path: tuple[str, ...] = (),
        kind: type[InputError] = InputError,
    ) -> None:
        self._values = dict(values)
        self._asked: list[str] = []
        self._lines = lines
        self._path = path
        self._kind = kind
        self.file = file

    @classmethod
    def read(cls, path: str | Path, kind: type[InputError] = InputError) -> Table:
        """Read a file. Raises `kind` when it cannot be read or is not TOML."""
        return cls.parse(read_text(path, kind), file=str(path), kind=kind)

    @classmethod
    def parse(cls, text: str, *, file: str, kind: type[InputError] = InputError) -> Table:
        try:
            values = tomllib.loads(text.replace("\r\n", "\n"))
        except (ValueError, RecursionError) as error:  # a bare ValueError for a number of thousands of digits
            if not isinstance(error, RecursionError | tomllib.TOMLDecodeError):
                raise _too_long(text, file, kind) from None
            message = "too deeply nested" if isinstance(error, RecursionError) else str(error)
            place = re.search(r"\(at line (\d+), column (\d+)\)", message)
            where = f"{file}, line {place[1]}, column {place[2]}" if place else file
            reason = re.sub(r"\s*\(at .*\)$", "", message)
            reason = reason.replace("Illegal character '\\n'", "a text is not closed where its line ends")
            raise kind(f"not valid TOML ({reason[:1].lower()}{reason[1:]})", where=where, hint=TOML_HINT) from None
        return cls(values, file=file, lines=locate(text), kind=kind)

    def where(self, key: str = "") -> str:
        """`file, line 7, key "bands.2.rows"`, with the line of the nearest table when the key has none."""
        return self.place(key) if self.file else ""

    def place(self, key: str = "") -> str:
        """The same, and `key "bands.2.rows"` of values that stand in no file."""
        path = (*self._path, key) if key else self._path
        line = next((self._lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self._lines), None)
        text = self.file if line is None else f"{self.file}, line {line}"
        shown = ".".join(str(int(part) + 1) if part.isdigit() else part for part in path)
        return ", ".join(part for part in (text, f'key "{shown}"' if shown else "") if part)

    def complain(self, key: str, what: str, hint: str = "", mends: Sequence[Mend] = ()) -> InputError:
        return self._kind(what, where=self.where(key), key=key, hint=hint, mends=mends)

    def keyed(self, key: str, read: Callable[[], Value]) -> Value:
        """Run `read`; an InputError from deeper down gets this table's file, line and key."""
        try:
            return read()
        except InputError as error:
            if self.file and error.where.startswith(self.file):
                raise
            here = self.where(key)
            raise error.at(
                f"{here}: {error.where}" if here and error.where else here or error.where, key=error.key or key
            ) from None

    def has(self, key: str) -> bool:
        self._asked.append(key)
        return key in self._values

    def _take(self, key: str, default: Any) -> Any:
        self._asked.append(key)
        if key in self._values:
            value = self._values.pop(key)
            for number in value if isinstance(value, list) else (value,):
                if self.file and isinstance(number, int) and not -WHOLE_MAX <= number < WHOLE_MAX:
                    raise self.complain(key, "this number has more than 64 bits", "TOML has none so large")
            return value
        if default is ...:
            raise self.complain(key, "this key is missing", f'add "{key} = …"')
        return default

    def text(self, key: str, default: Any = ..., *, longest: int = 2000) -> Any:
        value = self._take(key, default)
        if value is default:
            return value
        if not isinstance(value, str):
            raise self.complain(key, f"expected text, found {_kind_of(value)}", 'put it in quotes, as "…"')
        if len(value) > longest:
            raise self.complain(key, f"the text is longer than {longest} characters")
        return value

    def choice(self, key: str, options: Sequence[str], default: Any = ...) -> Any:
        value = self.text(key, default)
        if value is not default and value not in options:
            raise self.complain(key, f'"{value}" is not known here', "accepted: " + ", ".join(options))
        return value

    def flag(self, key: str, default: Any = ...) -> Any:
        value = self._take(key, default)
        if value is not default and not isinstance(value, bool):
            raise self.complain(key, f"expected true or false, found {_kind_of(value)}")
        return value

    def whole(self, key: str, low: int, high: int, default: Any = ...) -> Any:
        value = self._take(key, default)
        if value is default:
            return value
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.complain(key, f"expected a whole number, found {_kind_of(value)}")
        if not low <= value <= high:
            raise self.complain(key, f"{value} is out of range", f"accepted: {low} to {high}")
        return value

    def number(self, key: str, low: float, high: float, default: Any = ...) -> Any:
        value = self._take(key, default)
        if value is default:
            return value
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.complain(key, f"expected a number, found {_kind_of(value)}")
        if not low <= value <= high:  # also refuses nan
            raise self.complain(key, f"{value} is out of range", f"accepted: {low:g} to {high:g}")
        return float(value)

    def texts(self, key: str, default: Any = ...) -> Any:
        value = self._take(key, default)
        if value is default:
            return value
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.complain(key, "expected a list of texts", 'as in ["one", "two"]')
        return tuple(value)

    def settle(self, key: str, read: Callable[[str], Value]) -> bool:
        """Put what `read` makes of a text in its place; whether there was one. What `read` raises gets the key."""
        text = self._values.get(key)
        if not isinstance(text, str):
            return False
        self._values[key] = self.keyed(key, lambda: read(text))
        return True

    def raw(self, key: str, default: Any = ...) -> Any:
        """The value as TOML gives it, for the few keys that accept more than one kind."""
        return self._take(key, default)

    def table(self, key: str, *, required: bool = False) -> Table:
        value = self._take(key, ... if required else {})
        if not isinstance(value, dict):
            raise self.complain(
                key, f"expected a table, found {_kind_of(value)}", f"write it as [{'.'.join((*self._path, key))}]"
            )
        return self._inner(value, (*self._path, key))

    def tables(self, key: str, *, required: bool = False) -> list[Table]:
        if required and key not in self._values:
            raise self.complain(key, "this key is missing", f"write each as [[{self._header(key)}]]")
        value = self._take(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.complain(key, "expected a list of tables", f"write each as [[{self._header(key)}]]")
        return [self._inner(item, (*self._path, key, str(n))) for n, item in enumerate(value)]

    def _header(self, key: str) -> str:
        """What stands between the brackets of a table's header; the place in a list of tables is not written."""
        return ".".join(part for part in (*self._path, key) if not part.isdigit())

    def peek(self, key: str) -> Any:
        """The value of a key that is still to be read; None where there is none."""
        return self._values.get(key)

    def left(self) -> Iterable[str]:
        """The keys that nobody has asked for yet."""
        return list(self._values)

    def _inner(self, values: dict[str, Any], path: tuple[str, ...]) -> Table:
        return Table(values, file=self.file, lines=self._lines, path=path, kind=self._kind)

    def finish(self) -> None:
        """Complain of the first key that nobody asked for."""
        for key in self._values:
            accepted = sorted(set(self._asked))
            near = difflib.get_close_matches(key, accepted, 1)
            hint = f'did you mean "{near[0]}"?' if near else "accepted: " + ", ".join(accepted)
            raise self.complain(key, "this key is not known here", hint)


def _too_long(text: str, file: str, kind: type[InputError]) -> InputError:
    """The complaint of a number of thousands of digits, which Python does not read."""
    longest = max(re.finditer(r"[0-9_]+", text), key=lambda digits: len(digits[0]), default=None)
    line = "" if longest is None else f", line {text.count(chr(10), 0, longest.start()) + 1}"
    return kind("this number has more than 64 bits", where=f"{file}{line}", hint="TOML has none so large")


def _kind_of(value: Any) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case int() | float():
            return f"the number {value}"
        case str():
            return f'the text "{value[:40]}"'
        case list():
            return "a list"
        case dict():
            return "a table"
    return f"a {type(value).__name__}"
