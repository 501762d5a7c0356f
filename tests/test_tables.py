"""Settings files: each kind of value is read, and a mistake is named with file, line and key."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given

import strategies
from latchline.errors import InputError
from latchline.tables import Table, locate

Reader = Callable[[Table, str], Any]

READERS: dict[str, tuple[Reader, str, Any]] = {
    "text": (lambda table, key: table.text(key, longest=5), '"four5"', "four5"),
    "choice": (lambda table, key: table.choice(key, ("on", "off")), '"off"', "off"),
    "flag": (lambda table, key: table.flag(key), "false", False),
    "whole, lowest": (lambda table, key: table.whole(key, 2, 9), "2", 2),
    "whole, highest": (lambda table, key: table.whole(key, 2, 9), "9", 9),
    "number, lowest": (lambda table, key: table.number(key, 0.5, 9), "0.5", 0.5),
    "number, highest": (lambda table, key: table.number(key, 0.5, 9), "9", 9.0),
    "texts": (lambda table, key: table.texts(key), '["a", "b"]', ("a", "b")),
    "no texts": (lambda table, key: table.texts(key), "[]", ()),
    "raw": (lambda table, key: table.raw(key), "[1, 2]", [1, 2]),
}


def parse(text: str) -> Table:
    return Table.parse(text, file="my.toml")


@pytest.mark.parametrize("kind", READERS)
def test_a_value_is_read_as_what_it_is(kind: str) -> None:
    read, written, value = READERS[kind]
    table = parse(f"key = {written}")
    found = read(table, "key")
    assert (found, type(found)) == (value, type(value))
    table.finish()


@pytest.mark.parametrize("kind", READERS)
def test_a_key_without_a_default_must_be_there(kind: str) -> None:
    with pytest.raises(InputError) as caught:
        READERS[kind][0](parse("other = 1"), "key")
    assert caught.value.sentence() == 'my.toml, key "key": this key is missing; add "key = …".'


@pytest.mark.parametrize(
    ("read", "written", "said"),
    [
        ("text", "3", 'expected text, found the number 3; put it in quotes, as "…".'),
        ("text", '"sixsix"', "the text is longer than 5 characters."),
        ("choice", '"maybe"', '"maybe" is not known here; accepted: on, off.'),
        ("choice", "true", 'expected text, found true; put it in quotes, as "…".'),
        ("flag", "1", "expected true or false, found the number 1."),
        ("flag", '"yes"', 'expected true or false, found the text "yes".'),
        ("whole, lowest", "1", "1 is out of range; accepted: 2 to 9."),
        ("whole, lowest", "10", "10 is out of range; accepted: 2 to 9."),
        ("whole, lowest", "2.0", "expected a whole number, found the number 2.0."),
        ("whole, lowest", "true", "expected a whole number, found true."),
        ("whole, lowest", "9223372036854775808", "this number has more than 64 bits; TOML has none so large."),
        ("whole, lowest", "-9223372036854775808", "-9223372036854775808 is out of range; accepted: 2 to 9."),
        ("number, lowest", "0.49", "0.49 is out of range; accepted: 0.5 to 9."),
        ("number, lowest", "inf", "inf is out of range; accepted: 0.5 to 9."),
        ("number, lowest", "nan", "nan is out of range; accepted: 0.5 to 9."),
        ("number, lowest", "true", "expected a number, found true."),
        ("number, lowest", '"5"', 'expected a number, found the text "5".'),
        ("texts", '"a"', 'expected a list of texts; as in ["one", "two"].'),
        ("texts", "[1]", 'expected a list of texts; as in ["one", "two"].'),
        ("texts", "1979-05-27", 'expected a list of texts; as in ["one", "two"].'),
    ],
)
def test_a_value_of_another_kind_is_refused(read: str, written: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        READERS[read][0](parse(f"key = {written}"), "key")
    assert caught.value.sentence() == f'my.toml, line 1, key "key": {said}'


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("[]", "a list"),
        ("{}", "a table"),
        ("1979-05-27", "a date"),
        ('"' + "x" * 41 + '"', f'the text "{"x" * 40}"'),
    ],
)
def test_what_was_found_is_named(written: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(f"key = {written}").whole("key", 0, 1)
    assert caught.value.what == f"expected a whole number, found {said}"


def test_a_table_and_a_list_of_tables_are_told_apart() -> None:
    with pytest.raises(InputError, match=r"expected a table, found a list; write it as \[bed\]"):
        parse("[[bed]]").table("bed")
    for wrong in ("[bed]", "bed = [1]", "bed = 1"):
        with pytest.raises(InputError, match=r"expected a list of tables; write each as \[\[bed\]\]"):
            parse(wrong).tables("bed")
    assert parse("").tables("bed") == []
    assert parse("").table("bed").left() == []


def test_a_key_that_nobody_asks_for_is_named_with_the_nearest_that_somebody_does() -> None:
    for written, hint in (("needels", 'did you mean "needles"?'), ("xyz", "accepted: needles, pitch_mm.")):
        table = parse(f"{written} = 1")
        table.whole("needles", 0, 1, 0)
        table.has("pitch_mm")
        with pytest.raises(InputError) as caught:
            table.finish()
        assert caught.value.sentence() == f'my.toml, line 1, key "{written}": this key is not known here; {hint}'


def test_what_is_no_toml_is_named_with_line_and_column() -> None:
    with pytest.raises(InputError) as caught:
        parse("a = 1\nb = = 2")
    assert caught.value.where == "my.toml, line 2, column 5"


NESTED = """\
title = "x"
[[bands]]
rows = 1
[[bands]]
rows = 2
  [bands.edge]
  needles = 3
[[bands.parts]]
a = 1
[[bands.parts]]
a = 2
[ "odd name" . inner ] # with a remark
'quoted' . "key" = 4
[[bands]]
hand = [{ words = "[{" }, # {
  { needles = ["a"] }, { b = [{}] },
]
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 1),
        (("bands", "0"), 2),
        (("bands", "0", "rows"), 3),
        (("bands", "1", "rows"), 5),
        (("bands", "1", "edge"), 6),
        (("bands", "1", "edge", "needles"), 7),
        (("bands", "1", "parts", "0", "a"), 9),
        (("bands", "1", "parts", "1"), 10),
        (("bands", "1", "parts", "1", "a"), 11),
        (("odd name", "inner"), 12),
        (("odd name", "inner", "quoted", "key"), 13),
        (("bands", "2", "hand", "0"), 15),
        (("bands", "2", "hand", "1"), 16),
        (("bands", "2", "hand", "2"), 16),
    ],
)
def test_a_key_is_found_on_its_line_wherever_its_table_stands(path: tuple[str, ...], line: int) -> None:
    assert locate(NESTED)[path] == line


def test_a_key_deep_down_is_named_by_its_whole_path_counted_from_one() -> None:
    part = parse(NESTED).tables("bands")[1].tables("parts")[1]
    assert part.where("a") == 'my.toml, line 11, key "bands.2.parts.2.a"'
    assert part.where("b") == 'my.toml, line 10, key "bands.2.parts.2.b"'


@given(strategies.misspelt(NESTED))
def test_whatever_stands_in_a_file_its_keys_are_located_within_it(text: str) -> None:
    lines = len(text.splitlines())
    assert all(1 <= line <= lines for line in locate(text).values())
