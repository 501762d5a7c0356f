"""Write a whole file or none: beside its place first, then moved there."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

from latchline.errors import InputError, file_trouble


def write_whole(path: Path, content: bytes | str) -> None:
    """Write `content`, text as UTF-8. Raises InputError; an older file of that name then stays as it was."""
    data = content.encode("utf-8") if isinstance(content, str) else content
    require_folder(path)
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except BaseException as error:  # also when interrupted
        with suppress(OSError, ValueError):
            part.unlink()
        if isinstance(error, (OSError, ValueError)):
            raise file_trouble(path, error) from None
        raise


def require_folder(path: Path) -> None:
    """Complain of a file to be written where there is no folder: also before long work is done for it."""
    try:
        found = path.parent.is_dir()
    except (OSError, ValueError) as error:
        raise file_trouble(path, error) from None
    if not found:
        raise InputError(f"there is no folder {path.parent}", where=str(path), hint="make it first")


def ending_of(path: Path, accepted: tuple[str, ...]) -> str:
    """The file's ending in lower case without its dot. Raises InputError when it is not among those accepted."""
    ending = path.suffix.lower().removeprefix(".")
    if ending not in accepted:
        raise InputError(
            f'the ending "{path.suffix}" tells no format that can be written here',
            where=str(path),
            hint="accepted: " + ", ".join("." + item for item in accepted),
        )
    return ending


def file_name(title: str) -> str:
    """A title as part of a file's name: letters, figures, dots and hyphens only."""
    return re.sub(r"[^\w.]+", "-", title).strip("-.") or "piece"
