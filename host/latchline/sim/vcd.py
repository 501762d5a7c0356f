"""Value change dump files (IEEE Std 1364-2005, clause 18), which any waveform viewer shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from latchline.errors import file_trouble

FIRST_CODE = 33  # identifier codes are printable characters, from "!" on


@dataclass(frozen=True)
class Line:
    """One variable: from at_us[i] on it has the value values[i]; 0 before. bits: its width."""

    name: str
    bits: int
    at_us: npt.NDArray[np.int64]
    values: npt.NDArray[np.int64]


def write(path: Path, lines: Sequence[Line]) -> None:
    """Write a whole file, or none. Raises InputError when that fails."""
    part = path.with_name(path.name + ".part")
    try:
        with part.open("w", encoding="ascii") as file:
            file.writelines(text(lines))
        part.replace(path)
    except OSError as error:
        raise file_trouble(path, error) from None
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def text(lines: Sequence[Line]) -> Iterator[str]:
    """The file piece by piece: header, initial values, then every change in order of time."""
    yield "$version latchline $end\n$timescale 1 us $end\n$scope module board $end\n"
    for number, line in enumerate(lines):
        kind = "wire" if line.bits == 1 else "integer"
        yield f"$var {kind} {line.bits} {chr(FIRST_CODE + number)} {line.name} $end\n"
    yield "$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n"
    for number, line in enumerate(lines):
        yield _value(line.bits, 0, number)
    yield "$end\n"
    owners, at_us, values = _merged(lines)
    before = 0
    for owner, at, value in zip(owners.tolist(), at_us.tolist(), values.tolist(), strict=True):
        if at != before:
            yield f"#{at}\n"
            before = at
        yield _value(lines[owner].bits, value, owner)


def _merged(lines: Sequence[Line]) -> tuple[npt.NDArray[np.int64], ...]:
    """Owner, time and value of each real change, in order of time."""
    columns: list[tuple[npt.NDArray[np.int64], ...]] = [(np.zeros(0, np.int64),) * 3]
    for number, line in enumerate(lines):
        changed = np.flatnonzero(np.diff(line.values, prepend=0))
        columns.append((np.full(len(changed), number), line.at_us[changed], line.values[changed]))
    owners, at_us, values = (np.concatenate(column) for column in zip(*columns, strict=True))
    order = np.argsort(at_us, kind="stable")
    return owners[order], at_us[order], values[order]


def _value(bits: int, value: int, number: int) -> str:
    code = chr(FIRST_CODE + number)
    if bits == 1:
        return f"{value}{code}\n"
    return f"b{value & (1 << bits) - 1:b} {code}\n"
