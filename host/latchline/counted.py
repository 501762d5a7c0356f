"""How many of something, in words: one place that knows of `1 pass` and `2 passes`."""

from __future__ import annotations


def counted(count: float, one: str, many: str = "") -> str:
    """`1 pass`, `0 passes`, `2 passes`; a count that is no whole number as it is shortest written, `2.5 needles`.

    many: where it is not made of `one` by the rule, as with a verb behind it: `loop hangs`, `loops hang`.
    """
    shown = str(count) if isinstance(count, int) else f"{count:g}"
    return f"{shown} {one if shown == '1' else many or plural(one)}"


def plural(one: str) -> str:
    """`passes`, `stitches`, `needles`."""
    return one + ("es" if one.endswith(("s", "x", "sh", "ch")) else "s")


def every(count: int, one: str) -> str:
    """`every row`, `every 4 rows`."""
    return f"every {one}" if count == 1 else f"every {counted(count, one)}"


def times(count: int) -> str:
    """`once`, `twice`, `3 times`."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
