"""The built wheel, installed in an empty environment, does the main job."""

from __future__ import annotations

import os
import subprocess
import sys
import venv
from collections.abc import Callable
from pathlib import Path

import pytest
from browser.pages import a_browser, a_page, fingerprint, until
from desk.serving import served

from latchline.piece.file import load_piece

ROOT = Path(__file__).parents[1]


Run = Callable[..., str]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Run]:
    """The wheel in an environment of its own, with the examples beside it; and how to run something there."""
    place = tmp_path_factory.mktemp("wheel")
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "COV"))}

    def run(*command: object) -> str:
        ran = subprocess.run([str(word) for word in command], capture_output=True, text=True, env=clean, cwd=place)
        assert ran.returncode == 0, ran.stderr
        return ran.stdout + ran.stderr

    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", place, ROOT)
    (wheel,) = place.glob("*.whl")
    venv.create(place / "empty", with_pip=True)
    python = place / "empty" / "bin" / "python"
    only = "--only-binary=:all:"  # nobody who installs it needs a compiler
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", only, wheel)
    run(python.with_name("latchline"), "examples", "pieces")
    return place, run


@pytest.mark.slow
def test_a_built_wheel_in_an_empty_environment_runs_the_demo(installed: tuple[Path, Run]) -> None:
    place, run = installed
    latchline = place / "empty" / "bin" / "latchline"
    run(latchline, "preview", "pieces/harbour-blanket.toml", "--out", "fabric.png")
    said = run(latchline, "dry-run", "pieces/harbour-blanket.toml", "--trace", "run.vcd")
    assert "every needle" in said
    assert (place / "fabric.png").stat().st_size > 1000
    assert (place / "run.vcd").stat().st_size > 1000


@pytest.mark.slow
@pytest.mark.browser
def test_the_page_of_an_installed_wheel_draws_the_blanket(
    installed: tuple[Path, Run], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("PYTHONPATH", raising=False)  # nothing of the source tree is found by accident
    place, _ = installed
    command = place / "empty" / "bin" / "latchline"
    blanket = place / "pieces" / "harbour-blanket.toml"
    with served(blanket, home=place, command=[command]) as desk:
        with desk.client() as client:
            assert "harbour-blanket.toml" in client.get("/api/desk").json()["files"]["pieces"]
            for module in (ROOT / "host" / "latchline" / "desk" / "page").iterdir():
                assert client.get(f"/{module.name.removeprefix('index.html')}").status_code == 200, module.name
        with a_browser() as browser, a_page(browser, desk) as page:
            assert fingerprint(page) == f"{load_piece(blanket).plan().fingerprint:08x}"
            until(lambda: page.get_attribute(".fabric canvas", "data-serial"))
