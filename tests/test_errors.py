"""The tree of errors: each is one sentence with its own exit status, and the docstring lists them all."""

from __future__ import annotations

import re

import pytest

from latchline import errors
from latchline.errors import BoardFault, InputError, LatchlineError, file_trouble

KINDS = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, LatchlineError)]


def test_the_docstring_shows_the_whole_tree() -> None:
    shown = re.findall(r"^ *[│├└─ ]*([A-Z]\w+) {2,}", errors.__doc__ or "", re.MULTILINE)
    assert set(shown) == {kind.__name__ for kind in KINDS}


@pytest.mark.parametrize("kind", KINDS)
def test_each_error_is_one_sentence_and_knows_its_exit_status(kind: type[LatchlineError]) -> None:
    more = {"number": 3} if issubclass(kind, BoardFault) else {}
    error = kind("the yarn is out", where="pass 7", hint="tie a new one in", **more)
    assert str(error) == "pass 7: the yarn is out; tie a new one in."
    assert error.exit_status in (1, 2)


@pytest.mark.parametrize(
    ("lower", "said"),
    [
        (FileNotFoundError(2, "No such file or directory"), "a.toml: there is no such file; check the name and the folder."),
        (IsADirectoryError(21, "Is a directory"), "a.toml: this is a folder, not a file; name a file in it."),
        (PermissionError(13, "Permission denied"), "a.toml: this file may not be opened; check its permissions."),
        (OSError(28, "No space left on device"), "a.toml: the file cannot be used (No space left on device)."),
    ],
)  # fmt: skip
def test_file_troubles_are_said_without_error_numbers(lower: OSError, said: str) -> None:
    error = file_trouble("a.toml", lower)
    assert isinstance(error, InputError)
    assert error.sentence() == said
