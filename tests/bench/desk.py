"""The desk: from a question to its answer over the line, beside what encoding the bare picture takes."""

from __future__ import annotations

import io
import json
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import httpx
from bench._measuring import piece, processor_ms
from desk.serving import Served, served
from PIL import Image
from websockets.sync.client import connect
from websockets.typing import Origin

TIMES = 15


def taken_ms(run: Callable[[], object], times: int = TIMES) -> float:
    """The median of several runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        found.append((time.perf_counter() - start) * 1000)
    return median(found)


def encode_ms(png: bytes) -> float:
    """What it takes to encode this picture, and nothing else."""
    picture = Image.open(io.BytesIO(png))
    picture.load()
    return taken_ms(lambda: picture.save(io.BytesIO(), "PNG", compress_level=1))


def asked_ms(run: Callable[[], object], desk: Served) -> tuple[float, str]:
    """The median, and in words what the desk's own processor time was: a busy machine lengthens that much less."""
    before = processor_ms(desk.process.pid)
    taken = taken_ms(run)
    return taken, f"{(processor_ms(desk.process.pid) - before) / TIMES:.0f} ms of processor"


def pictures(
    client: httpx.Client, desk: Served, name: str, passes: int, px: int, aim: str
) -> list[tuple[str, str, str]]:
    client.post("/api/open", json={"what": "file", "name": name})
    ask: dict[str, str | int] = {"side": "knit", "stitch_px": px, "first": 1, "last": passes}
    turn = iter(range(10_000))

    def option() -> None:
        given = {"edit": "option", "band": 0, "key": "shift", "value": next(turn) % 23 + 1}
        client.post("/api/edit", json=given)

    def changed() -> None:
        option()
        client.get("/api/fabric", params=ask)

    def judged() -> None:
        option()
        client.get("/api/verdict")

    (both, both_own), (verdict, verdict_own) = asked_ms(changed, desk), asked_ms(judged, desk)
    bare = encode_ms(client.get("/api/fabric", params=ask).content)
    label = f"{name.removesuffix('.toml')}: "
    return [
        (f"{label}option changed to picture there", f"{both:.0f} ms, {both_own}, {both / bare:.1f} × encode", aim),
        (f"{label}option changed to verdict and size", f"{verdict:.0f} ms, {verdict_own}", "50 ms or less"),
    ]


def stroke(client: httpx.Client, desk: Served) -> tuple[str, str, str]:
    ask: dict[str, str | int] = {"side": "knit", "stitch_px": 8, "first": 1, "last": 100}
    turn = iter(range(10_000))

    def drawn() -> None:
        at = next(turn)
        given = {"edit": "paint", "chart": "tiled.png", "points": [[at % 40, at % 24]], "colour": at // 40 % 2}
        client.post("/api/edit", json=given)
        client.get("/api/fabric", params=ask)

    client.post("/api/open", json={"what": "file", "name": "tiled.toml"})
    taken, own = asked_ms(drawn, desk)
    return "a stroke of the pencil to the fabric", f"{taken:.0f} ms, {own}", "150 ms or less"


def told(desk: Served) -> tuple[str, str, str]:
    """From asking for an edit to the message on another page's line, while the largest picture is drawn."""
    ask: dict[str, str | int] = {"side": "knit", "stitch_px": 8, "first": 1, "last": 300}
    stop = threading.Event()

    def draw() -> None:
        with desk.client() as other:
            while not stop.is_set():
                other.get("/api/fabric", params=ask)

    drawing = threading.Thread(target=draw)
    with (
        desk.client() as client,
        connect(f"ws://127.0.0.1:{desk.port}/api/live", origin=Origin(desk.origin), proxy=None) as line,
    ):
        line.send(json.dumps({"key": desk.key}))
        line.recv()
        client.post("/api/open", json={"what": "file", "name": "tall.toml"})
        drawing.start()

        def beat() -> None:
            line.send("here")
            while json.loads(line.recv())["kind"] != "here":
                pass

        try:
            taken = taken_ms(beat, 60)
        finally:
            stop.set()
            drawing.join()
    return "a message to a page and back, while the largest picture is drawn", f"{taken:.1f} ms", "20 ms or less"


def rows() -> list[tuple[str, str, str]]:
    """(what, measured, aim)."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        tiled = piece(folder, "tiled", 24, 40, 100)
        tall = piece(folder, "tall", 200, 600, 600)
        start = time.perf_counter()
        with served(folder, home=folder) as desk:
            begun = (time.perf_counter() - start) * 1000
            with desk.client() as client:
                found = [("from the command to listening", f"{begun:.0f} ms", "600 ms or less")]
                found += pictures(client, desk, tiled, 100, 8, "100 ms or less")
                found += pictures(client, desk, tall, 120, 6, "200 ms or less")
                found.append(stroke(client, desk))
            found.append(told(desk))
    return found
