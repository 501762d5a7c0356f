"""The pure parts of the core with everything that a small world can hold, under sanitizers."""

from __future__ import annotations

import os
import subprocess

import pytest

from boards import native
from boards.compiled import BUILD, make


@pytest.mark.native
@pytest.mark.skipif(bool(native.missing()), reason=f"there is no {native.missing()}")
def test_selectors_sensors_and_budgets_keep_their_rules_in_every_small_world() -> None:
    make("small-worlds")
    environment = os.environ | {"ASAN_OPTIONS": "detect_leaks=0"}
    done = subprocess.run([BUILD / "small-worlds"], capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert int(done.stdout.split()[0]) > 1_000_000
