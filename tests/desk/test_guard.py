"""Nobody but the page that was opened with the printed address has the desk."""

from __future__ import annotations

import contextlib
import json
import signal
import socket
from base64 import b64encode
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from desk.serving import Served, run_apart, served
from starlette.applications import Starlette
from starlette.routing import Route
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from latchline.desk.app import _asked, application
from latchline.desk.desk import Desk
from latchline.desk.folder import Folder
from latchline.desk.guard import BODY_MAX, EARLIER_KEY, Keys
from latchline.desk.questions import Question
from latchline.desk.serve import Address
from latchline.errors import InputError


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    home = tmp_path_factory.mktemp("desk")
    (home / "boat.txt").write_text("#.#\n.#.\n")
    with served(home, home=home) as running:
        yield running


def spoken(desk: Served, head: str, body: bytes = b"") -> int:
    """The status of a request written byte for byte."""
    with socket.create_connection(("127.0.0.1", desk.port), timeout=10) as line:
        line.sendall(head.replace("\n", "\r\n").encode("latin-1") + b"\r\n\r\n" + body)
        return int(line.recv(65536).split(b" ", 2)[1])


def test_one_line_is_printed_and_it_opens_the_desk(desk: Served) -> None:
    with desk.client() as client:
        assert client.get("/").status_code == 200
        assert client.get("/api/desk").json()["files"]["charts"] == ["boat.txt"]


def test_alive_answers_without_a_key_and_says_nothing(desk: Served) -> None:
    answer = httpx.get(f"{desk.origin}/alive", trust_env=False)
    assert (answer.status_code, answer.content) == (200, b"")


HOSTS = [
    ("evil.example:{port}", 421),
    ("127.0.0.1.evil.example:{port}", 421),
    ("localhost.evil.example:{port}", 421),
    ("127.0.0.1", 421),
    ("127.0.0.1:1", 421),
    ("127.0.0.1:{port}.", 421),
    ("user@127.0.0.1:{port}", 421),
    ("[::1]:{port}", 421),
    ("0.0.0.0:{port}", 421),
    ("127.0.0.1:{port}", 200),
    ("localhost:{port}", 200),
]


@pytest.mark.parametrize(("host", "status"), HOSTS)
@pytest.mark.parametrize("path", ["/", "/alive", "/api/desk"])
def test_only_the_printed_host_is_served(desk: Served, host: str, status: int, path: str) -> None:
    named = host.format(port=desk.port)
    assert spoken(desk, f"GET {path} HTTP/1.1\nHost: {named}\nX-Latchline-Key: {desk.key}") == status


def test_no_host_and_two_hosts_are_no_request(desk: Served) -> None:
    right = f"Host: 127.0.0.1:{desk.port}"
    assert spoken(desk, "GET /alive HTTP/1.1\nAccept: */*") == 400
    assert spoken(desk, f"GET /alive HTTP/1.1\n{right}\n{right}") == 400
    assert spoken(desk, f"GET /alive HTTP/1.1\n{right}\nHost: evil.example") == 400


ORIGINS = [
    "null",
    "http://127.0.0.1:1",
    "http://localhost:1",
    "https://127.0.0.1:{port}",
    "http://127.0.0.1",
    "http://localhost:{port}",  # not the host that the request names
    "http://127.0.0.1:{port}.evil.example",
    "http://evil.example",
    "http://127.0.0.1:{port}/",
    "",
]


@pytest.mark.parametrize("origin", ORIGINS)
def test_another_origin_is_refused_even_with_the_key(desk: Served, origin: str) -> None:
    with desk.client(Origin=origin.format(port=desk.port)) as client:
        assert client.get("/api/desk").status_code == 403
        assert client.get("/").status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site", "anything"])
def test_a_fetch_from_another_site_is_refused(desk: Served, site: str) -> None:
    with desk.client(**{"Sec-Fetch-Site": site}) as client:
        assert client.get("/api/desk").status_code == 403


def test_the_pages_own_fetch_is_answered(desk: Served) -> None:
    with desk.client(**{"Sec-Fetch-Site": "same-origin", "Origin": desk.origin}) as client:
        assert client.get("/api/desk").status_code == 200


@pytest.mark.parametrize("given", [None, "", "x", "é", "a" * 5000])
def test_no_key_or_a_wrong_one_opens_nothing(desk: Served, given: str | None) -> None:
    headers = {} if given is None else {b"X-Latchline-Key": given.encode("latin-1")}
    answer = httpx.get(f"{desk.origin}/api/desk", headers=headers, trust_env=False)
    assert answer.status_code == 401
    assert answer.json()["hint"]
    assert desk.key not in answer.text


def test_a_key_in_a_cookie_or_in_the_query_is_none(desk: Served) -> None:
    for given in ({"cookies": {"key": desk.key}}, {"params": {"key": desk.key}}):
        answer = httpx.get(f"{desk.origin}/api/desk", trust_env=False, **given)  # type: ignore[arg-type]
        assert answer.status_code == 401


def test_a_key_given_twice_is_none(desk: Served) -> None:
    head = f"GET /api/desk HTTP/1.1\nHost: 127.0.0.1:{desk.port}\nX-Latchline-Key: {desk.key}\nX-Latchline-Key: x"
    assert spoken(desk, head) == 401


def test_a_key_of_an_earlier_run_is_told_as_such(desk: Served) -> None:
    with desk.client(**{"X-Latchline-Key": Keys().own}) as client:
        assert client.get("/api/desk").json()["what"] == EARLIER_KEY


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "application/json, text/plain", ""]
)
def test_only_json_is_taken(desk: Served, kind: str) -> None:
    with desk.client(**{"Content-Type": kind}) as client:
        assert client.post("/api/share", content=b"{}").status_code == 415


@pytest.mark.parametrize("body", [b"[]", b"{", b"\xff", b"[" * 100_000, b"null"])
def test_json_that_is_no_object_is_malformed(desk: Served, body: bytes) -> None:
    with desk.client(**{"Content-Type": "application/json"}) as client:
        assert client.post("/api/share", content=body).status_code == 400


def test_what_is_too_long_is_not_read(desk: Served) -> None:
    head = f"POST /api/share HTTP/1.1\nHost: 127.0.0.1:{desk.port}\nX-Latchline-Key: {desk.key}\nContent-Type: application/json"
    assert spoken(desk, f"{head}\nContent-Length: {BODY_MAX + 1}") == 413
    assert spoken(desk, f"{head}\nContent-Length: 99999999999999999999") == 413

    def parts() -> Iterator[bytes]:
        for _ in range(BODY_MAX // 65536 + 2):
            yield b" " * 65536

    with desk.client(**{"Content-Type": "application/json"}) as client:
        assert client.post("/api/share", content=parts()).status_code == 413


@pytest.mark.parametrize(
    "path", ["/../guard.py", "/%2e%2e/guard.py", "/look.css/..%2f..%2fguard.py", "/index.html", "//etc/passwd"]
)
def test_the_page_is_a_list_of_files_and_nothing_else(desk: Served, path: str) -> None:
    assert spoken(desk, f"GET {path} HTTP/1.1\nHost: 127.0.0.1:{desk.port}") == 404


def test_every_answer_forbids_what_the_page_does_not_need(desk: Served) -> None:
    with desk.client() as client:
        for path in ("/", "/look.css", "/api/desk", "/nothing"):
            headers = client.get(path).headers
            policy = headers["content-security-policy"]
            assert policy.startswith("default-src 'none';")
            assert "require-trusted-types-for 'script'" in policy
            assert "frame-ancestors 'none'" in policy
            assert "unsafe" not in policy
            assert headers["x-content-type-options"] == "nosniff"
            assert "set-cookie" not in headers
            assert "access-control-allow-origin" not in headers


# The live line


def live(desk: Served, origin: str | None = None, path: str = "/api/live") -> ClientConnection:
    return connect(f"ws://127.0.0.1:{desk.port}{path}", origin=Origin(origin or desk.origin), proxy=None)


def until_closed(line: ClientConnection) -> tuple[list[str], int]:
    """The kinds of all messages until the line is closed, and the code that it is closed with."""
    kinds = []
    while True:
        try:
            kinds.append(json.loads(line.recv(timeout=10))["kind"])
        except ConnectionClosed as closed:
            return kinds, closed.rcvd.code if closed.rcvd is not None else 0


@pytest.mark.parametrize("origin", [origin for origin in ORIGINS if origin])
def test_a_foreign_origin_gets_no_live_line(desk: Served, origin: str) -> None:
    with pytest.raises(InvalidStatus) as refused:
        live(desk, origin.format(port=desk.port))
    assert refused.value.response.status_code == 403


def test_there_is_one_live_line(desk: Served) -> None:
    with pytest.raises(InvalidStatus):
        live(desk, path="/api/other")


@pytest.mark.parametrize("first", ["{}", "[]", "not JSON", '{"key": 1}', '{"key": "x"}', "[" * 30_000])
def test_a_live_line_without_the_key_is_closed_and_tells_nothing(desk: Served, first: str) -> None:
    with live(desk) as line:
        line.send(first)
        kinds, code = until_closed(line)
        assert set(kinds) <= {"refused"}
        assert code == 1008


def test_a_message_that_is_too_long_closes_the_live_line(desk: Served) -> None:
    with live(desk) as line:
        line.send("x" * 100_000)
        with pytest.raises(ConnectionClosed) as closed:
            line.recv(timeout=10)
        assert closed.value.rcvd is not None
        assert closed.value.rcvd.code == 1009


def test_nine_pages_are_live(desk: Served) -> None:
    with contextlib.ExitStack() as pages:
        lines = [pages.enter_context(live(desk)) for _ in range(9)]
        for line in lines:
            line.send(json.dumps({"key": desk.key}))
        for line in lines:
            assert json.loads(line.recv(timeout=10))["kind"] == "welcome"


# Files


@pytest.mark.parametrize(
    "name", ["../x.png", "/etc/passwd", "", ".", "..", "a/../../x", "x\0y", "leads-out/x.png", "a" * 300]
)
def test_only_files_of_the_opened_folder_are_used(tmp_path: Path, name: str) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (inside / "leads-out").symlink_to(tmp_path)
    with pytest.raises(InputError):
        Folder.of(inside)[0].file(name)


def test_a_file_of_the_folder_is_used(tmp_path: Path) -> None:
    assert Folder.of(tmp_path)[0].file("boat.txt") == tmp_path.resolve() / "boat.txt"


# What cannot be shown


SENT: list[tuple[str, dict[str, object], int]] = [
    ("/api/open", {"what": "given", "name": "x.toml", "content": b64encode(b"bands = 3\n").decode()}, 422),
    ("/api/open", {"what": "given", "name": "\ud800.toml", "content": ""}, 422),
    ("/api/open", {"what": "empty", "name": "a\udfffb", "stitches": 9, "rows": 9, "machine": "standard-200"}, 422),
    ("/api/open", {"what": "empty", "name": "mat", "stitches": -5, "rows": 9, "machine": "standard-200"}, 422),
    ("/api/open", {"what": "empty", "name": "mat", "stitches": 9, "rows": 0, "machine": "standard-200"}, 422),
    ("/api/edit", {"edit": "piece", "key": "name", "value": "\ud800"}, 422),
    ("/api/edit", {"edit": "yarn", "yarn": "\ud800", "key": "colour", "value": "navy"}, 422),
    ("/api/edit", {"edit": "piece", "key": "name", "value": ["\ud800"]}, 422),
    ("/api/edit", {"edit": "piece", "key": "\ud800", "value": 1}, 422),
    ("/api/edit", {"edit": "option", "band": 0, "key": "rows", "value": float("nan")}, 422),
    ("/api/edit", {"edit": "piece", "key": "bands", "value": 3}, 422),
    ("/api/save", {"name": "\ud800"}, 422),
    (
        "/api/photograph",
        {"name": "gull", "content": "", "crop": [0] * 4, "width": 9, "unit": "miles", "colours": 2}
        | {"machine": "standard-200"},
        422,
    ),
]


def test_what_cannot_be_shown_is_refused_and_the_open_piece_stays(desk: Served) -> None:
    with desk.client() as client:
        before = client.post("/api/open", json={"what": "file", "name": "boat.txt"}).json()
        for path, body, status in SENT:
            content = json.dumps(body).encode()
            answer = client.post(path, content=content, headers={"Content-Type": "application/json"})
            assert answer.status_code == status, (body, answer.text)
            assert answer.json()["what"]
            assert client.get("/api/piece").json() == before


# Coming and going


def test_ctrl_c_ends_at_once_with_pages_open(tmp_path: Path) -> None:
    with served(home=tmp_path) as desk:
        with live(desk) as line:
            line.send(json.dumps({"key": desk.key}))
            line.recv(timeout=10)
            desk.process.send_signal(signal.SIGINT)
            assert desk.process.wait(timeout=5) == 130
        assert desk.process.stdout is not None
        assert desk.process.stdout.read() == ""  # one line, and nothing after it


def test_a_shared_key_opens_the_desk_until_it_is_taken_back(tmp_path: Path) -> None:
    with served("--share", "127.0.0.2", home=tmp_path) as desk:
        assert desk.process.stderr is not None
        shared = desk.process.stderr.readline().split()[-1]
        assert shared.startswith(f"http://127.0.0.2:{desk.port}/#key=")
        key = shared.partition("#key=")[2]
        assert key != desk.key
        headers = {"X-Latchline-Key": key, "Content-Type": "application/json"}
        with httpx.Client(base_url=f"http://127.0.0.2:{desk.port}", headers=headers, trust_env=False) as tablet:
            assert tablet.get("/api/desk").status_code == 200
            assert tablet.post("/api/share", json={"share": False}).status_code == 403  # that is the desk's own
            with desk.client() as own:
                told = own.post("/api/share", json={"share": True}).json()
                assert tablet.get("/api/desk").status_code == 401  # a new key takes the old one's place
                tablet.headers["X-Latchline-Key"] = told["address"].partition("#key=")[2]
                assert tablet.get("/api/desk").status_code == 200
                with connect(
                    f"ws://127.0.0.2:{desk.port}/api/live", origin=Origin(f"http://127.0.0.2:{desk.port}"), proxy=None
                ) as line:
                    line.send(json.dumps({"key": tablet.headers["X-Latchline-Key"]}))
                    line.recv(timeout=10)
                    assert own.post("/api/share", json={"share": False}).json()["address"] == ""
                    assert until_closed(line)[1] == 1008
            assert tablet.get("/api/desk").status_code == 401


def test_an_address_of_another_machine_cannot_be_shared(tmp_path: Path) -> None:
    from cli.running import run

    ran = run("desk", tmp_path, "--no-browser", "--share", "192.0.2.1")
    assert ran.status == 2
    assert "192.0.2.1" in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    from cli.running import run

    ran = run("desk", tmp_path / "nothing", "--no-browser")
    assert (ran.status, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1


def test_a_mistake_of_the_desk_itself_is_one_sentence(tmp_path: Path) -> None:
    def broken(desk: Desk, given: dict[str, object]) -> dict[str, object]:
        raise RuntimeError("a stitch was dropped")

    async def asked() -> httpx.Response:
        desk = Desk(tmp_path, Keys(), Address(1))
        app = Starlette(routes=[Route("/x", _asked(desk, Question("GET", broken)))])
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://desk") as client:
            return await client.get("/x")

    answer = run_apart(asked())
    assert answer.status_code == 500
    assert "a stitch was dropped" in answer.json()["what"]


@pytest.mark.parametrize("path", ["/api/edit", "/api/undo", "/api/redo"])
def test_what_ends_in_a_mistake_of_the_desk_itself_is_not_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    def broken(looked: object) -> dict[str, object]:
        raise RuntimeError("a stitch was dropped")

    async def asked() -> tuple[httpx.Response, dict[str, object], dict[str, object]]:
        keys, address = Keys(), Address(1)
        headers = {"X-Latchline-Key": keys.own}
        app = httpx.ASGITransport(application(Desk(tmp_path, keys, address)))
        async with httpx.AsyncClient(transport=app, base_url="http://127.0.0.1:1", headers=headers) as client:
            begun = {"what": "empty", "name": "net", "stitches": 4, "rows": 4, "machine": "standard-200"}
            paint = {"edit": "paint", "chart": "net.txt", "colour": 1}
            await client.post("/api/open", json=begun)
            for at in (0, 1):
                await client.post("/api/edit", json=paint | {"points": [[0, at]]})
            await client.post("/api/undo", json={})
            before = (await client.get("/api/piece")).json()
            with monkeypatch.context() as broke:
                broke.setattr("latchline.desk.looks.size", broken)
                answer = await client.post(path, json=paint | {"points": [[3, 3]]})
            return answer, before, (await client.get("/api/piece")).json()

    answer, before, after = run_apart(asked())
    assert answer.status_code == 500
    assert "nothing was changed" in answer.json()["hint"]
    assert before["can_undo"] is before["can_redo"] is True
    assert after == before
