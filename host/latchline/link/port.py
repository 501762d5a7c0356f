"""Opening a port, and saying in one sentence why one cannot be opened.

Any address that pySerial takes will do: a device, `socket://host:port`, `rfc2217://host:port`,
`sim://…` once the simulator has made itself known.

A board whose reset hangs on DTR starts anew when DTR rises. Opening a port raises it, and closing
lets it fall, so each opening would cost a running board its memory of the plan. So the port is
told to keep DTR up when it is closed (HUPCL off), even if the program is killed: then only the
first opening after plugging in resets the board.
"""

from __future__ import annotations

import contextlib
import errno
import os
import time
from collections.abc import Callable, Sequence
from typing import Any, Protocol

import serial
from serial import SerialException
from serial.tools import list_ports

from latchline.errors import PortError
from latchline.link.host import Transport
from latchline.mend import Mend

BAUD = 250_000
WRITE_TIMEOUT_S = 2.0
_LISTED = (Mend("see which there are", task="ports"),)


class Port(Transport, Protocol):
    """An open port, whatever its kind."""

    @property
    def port(self) -> str | None: ...
    def close(self) -> None: ...


def open_port(name: str, prepare: Callable[[Any], None] = lambda port: None) -> Port:
    """The port, open and for us alone; `prepare` may set what its kind knows before it is opened. Raises PortError."""
    port: Any = None
    try:
        port = serial.serial_for_url(name, do_not_open=True)
        port.baudrate = BAUD
        port.timeout = 0.05
        if type(port) is serial.Serial:
            port.write_timeout = WRITE_TIMEOUT_S
            port.exclusive = True if os.name == "posix" else None
        prepare(port)
        port.open()
    except (SerialException, OSError, ValueError) as error:
        if port is not None:
            with contextlib.suppress(SerialException, OSError):
                port.close()
        raise cannot_open(name, error) from None
    _keep_dtr(port)
    opened: Port = port
    return opened


def clock_of(port: object) -> Callable[[], float]:
    """The port's own time, where it has one (a simulated port), else the system's."""
    return getattr(port, "clock", time.monotonic)


def cannot_open(name: str, error: Exception) -> PortError:
    """Why a port cannot be opened, as a knitter would put it."""
    text = str(error)
    number = getattr(error, "errno", None)
    if "://" in name:
        if isinstance(error, ValueError):
            return PortError(
                "there is no such kind of port", where=name, hint="as in /dev/ttyUSB0, or sim://standard-200"
            )
        what = f"this port cannot be opened ({_plain(text)})"
        return PortError(what, where=name, hint="is the other end running?", name="port-closed")
    if number == errno.ENOENT or isinstance(error, FileNotFoundError):
        return PortError(
            "there is no such port", where=name, hint="plug the cable in", mends=_LISTED, name="port-missing"
        )
    if number in (errno.EACCES, errno.EPERM) or "ermission" in text or "denied" in text:
        return PortError(
            "you may not open this port",
            where=name,
            hint="on Linux: add yourself to its group, as in `sudo usermod -aG dialout $USER`, then log in again",
            name="no-permission",
        )
    if number == errno.EBUSY or "exclusively lock" in text:
        return PortError(
            "the port is in use by another program", where=name, hint="end that one first", name="port-in-use"
        )
    if "Could not configure port" in text or number in (errno.EISDIR, errno.ENXIO, errno.ENODEV):
        return PortError("this is no serial port", where=name, mends=_LISTED, name="no-serial-port")
    return PortError(f"this port cannot be opened ({_plain(text)})", where=name, mends=_LISTED, name="port-closed")


def find_port() -> str:
    """The one serial port on USB. Raises PortError when there is none, or more than one."""
    return the_one([port.device for port in sorted(list_ports.comports()) if port.vid is not None])


def the_one(names: Sequence[str]) -> str:
    if not names:
        raise PortError(
            "no board was found on USB",
            hint="plug it in with a cable that carries data, or name the port",
            name="no-port",
        )
    if len(names) > 1:
        raise PortError(
            "there is more than one serial port on USB", hint="name one: " + ", ".join(names), name="several-ports"
        )
    return names[0]


def _plain(text: str) -> str:
    """The last clause of a nested complaint."""
    return text.rsplit(": ", 1)[-1].strip().rstrip(".") or "no reason given"


def _keep_dtr(port: Any) -> None:
    """Let DTR stay up when the port is closed, where there is such a thing."""
    if os.name != "posix" or type(port) is not serial.Serial:
        return
    import termios

    with contextlib.suppress(termios.error, OSError):
        settings = termios.tcgetattr(port.fileno())
        settings[2] &= ~termios.HUPCL
        termios.tcsetattr(port.fileno(), termios.TCSANOW, settings)
