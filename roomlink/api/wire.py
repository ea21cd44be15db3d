"""The short way in and out of a live socket: uvicorn's WebSocket protocol without a task and a queue between.

A message for a thousand panels is made and framed once, and each connection only writes those bytes. ASGI would have
every panel's own task wake up, and frame the same text again.
"""

from __future__ import annotations

from typing import Any, Protocol

from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.frames import CloseCode
from websockets.http11 import Request

EXTENSION = "roomlink.wire"
"""The name in an ASGI scope's ``extensions`` under which a connection's ``Wire`` is found."""
WAITING_BYTES_MAX = 32 * 1024
"""Bytes that wait for a slow peer, beside what the kernel holds (see ``limits.SEND_BUFFER_BYTES``), above which a
socket has no room."""
BACKLOG_S = 0.05
"""What comes so soon after reading goes on may have waited in the kernel for as long as it was held back."""


class Live(Protocol):
    """Whoever has taken over a connection."""

    def heard(self, text: str | None, waited_s: float = 0.0) -> None:
        """A whole message came; None stands for one that is not text. It may have waited to be read for so long."""

    def full(self) -> None:
        """The peer does not keep up: nothing more is to be written for now."""

    def room(self) -> None:
        """What waited is sent: there is room to write again."""

    def gone(self) -> None:
        """The connection is closing or lost; may be said more than once."""


class Wire(WebSocketsSansIOProtocol):
    """One connection. After ``attach`` the ``Live`` hears, and writes straight to ``transport``."""

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self._live: Live | None = None
        self._held_back = False
        self._held_since_s = self._read_on_s = float("-inf")
        self._waited_s = 0.0
        self._heard_s = self.loop.time()
        self.reads = 0
        """How often something was read: messages of one reading were not waited for."""

    def attach(self, live: Live) -> None:
        """Hand the connection over. What came before is heard at once; call it after the handshake."""
        self._live = live
        self.transport.set_write_buffer_limits(high=WAITING_BYTES_MAX)
        early = []
        while not self.queue.empty():
            early.append(self.queue.get_nowait())
        self.read_paused = False
        self.transport.resume_reading()
        for event in early:
            if event["type"] == "websocket.receive":
                live.heard(event.get("text"))
            else:
                live.gone()

    @property
    def silent_s(self) -> float:
        """For how long nothing has come from the peer, not even the answer to a ping."""
        return self.loop.time() - self._heard_s

    @property
    def has_room(self) -> bool:
        """Whether the peer keeps up; ``Live.room`` is called when it does again."""
        return self.writable.is_set()

    @property
    def closing(self) -> bool:
        return self.close_sent or self.disconnected or self.transport.is_closing()

    def hold_back(self, yes: bool) -> None:
        """Read no more of what the peer sends, or go on."""
        if yes != self._held_back and not self.transport.is_closing():
            self._held_back = yes
            if yes:
                self._held_since_s = self.loop.time()
            else:
                self._read_on_s = self.loop.time()
            (self.transport.pause_reading if yes else self.transport.resume_reading)()

    # What uvicorn calls

    def data_received(self, data: bytes) -> None:
        self._heard_s = now = self.loop.time()
        self.reads += 1
        behind, self._read_on_s = now - self._read_on_s < BACKLOG_S, float("-inf")
        self._waited_s = now - self._held_since_s if behind else 0.0
        super().data_received(data)

    def handle_connect(self, event: Request) -> None:
        super().handle_connect(event)
        if self.handshake_initiated and not self.handshake_complete:
            # The task that runs the application with this scope has not begun yet.
            self.scope["extensions"] = {**(self.scope["extensions"] or {}), EXTENSION: {"wire": self}}

    def send_receive_event_to_app(self) -> None:
        if self._live is None:
            super().send_receive_event_to_app()
            return
        data = self.frames[0] if len(self.frames) == 1 else b"".join(self.frames)
        self.frames = []
        if self.close_sent:
            return
        try:
            self._live.heard(data.decode() if self.curr_msg_data_type == "text" else None, self._waited_s)
        except UnicodeDecodeError:
            self.conn.send_close(CloseCode.INVALID_DATA)
            self.handle_parser_exception()

    def pause_writing(self) -> None:
        super().pause_writing()
        if self._live is not None:
            self._live.full()

    def resume_writing(self) -> None:
        super().resume_writing()
        if self._live is not None:
            self._live.room()

    def connection_lost(self, exc: Exception | None) -> None:
        super().connection_lost(exc)
        self._gone()

    def handle_close(self, event: Any) -> None:
        super().handle_close(event)
        self._gone()

    def handle_parser_exception(self) -> None:
        super().handle_parser_exception()
        self._gone()

    def keepalive_timeout(self) -> None:
        alive = self.silent_s < (self.ping_timeout or 0.0)
        if alive or (self._held_back and self.has_room):
            # Its answer lies behind messages that are not read yet, as it sends faster than they are taken.
            self.pong_timer = self.pending_ping_payload = None
            self.schedule_ping()
            return
        super().keepalive_timeout()
        self._gone()

    def shutdown(self) -> None:
        super().shutdown()
        self._gone()

    def _gone(self) -> None:
        if self._live is not None:
            self._live.gone()
