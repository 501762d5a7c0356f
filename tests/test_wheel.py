"""The built wheel, installed in an empty environment, does the main job."""

from __future__ import annotations

import os
import subprocess
import sys
import venv
from pathlib import Path

import httpx
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
    only = "--only-binary=:all:"  # nobody who installs it needs a compiler
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", only, wheel)
    latchline = tmp_path / "empty" / "bin" / "latchline"
    run(latchline, "examples", "pieces")
    run(latchline, "preview", "pieces/harbour-blanket.toml", "--out", "fabric.png")
    said = run(latchline, "dry-run", "pieces/harbour-blanket.toml", "--trace", "run.vcd")
    assert "every needle" in said
    assert (tmp_path / "fabric.png").stat().st_size > 1000
    assert (tmp_path / "run.vcd").stat().st_size > 1000
    desk = subprocess.Popen(
        [latchline, "desk", "pieces", "--no-browser"], stdout=subprocess.PIPE, env=clean, cwd=tmp_path
    )
    try:
        assert desk.stdout is not None
        page = httpx.URL(desk.stdout.readline().decode().strip())
        with httpx.Client(base_url=page.copy_with(fragment=None), trust_env=False, timeout=30) as client:
            assert "desk.js" in client.get("/").text
            for module in (ROOT / "host" / "latchline" / "desk" / "page").iterdir():
                assert client.get(f"/{module.name.removeprefix('index.html')}").status_code == 200, module.name
            client.headers["X-Latchline-Key"] = page.fragment.removeprefix("key=")
            assert "harbour-blanket.toml" in client.get("/api/desk").json()["files"]["pieces"]
    finally:
        desk.terminate()
        desk.communicate(timeout=20)
