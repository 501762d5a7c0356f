"""How the benches measure."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image


def best_s(run: Callable[[], object], times: int = 5) -> float:
    """The shortest of several runs: what the work takes when nothing else disturbs it."""
    taken = []
    for _ in range(times):
        gc.collect()
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return min(taken)


def processor_ms(process: int) -> float:
    """The processor time that a process has taken so far, its threads together; nan where nobody tells."""
    parts = [path.read_text().split()[0] for path in Path(f"/proc/{process}/task").glob("*/schedstat")]
    return sum(map(int, parts)) / 1e6 if parts else float("nan")


def piece(folder: Path, name: str, stitches: int, rows: int, all_rows: int) -> str:
    """A chart of random cells on 200 needles and a piece file of it, whose name is returned."""
    cells = np.random.default_rng(3).integers(0, 2, (rows, stitches), dtype=np.uint8)
    picture = Image.fromarray(cells)
    picture.putpalette([244, 234, 216, 31, 58, 95])
    picture.save(folder / f"{name}.png")
    text = f'needles = "L100-R100"\n[[bands]]\ntechnique = "fair-isle"\nchart = "{name}.png"\nrows = {all_rows}\n'
    (folder / f"{name}.toml").write_text(text)
    return f"{name}.toml"
