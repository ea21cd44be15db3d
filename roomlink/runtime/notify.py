"""Telling the service manager how things are: systemd's notification protocol, a datagram of ``NAME=value`` lines.

Where nobody asked to be told (``$NOTIFY_SOCKET`` is not set), nothing is sent.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import time
from collections.abc import Mapping


class Supervisor:
    """Whoever started the service, as its environment tells."""

    def __init__(self, environ: Mapping[str, str] = os.environ) -> None:
        self._address = environ.get("NOTIFY_SOCKET", "")
        if self._address.startswith("@"):  # of Linux's abstract names
            self._address = "\0" + self._address[1:]
        mine = environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self._watchdog_s = int(environ.get("WATCHDOG_USEC", "0")) / 1e6 if mine else 0.0
        self._beat: asyncio.TimerHandle | None = None

    def say(self, *lines: str) -> None:
        """Send these lines at once. One that cannot be told must not stop the service."""
        if self._address:
            with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
                out.setblocking(False)
                out.sendto("\n".join(lines).encode(), self._address)

    def reloading(self) -> None:
        """The configuration is read again; call ``ready`` when that is done."""
        self.say("RELOADING=1", f"MONOTONIC_USEC={time.monotonic_ns() // 1000}")

    def ready(self) -> None:
        """The service answers. From now on the running event loop gives a sign of life, twice in the time allowed."""
        self.say("READY=1")
        if self._watchdog_s > 0.0 and self._beat is None:
            self._live()

    def _live(self) -> None:
        self.say("WATCHDOG=1")
        self._beat = asyncio.get_running_loop().call_later(self._watchdog_s / 2.0, self._live)

    def stopping(self) -> None:
        """The service ends. Signs of life go on: what takes long to end must not be killed for it."""
        self.say("STOPPING=1")
