"""The desk as a web application: the page's files, the questions it asks, the live line."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket

from latchline.desk.desk import Desk, File, Given
from latchline.desk.guard import ALIVE, LIVE, Guard, parsed, require_text
from latchline.desk.questions import QUESTIONS, Question
from latchline.errors import LatchlineError

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
}
AS_IT_WAS = "nothing was changed by it; do it another way, or save the piece and start the desk anew"
FAULT, MALFORMED, NOT_YOURS, MISTAKE = 422, 400, 403, 500


def application(desk: Desk) -> Starlette:
    """The ASGI application, guarded."""
    routes: list[Any] = [Route(ALIVE, _alive), WebSocketRoute(LIVE, _follower(desk))]
    routes += [Route(f"/{name}", _static(content, kind)) for name, (content, kind) in _page().items()]
    routes += [Route(path, _asked(desk, one), methods=[one.method]) for path, one in QUESTIONS.items()]
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


def _asked(desk: Desk, question: Question) -> Callable[[Request], Any]:
    async def answer(request: Request) -> Response:
        if question.owner and not request.scope["latchline.owner"]:
            return _complaint(NOT_YOURS, "only the page at the desk itself may do this")
        given: Given | None = parsed(await request.body()) if request.method == "POST" else dict(request.query_params)
        if given is None:
            return _complaint(MALFORMED, "this is no JSON object")
        try:
            require_text(given)
            work = partial(question.function, desk, given)
            value = work() if question.quick else await desk.worker.do(work)
        except LatchlineError as error:
            return _Json({"what": error.what, "where": error.where, "hint": error.hint}, FAULT)
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            return _complaint(MALFORMED, f"the desk cannot make sense of this ({type(error).__name__}: {error})")
        except Exception as error:  # a fault of ours, told as such; the piece is as it was
            return _complaint(MISTAKE, f"the desk made a mistake ({type(error).__name__}: {error})", AS_IT_WAS)
        if isinstance(value, File):
            return Response(value.content, media_type=value.kind)
        return _Json(value)

    return answer


class _Json(JSONResponse):
    """In ASCII: a file's name may hold bytes that are no UTF-8, which Python keeps as half characters."""

    def render(self, content: Any) -> bytes:
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode("ascii")


def _complaint(status: int, what: str, hint: str = "") -> Response:
    return _Json({"what": what, "where": "", "hint": hint}, status)
