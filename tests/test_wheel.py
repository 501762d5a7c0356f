"""The built wheel, installed in an empty environment, does the main job."""

from __future__ import annotations

import os
import subprocess
import sys
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.slow
def test_a_built_wheel_in_an_empty_environment_runs_the_demo(tmp_path: Path) -> None:
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "COV"))}

    def run(*command: object) -> str:
        ran = subprocess.run([str(word) for word in command], capture_output=True, text=True, env=clean, cwd=tmp_path)
        assert ran.returncode == 0, ran.stderr
        return ran.stdout + ran.stderr

    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", tmp_path, ROOT)
    (wheel,) = tmp_path.glob("*.whl")
    venv.create(tmp_path / "empty", with_pip=True)
    python = tmp_path / "empty" / "bin" / "python"
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", wheel)
    latchline = tmp_path / "empty" / "bin" / "latchline"
    run(latchline, "examples", "pieces")
    run(latchline, "preview", "pieces/harbour-blanket.toml", "--out", "fabric.png")
    said = run(latchline, "dry-run", "pieces/harbour-blanket.toml", "--trace", "run.vcd")
    assert "every needle" in said
    assert (tmp_path / "fabric.png").stat().st_size > 1000
    assert (tmp_path / "run.vcd").stat().st_size > 1000
