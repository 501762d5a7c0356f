"""Who may ask, and what: every request passes here before anything else looks at it.

A page of another site can make a browser send requests to this machine, by its name or by a name that was
pointed here (DNS rebinding). So a request must name exactly the address that was printed (Host, RFC 9112
section 3.2), must not come from another origin (Origin, RFC 6454; Fetch Metadata, W3C), and must carry a
key that only the printed address holds, in a header that no other site may set. The absence of Origin
or of fetch metadata is no pass: the key is asked for all the same.
"""

from __future__ import annotations

import hmac
import json
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from latchline.errors import InputError

HEADER = b"x-latchline-key"
BODY_MAX = 1 << 20
LARGE_BODY_MAX = 24 << 20
LARGE = ("/api/open", "/api/photograph")  # what carries a file
ALIVE = "/alive"
LIVE = "/api/live"
SHOWN_MOST = 40  # characters of a text that a complaint repeats

EARLIER_KEY = "this page belongs to an earlier run of the desk"
NO_KEY = "this page has no key"


@dataclass
class Keys:
    """The keys of one run. Each begins with the run's mark, so that one of an earlier run is told as such.

    own: of the address that was printed. shared: of the tablet's address, None until shared or once revoked.
    """

    run: str = field(default_factory=lambda: secrets.token_hex(4))
    own: str = ""
    shared: str | None = None

    def __post_init__(self) -> None:
        self.own = self.fresh()

    def fresh(self) -> str:
        return f"{self.run}-{secrets.token_urlsafe(32)}"

    def owner(self, given: str) -> bool:
        return _same(self.own, given)

    def accepted(self, given: str) -> bool:
        """Whether the key is one of this run's; every comparison takes as long whatever the key."""
        own = _same(self.own, given)
        shared = _same(self.shared or "", given) and self.shared is not None
        return own or shared

    def complaint(self, given: str) -> dict[str, str]:
        """Why a key is refused, in the page's form of a complaint."""
        if not given:
            hint = "open the whole address that `latchline desk` printed, with all that follows the #"
            return {"what": NO_KEY, "where": "", "hint": hint}
        if given.partition("-")[0] != self.run and "-" in given:
            return {"what": EARLIER_KEY, "where": "", "hint": "open the address that it printed this time"}
        return {"what": "this key does not open the desk", "where": "", "hint": "ask for a new one at the desk"}


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode("utf-8", "replace"))


def policy(host: str) -> dict[str, str]:
    """The headers of every answer: nothing but the page's own scripts, styles and lines is loaded or run."""
    content = (
        f"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self' ws://{host}; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
        "require-trusted-types-for 'script'; trusted-types 'none'"
    )
    return {
        "content-security-policy": content,
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "referrer-policy": "no-referrer",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=(), serial=()",
        "cache-control": "no-store",
    }


@dataclass(frozen=True)
class Refusal:
    """status: of HTTP. complaint: what, where, hint."""

    status: int
    complaint: dict[str, str]


def _refused(status: int, what: str, hint: str = "") -> Refusal:
    return Refusal(status, {"what": what, "where": "", "hint": hint})


class Guard:
    """ASGI middleware. hosts: the addresses with port that may be named, as `127.0.0.1:8123`."""

    def __init__(self, app: ASGIApp, keys: Keys, hosts: Iterable[str]) -> None:
        self._app = app
        self._keys = keys
        self._hosts = frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            return
        headers = _Headers(scope)
        refusal = self._stranger(headers) or (self._unasked(scope, headers) if scope["type"] == "http" else None)
        if refusal is not None:
            await _refuse(refusal, scope, receive, send)
            return
        if scope["type"] == "websocket":
            await self._app(scope, receive, send)
            return
        scope["latchline.owner"] = self._keys.owner(headers.one(HEADER))
        body = b""
        if scope["method"] == "POST":
            most = LARGE_BODY_MAX if scope["path"] in LARGE else BODY_MAX
            read = await _read(receive, headers.one(b"content-length"), most)
            if read is None:
                too_long = _refused(413, "this is too long", f"at most {most >> 20} MiB are taken")
                await _refuse(too_long, scope, receive, send)
                return
            body = read
        await self._app(scope, _once(body, receive), _with_policy(send, headers.one(b"host")))

    def _stranger(self, headers: _Headers) -> Refusal | None:
        """What does not come from this page at this address."""
        named = headers.every(b"host")
        if len(named) != 1:
            return _refused(400, "a request names one host")
        if named[0] not in self._hosts:
            return _refused(421, "this is not the desk's address", "open the address that `latchline desk` printed")
        if any(origin != f"http://{named[0]}" for origin in headers.every(b"origin")):
            return _refused(403, "another page asked for this")
        if any(site not in ("same-origin", "none") for site in headers.every(b"sec-fetch-site")):
            return _refused(403, "another page asked for this")
        return None

    def _unasked(self, scope: Scope, headers: _Headers) -> Refusal | None:
        """What asks for more than it may."""
        if not scope["path"].startswith("/api/"):
            return None
        given = headers.one(HEADER)
        if not self._keys.accepted(given):
            return Refusal(401, self._keys.complaint(given))
        if scope["method"] == "POST":
            kind = headers.one(b"content-type").lower().replace(" ", "")
            if kind not in ("application/json", "application/json;charset=utf-8"):
                return _refused(415, "only JSON is taken here")
        return None


class _Headers:
    def __init__(self, scope: Scope) -> None:
        self._pairs: list[tuple[bytes, bytes]] = scope["headers"]

    def every(self, name: bytes) -> list[str]:
        return [value.decode("latin-1") for key, value in self._pairs if key.lower() == name]

    def one(self, name: bytes) -> str:
        """Its only value; empty when there is none, or more than one."""
        values = self.every(name)
        return values[0] if len(values) == 1 else ""


async def _read(receive: Receive, length: str, most: int) -> bytes | None:
    """The whole body; None when it is longer than it may be."""
    if length.isdecimal() and (len(length) > 12 or int(length) > most):
        return None
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return bytes(body)
        body += message.get("body", b"")
        if len(body) > most:
            return None
        if not message.get("more_body", False):
            return bytes(body)


def _once(body: bytes, receive: Receive) -> Receive:
    """The body that was read, and then what the line says, which is only that it was closed."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _with_policy(send: Send, host: str) -> Send:
    extra = [(name.encode(), value.encode()) for name, value in policy(host).items()]

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [*message.get("headers", ()), *extra]
        await send(message)

    return sending


async def _refuse(refusal: Refusal, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()  # the request to connect; closing instead of accepting answers it with 403
        await send({"type": "websocket.close", "code": 1008})
        return
    content = json.dumps(refusal.complaint).encode()
    headers: list[tuple[bytes, bytes]] = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(content)).encode()),
        (b"connection", b"close"),
    ]
    sending = _with_policy(send, "localhost")
    await sending({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await sending({"type": "http.response.body", "body": content if scope["method"] != "HEAD" else b""})


def parsed(body: bytes) -> dict[str, Any] | None:
    """The JSON object in a body; None when it holds none."""
    try:
        value = json.loads(body or b"{}")
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None


def require_text(value: Any) -> None:
    """Raises InputError where a text holds half of a character, as "\\ud800", which no file and no page can hold."""
    if isinstance(value, str):
        try:
            value.isascii() or value.encode()
        except UnicodeEncodeError:
            shown = value.encode("ascii", "replace").decode()[:SHOWN_MOST]
            raise InputError("this text holds half of a character", where=shown, hint="type it again") from None
    elif isinstance(value, dict | list):
        for inner in chain(value, value.values()) if isinstance(value, dict) else value:
            require_text(inner)
