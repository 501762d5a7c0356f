"""How the benches measure."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable


def best_s(run: Callable[[], object], times: int = 5) -> float:
    """The shortest of several runs: what the work takes when nothing else disturbs it."""
    taken = []
    for _ in range(times):
        gc.collect()
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return min(taken)
