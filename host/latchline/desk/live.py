"""The live line: one socket a page, on which the desk tells what has changed."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect, WebSocketState

from latchline.desk.guard import Keys

KEY_WITHIN_S = 5.0
PAGES_MAX = 64
MESSAGE_BYTES_MAX = 64 << 10
WAITING_MAX = 200  # messages that a page may be behind before it is let go to come back anew
POLICY, TOO_MANY, BEHIND = 1008, 1013, 1013


class Pages:
    """All open pages. `tell` may be called from any thread."""

    def __init__(self, keys: Keys, greeting: Callable[[], list[dict[str, Any]]]) -> None:
        """greeting: what a page is told when it comes, so that it shows what is so now."""
        self._keys = keys
        self._greeting = greeting
        self._pages: dict[WebSocket, tuple[str, asyncio.Queue[str | None]]] = {}
        self._closing: set[asyncio.Future[None]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None

    def tell(self, message: dict[str, Any]) -> None:
        """Send to every page; in the order of the calls."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._spread, json.dumps(message))

    def _spread(self, text: str) -> None:
        for _, waiting in self._pages.values():
            if waiting.qsize() < WAITING_MAX:
                waiting.put_nowait(text)
            else:
                waiting.put_nowait(None)

    def revoke(self, key: str) -> None:
        """Close every page that came with this key. From any thread."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._close_those_of, key)

    def _close_those_of(self, key: str) -> None:
        for page, (with_key, _) in self._pages.items():
            if with_key == key:
                task = asyncio.ensure_future(_close(page, POLICY))
                self._closing.add(task)
                task.add_done_callback(self._closing.discard)

    async def follow(self, page: WebSocket) -> None:
        """The whole life of one socket."""
        self._loop = asyncio.get_running_loop()
        await page.accept()
        if len(self._pages) >= PAGES_MAX:
            await _close(page, TOO_MANY)
            return
        key = await self._key_of(page)
        if key is None:
            await _close(page, POLICY)
            return
        waiting: asyncio.Queue[str | None] = asyncio.Queue()
        self._pages[page] = key, waiting
        sender = asyncio.create_task(_send(page, waiting))
        try:
            for message in self._greeting():
                waiting.put_nowait(json.dumps(message))
            while True:  # a page says nothing more on this line than that it is there
                await page.receive_text()
                waiting.put_nowait('{"kind": "here"}')
        except (WebSocketDisconnect, RuntimeError, KeyError):
            pass
        finally:
            self._pages.pop(page, None)
            sender.cancel()

    async def _key_of(self, page: WebSocket) -> str | None:
        """The key in the first message; None when it is wrong, late or no message."""
        try:
            first = json.loads(await asyncio.wait_for(page.receive_text(), KEY_WITHIN_S))
        except (TimeoutError, ValueError, RecursionError, WebSocketDisconnect, KeyError):
            return None
        key = first.get("key") if isinstance(first, dict) else None
        if not isinstance(key, str):
            return None
        if not self._keys.accepted(key):
            await page.send_text(json.dumps({"kind": "refused"} | self._keys.complaint(key)))
            return None
        return key


async def _send(page: WebSocket, waiting: asyncio.Queue[str | None]) -> None:
    while (text := await waiting.get()) is not None:
        await page.send_text(text)
    await _close(page, BEHIND)


async def _close(page: WebSocket, code: int) -> None:
    if page.application_state is WebSocketState.CONNECTED and page.client_state is WebSocketState.CONNECTED:
        await page.close(code)
