"""What the page may ask of the desk: a table of questions, each with the function that answers it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket

from latchline.desk.folder import Folder
from latchline.desk.guard import ALIVE, LIVE, Guard, Keys, parsed
from latchline.desk.live import Pages
from latchline.desk.work import Worker
from latchline.errors import InputError, LatchlineError

if TYPE_CHECKING:
    from latchline.desk.serve import Address

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
}
FAULT, MALFORMED, NOT_YOURS = 422, 400, 403

Given = dict[str, Any]


@dataclass(frozen=True)
class File:
    """An answer that is no JSON. kind: its media type."""

    content: bytes
    kind: str
    headers: tuple[tuple[str, str], ...] = ()


Answer = dict[str, Any] | File


class Desk:
    """Everything that one run of the desk holds."""

    def __init__(self, source: Path | None, keys: Keys, address: Address) -> None:
        self.folder, self.first = Folder.of(source)
        self.keys = keys
        self.address = address
        self.worker = Worker("piece")
        self.pages = Pages(keys, self.greeting)

    def greeting(self) -> list[dict[str, Any]]:
        """What a page is told when it comes."""
        return [{"kind": "welcome", "run": self.keys.run}]

    def close(self) -> None:
        """Put to rest what is under way."""


def about(desk: Desk, given: Given) -> Answer:
    """What lies in the folder, and what this desk is."""
    return {"folder": desk.folder.path.name, "files": desk.folder.files(), "shared": desk.keys.shared is not None}


def share(desk: Desk, given: Given) -> Answer:
    """Give the tablet's address a new key, or take its key back; pages that came with the old one are closed."""
    from latchline.desk.share import WARNING, code_modules

    if not desk.address.shared:
        hint = "start it with --share and the address of this machine on your network"
        raise InputError("this desk is not shared", hint=hint)
    if desk.keys.shared is not None:
        desk.pages.revoke(desk.keys.shared)
    desk.keys.shared = desk.keys.fresh() if given["share"] is True else None
    if desk.keys.shared is None:
        return {"address": "", "code": [], "warning": ""}
    address = desk.address.shared_page(desk.keys.shared)
    return {"address": address, "code": code_modules(address), "warning": WARNING}


# path → method, function, whether only the page of the printed address may ask
QUESTIONS: dict[str, tuple[str, Callable[[Desk, Given], Answer], bool]] = {
    "/api/desk": ("GET", about, False),
    "/api/share": ("POST", share, True),
}


def application(desk: Desk) -> Starlette:
    """The ASGI application, guarded."""
    routes: list[Any] = [Route(ALIVE, _alive), WebSocketRoute(LIVE, _follower(desk))]
    routes += [Route(f"/{name}", _static(content, kind)) for name, (content, kind) in _page().items()]
    routes += [
        Route(path, _asked(desk, function, owner), methods=[method])
        for path, (method, function, owner) in QUESTIONS.items()
    ]
    return Starlette(routes=routes, middleware=[Middleware(Guard, keys=desk.keys, hosts=desk.address.hosts)])


async def _alive(request: Request) -> Response:
    return PlainTextResponse("")


def _page() -> dict[str, tuple[bytes, str]]:
    """Every file of the page, read once: no path is ever taken from a request."""
    found = {}
    for file in (files("latchline.desk") / "page").iterdir():
        kind = KINDS.get(Path(file.name).suffix)
        if kind is not None:
            found["" if file.name == "index.html" else file.name] = (file.read_bytes(), kind)
    return found


def _static(content: bytes, kind: str) -> Callable[[Request], Any]:
    async def answer(request: Request) -> Response:
        return Response(content, media_type=kind)

    return answer


def _follower(desk: Desk) -> Callable[[WebSocket], Any]:
    async def follow(page: WebSocket) -> None:
        await desk.pages.follow(page)

    return follow


def _asked(desk: Desk, function: Callable[[Desk, Given], Answer], owner: bool) -> Callable[[Request], Any]:
    async def answer(request: Request) -> Response:
        if owner and not request.scope["latchline.owner"]:
            return _complaint(NOT_YOURS, "only the page at the desk itself may do this")
        given: Given | None = parsed(await request.body()) if request.method == "POST" else dict(request.query_params)
        if given is None:
            return _complaint(MALFORMED, "this is no JSON object")
        try:
            value = await desk.worker.do(lambda: function(desk, given))
        except LatchlineError as error:
            return JSONResponse({"what": error.what, "where": error.where, "hint": error.hint}, FAULT)
        except (KeyError, TypeError, ValueError) as error:
            return _complaint(MALFORMED, f"the desk cannot make sense of this ({type(error).__name__})")
        if isinstance(value, File):
            return Response(value.content, media_type=value.kind, headers=dict(value.headers))
        return JSONResponse(value)

    return answer


def _complaint(status: int, what: str) -> Response:
    return JSONResponse({"what": what, "where": "", "hint": ""}, status)
