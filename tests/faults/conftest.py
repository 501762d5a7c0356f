"""Where the trials keep their journals."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

IN_MEMORY = Path("/dev/shm")


@pytest.fixture
def quick_folder() -> Iterator[Path]:
    """A folder in memory where there is such a thing: syncing to a disk would be most of a trial's time."""
    with tempfile.TemporaryDirectory(dir=IN_MEMORY if IN_MEMORY.is_dir() else None) as folder:
        yield Path(folder)
