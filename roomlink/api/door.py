"""The way in of a connection: uvicorn's HTTP protocol with bounds on how long a peer may take.

A peer that opens connections and says nothing, or says a request a byte a second, or never reads its answer, would
keep them for ever. Each costs a file descriptor, and without one nobody else gets in.
"""

from __future__ import annotations

import asyncio
import contextlib
import resource
from typing import Any, ClassVar

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from roomlink import limits


def room_for_connections() -> None:
    """Let this process have as many descriptors as it may: the usual 1,024 are few for a house full of panels."""
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))


class Door(HttpToolsProtocol):
    """One connection. A request is here whole within ``REQUEST_S``; an answer is being read within ``UNREAD_S``."""

    unfinished: ClassVar[dict[Door, None]] = {}
    """Those whose request is not whole, oldest first. Of all services in this process: they share its descriptors."""

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self._deadline: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None

    def _expect(self) -> None:
        """A request begins, or is to begin: its time runs. Where too many are unfinished, the oldest makes room."""
        if self in Door.unfinished:
            return
        Door.unfinished[self] = None
        self._deadline = self.loop.call_later(limits.REQUEST_S, self._too_late)
        if len(Door.unfinished) > limits.UNFINISHED_REQUESTS_MAX:
            next(iter(Door.unfinished))._too_late()

    def _came(self) -> None:
        Door.unfinished.pop(self, None)
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _too_late(self) -> None:
        self._came()
        self.transport.abort()

    # What asyncio and uvicorn call

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn's own
        super().connection_made(transport)
        self._expect()

    def on_message_begin(self) -> None:
        super().on_message_begin()
        self._expect()

    def on_message_complete(self) -> None:
        super().on_message_complete()
        self._came()

    def handle_websocket_upgrade(self) -> None:
        # From here on the socket has its own protocol, with pings.
        self._came()
        super().handle_websocket_upgrade()

    def pause_writing(self) -> None:
        super().pause_writing()
        self._unread = self.loop.call_later(limits.UNREAD_S, self.transport.abort)

    def resume_writing(self) -> None:
        super().resume_writing()
        self._read()

    def connection_lost(self, exc: Exception | None) -> None:
        super().connection_lost(exc)
        self._came()
        self._read()

    def _read(self) -> None:
        if self._unread is not None:
            self._unread.cancel()
            self._unread = None
