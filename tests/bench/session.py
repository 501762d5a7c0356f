"""What noise on the line costs a session, in virtual time: passes carried, delay, and whether any mask was wrong.

The bench of the session tests with a hand of 30 passes a minute; each bit of either direction is
flipped with the chance named. Virtual seconds do not depend on the machine that this runs on.
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import median, quantiles

import numpy as np
from knit.rig import Bench, Knitter, connect, small_plan

from latchline.knit.events import Knitted
from latchline.knit.session import Session

RATES = (0.0, 1e-5, 1e-4, 1e-3, 2e-3)  # with 3e-3 and more the session says that the line is unusable
PASSES = {2e-3: 40}
USUAL_PASSES = 120
PACE_S = 1.7  # standing at the turn; with the pass itself about 30 passes a minute
SEED = 2026


def flipping(rate: float, seed: int) -> Callable[[bytes], bytes]:
    """Each bit flipped with this chance."""
    chance = np.random.default_rng(seed)

    def spoil(data: bytes) -> bytes:
        bits = np.unpackbits(np.frombuffer(data, np.uint8))
        return np.packbits(bits ^ (chance.random(len(bits)) < rate)).tobytes()

    return spoil


class Watch(Bench):
    """A bench that notes when each row was finished."""

    finished_us: list[int]

    def _go(self, until_us: int) -> None:
        before = len(self.rows)
        super()._go(until_us)
        if len(self.rows) > before:
            self.finished_us.append(self.now_us)


def knit(rate: float, pace_s: float, passes: int) -> tuple[float, list[float], int, int, int]:
    """Passes a second, delays from a pass done to written down (s), wrong rows, passes sent again, damaged frames."""
    bench = Watch(small_plan(passes), seed=SEED)
    bench.finished_us = []
    knitter = Knitter(bench)
    knitter.pace_s = pace_s
    host, wire = connect(bench)
    wire.spoil = flipping(rate, SEED)
    session = Session(host, bench.plan, knitter, clock=wire.clock, wait_s=0.01)
    written = [wire.clock() for event in session.run() if isinstance(event, Knitted)]
    delays = [at - done / 1e6 for at, done in zip(written, bench.finished_us, strict=True)]
    wrong = len(bench.rows) - bench.good_rows()
    return passes / (written[-1] - written[0]), delays, wrong, host.resent, host.bad_frames


def rows() -> list[tuple[str, str, str]]:
    table = []
    for rate in RATES:
        passes = PASSES.get(rate, USUAL_PASSES)
        name = f"noise {rate:g} a bit" if rate else "no noise"
        _, delays, wrong, resent, damaged = knit(rate, PACE_S, passes)
        late = quantiles(delays, n=20)[-1]
        table.append(
            (f"{name}: delay from done to written down, middle / 95 %", f"{median(delays):.3f} / {late:.3f} s", "")
        )
        quick, _, wrong_too, _, _ = knit(rate, 0.0, passes)
        table.append((f"{name}: passes carried, hand as fast as the lamp allows", f"{quick * 60:.1f} a minute", ""))
        table.append((f"{name}: rows wrong of {2 * passes}", str(wrong + wrong_too), "0"))
        table.append((f"{name}: passes sent again, damaged frames to the host", f"{resent}, {damaged}", ""))
    return table
