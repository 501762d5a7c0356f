"""The tablet's address: drawn as a code to point a camera at, on the page and in the terminal."""

from __future__ import annotations

import io
from typing import Any

import segno

WARNING = (
    "Whoever is on this network and has this address can use the desk; what goes over it is not encrypted. "
    "Share it only on a network of your own, and take the key back when you are done."
)


def code_modules(address: str) -> list[str]:
    """The code (ISO/IEC 18004) as rows of 0 and 1, with its quiet zone."""
    rows: Any = segno.make(address, error="m", micro=False).matrix_iter(border=4)
    return ["".join("1" if module else "0" for module in row) for row in rows]


def code_for_terminal(address: str) -> str:
    """The code in half blocks."""
    out = io.StringIO()
    segno.make(address, error="m", micro=False).terminal(out, compact=True)
    return out.getvalue()
