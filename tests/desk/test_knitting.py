"""A piece knitted through the desk's questions, on the simulated board."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from desk.serving import Served, served
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

PIECE = """name = "short"
needles = "L8-R8"

[[bands]]
name = "hem"
technique = "stocking"
rows = 4

[[bands]]
name = "gulls"
technique = "fair-isle"
chart = "gull.txt"
rows = 6
"""


@contextmanager
def with_piece(folder: Path) -> Iterator[Served]:
    (folder / "short.toml").write_text(PIECE)
    (folder / "gull.txt").write_text("#...\n.#..\n")
    with served(folder / "short.toml", home=folder) as running:
        with running.client() as client:
            client.get("/api/desk")
        yield running


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Served]:
    with with_piece(tmp_path) as running:
        yield running


@pytest.fixture(scope="module")
def idle(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A desk at which nothing is ever knitted."""
    with with_piece(tmp_path_factory.mktemp("idle")) as running:
        yield running


def live(desk: Served) -> ClientConnection:
    return connect(f"ws://127.0.0.1:{desk.port}/api/live", origin=Origin(desk.origin), proxy=None)


def knitted(desk: Served, line: ClientConnection) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Agree to everything; all events, and how it ended."""
    events: list[dict[str, Any]] = []
    with desk.client() as client:
        while True:
            message = json.loads(line.recv(timeout=60))
            if message["kind"] != "knit":
                continue
            events += message["events"]
            if message["over"] is not None:
                return events, message["over"]
            question = message["view"]["question"]
            if question is not None:
                client.post("/api/knit/answer", json={"question": question["serial"], "reply": "go-on"})


def test_a_piece_is_knitted_and_every_event_told_once(desk: Served) -> None:
    with live(desk) as line, desk.client() as client:
        line.send(json.dumps({"key": desk.key}))
        assert client.post("/api/knit/begin", json={"port": "sim://?seed=5"}).status_code == 200
        events, over = knitted(desk, line)
        assert over["finished"]
        assert over["wrong"] == []
        assert [event["told"]["number"] for event in events if event["event"] == "knitted"] == list(range(1, 11))
        numbers = [event["number"] for event in events]
        assert numbers == list(range(1, len(numbers) + 1))
        (session,) = client.get("/api/timing/sessions").json()["sessions"]
        assert client.get("/api/timing", params={"journal": session["journal"]}).json()["name"] == "short"
        assert client.get("/api/timing/picture", params={"journal": session["journal"]}).content.startswith(b"\x89PNG")


def test_one_piece_is_knitted_at_a_time(desk: Served) -> None:
    with desk.client() as client:
        assert client.post("/api/knit/begin", json={"port": "sim://?live=1"}).status_code == 200
        assert client.post("/api/knit/begin", json={"port": "sim://?live=1"}).status_code == 422


WRONG: list[tuple[str, dict[str, Any]]] = [
    ("/api/knit/answer", {"question": 1, "reply": "go-on"}),  # nothing is being knitted
    ("/api/knit/wish", {"wish": "pause"}),
    ("/api/knit/resume", {"journal": "../../etc/passwd", "port": ""}),
    ("/api/knit/begin", {"port": "/dev/there-is-none"}),
    ("/api/knit/begin", {"port": "sim://?fault=none-such"}),
]


@pytest.mark.parametrize(("path", "given"), WRONG)
def test_what_cannot_be_is_said(idle: Served, path: str, given: dict[str, Any]) -> None:
    with idle.client() as client:
        answer = client.post(path, json=given)
        assert answer.status_code == 422
        assert answer.json()["what"]
        assert client.get("/api/knit").json()["begun"] == []


def test_by_hand_each_pass_is_shown_as_beads_and_counted_when_it_is_confirmed(desk: Served) -> None:
    with live(desk) as line, desk.client() as client:
        line.send(json.dumps({"key": desk.key}))
        assert client.post("/api/knit/begin", json={"port": "by-hand"}).status_code == 200
        seen: dict[int, str] = {}
        while True:
            message = json.loads(line.recv(timeout=60))
            if message["kind"] != "knit":
                continue
            if message["over"] is not None:
                break
            view, question = message["view"], message["view"]["question"]
            if question is None:
                continue
            if question["kind"] == "pass":
                parts = view["beads"]
                marks = "".join(
                    mark * count for part in parts for _ in range(part["times"]) for count, mark in part["runs"]
                )
                assert marks == view["row"]["selected"]
                seen[view["number"]] = marks
                time.sleep(0.36)  # a pedal that closes twice within this was pressed once
            client.post("/api/knit/answer", json={"question": question["serial"], "reply": "go-on"})
        assert message["over"]["finished"]
        assert list(seen) == list(range(1, 11))
        (session,) = client.get("/api/timing/sessions").json()["sessions"]
        told = client.get("/api/timing", params={"journal": session["journal"]}).json()
        assert (session["name"], told["measured"]) == ("short", False)
        assert "10 passes" in told["says"][0]
