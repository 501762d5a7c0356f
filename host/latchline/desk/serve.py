"""Listen, say where, and end at once when told to."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from latchline.desk.app import application
from latchline.desk.desk import Desk
from latchline.desk.guard import Keys
from latchline.desk.live import MESSAGE_BYTES_MAX
from latchline.errors import InputError

LOOPBACK = "127.0.0.1"
SWITCH_S = 0.001  # how long a drawing may hold up a pass that is to be told; Python's own 5 ms are felt


@dataclass(frozen=True)
class Address:
    """Where the desk listens. shared: the second address, for a tablet; empty without one."""

    port: int
    shared: str = ""

    @property
    def hosts(self) -> tuple[str, ...]:
        names = (LOOPBACK, "localhost", *((self.shared,) if self.shared else ()))
        return tuple(f"{name}:{self.port}" for name in names)

    def page(self, key: str) -> str:
        return f"http://{LOOPBACK}:{self.port}/#key={key}"

    def shared_page(self, key: str) -> str:
        return f"http://{self.shared}:{self.port}/#key={key}"


class _Server(uvicorn.Server):
    """Ends at the first signal, with pages open or not."""

    def handle_exit(self, sig: int, frame: object) -> None:
        self.force_exit = True
        super().handle_exit(sig, frame)  # type: ignore[arg-type]


def serve(
    source: Path | None,
    *,
    port_number: int = 0,
    share: str = "",
    ready: Callable[[Address, Keys], None],
) -> None:
    """Serve the desk until interrupted.

    source: a piece, a chart or a folder; None: this folder. port_number: 0 takes any free one.
    share: a second address of this machine to listen on. ready: called once, listening.
    Raises InputError when an address or the source cannot be used; KeyboardInterrupt at Ctrl-C.
    """
    with contextlib.ExitStack() as held:
        sockets = [held.enter_context(listen(LOOPBACK, port_number))]
        address = Address(sockets[0].getsockname()[1], share)
        if share:
            sockets.append(held.enter_context(listen(share, address.port)))
        keys = Keys()
        if share:
            keys.shared = keys.fresh()
        desk = Desk(source, keys, address)
        held.callback(desk.close)
        sys.setswitchinterval(SWITCH_S)
        ready(address, keys)
        _Server(config(desk)).run(sockets=sockets)


def config(desk: Desk) -> uvicorn.Config:
    """How the desk is served: no library's choice is left to chance."""
    return uvicorn.Config(
        application(desk),
        http="h11",
        ws="websockets-sansio",
        loop="asyncio",
        lifespan="off",
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        ws_max_size=MESSAGE_BYTES_MAX,
        ws_per_message_deflate=False,
        timeout_keep_alive=60,
    )


def listen(address: str, port: int) -> socket.socket:
    """A listening socket; connections wait in it from now on. Raises InputError."""
    # asyncio sends small packets at once (TCP_NODELAY) on sockets that say that they are TCP; on others an answer's
    # body waits for the page's delayed acknowledgement of its head (RFC 896, RFC 1122 section 4.2.3.2): 40 ms each.
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((address, port))
        listening.listen(128)
    except (OSError, OverflowError) as error:
        listening.close()
        reason = getattr(error, "strerror", None) or error
        raise InputError(
            f"nothing can listen there ({reason})",
            where=f"{address}:{port}",
            hint="name another port number, or an address that this machine has",
        ) from None
    return listening


def show_in_browser(address: str) -> None:
    """Open the page where there is a screen to open it on, without waiting for the browser."""
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
