"""The line between desk and page."""

from __future__ import annotations

import asyncio
import socket

from desk.serving import run_apart

from latchline.desk.serve import LOOPBACK, listen


def test_an_answer_never_waits_for_the_pages_acknowledgement() -> None:
    async def accepted_sends_at_once() -> bool:
        found: asyncio.Future[bool] = asyncio.get_running_loop().create_future()

        def accept(_: asyncio.StreamReader, page: asyncio.StreamWriter) -> None:
            line = page.get_extra_info("socket")
            found.set_result(line.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0)
            page.close()

        with listen(LOOPBACK, 0) as listening:
            port = listening.getsockname()[1]
            async with await asyncio.start_server(accept, sock=listening):
                _, page = await asyncio.open_connection(LOOPBACK, port)
                page.close()
                return await found

    assert run_apart(accepted_sends_at_once())
