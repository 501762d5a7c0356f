"""Run a command as the shell would, in this process."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass

from latchline.cli import main


@dataclass(frozen=True)
class Ran:
    status: int
    out: str
    err: str


def run(*arguments: object) -> Ran:
    """Exit status, standard output and standard error of `latchline ARGUMENTS`."""
    out, err = io.StringIO(), io.StringIO()
    status = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(argument) for argument in arguments])
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else int(bool(ended.code))
    return Ran(status, out.getvalue(), err.getvalue())
