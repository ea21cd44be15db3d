"""A connection to NATS for code that blocks: its own event loop in a thread of its own."""

from __future__ import annotations

import asyncio
import concurrent.futures
import contextlib
import threading
from collections.abc import Coroutine, Mapping, Sequence
from typing import Any, TypeVar

import nats
import nats.errors
from nats.aio.client import Client
from nats.js import JetStreamContext

from roomlink.errors import JournalFailed

T = TypeVar("T")

CONNECT_S = 5.0
RECONNECT_S = 0.1
PING_S = 1
"""How often a quiet connection is asked for a sign of life; two that are missing end it."""


class NatsLink:
    """Connected from the moment that it was made until ``close``; it comes back by itself after a loss.

    Raises ``JournalFailed`` with the addresses where none of ``servers`` answers.
    """

    def __init__(self, servers: Sequence[str], name: str, access: Mapping[str, Any]) -> None:
        self._servers, self._name, self._access = list(servers), name, dict(access)
        self.loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self.loop.run_forever, name="nats", daemon=True)
        self._thread.start()
        self._closed = False
        try:
            self.client: Client = self.call(self._connect(), CONNECT_S)
        except (OSError, TimeoutError, nats.errors.Error) as error:
            self._end()
            raise JournalFailed(
                f"no NATS server answers at {', '.join(self._servers)}: see that nats-server runs there with JetStream,"
                f" and lets this node in: {error!r}"
            ) from error
        self.js: JetStreamContext = self.client.jetstream()

    async def _connect(self) -> Client:
        async def quiet(_error: Exception) -> None:
            """Each call tells its own failure; the client's own report would be one too many."""

        return await nats.connect(
            self._servers,
            name=self._name,
            connect_timeout=2,
            max_reconnect_attempts=-1,
            reconnect_time_wait=RECONNECT_S,
            ping_interval=PING_S,
            max_outstanding_pings=2,
            allow_reconnect=True,
            error_cb=quiet,
            **self._access,
        )

    def call(self, work: Coroutine[Any, Any, T], within_s: float) -> T:
        """Run ``work`` in the link's loop and wait for it. Raises TimeoutError after ``within_s`` seconds."""
        running = asyncio.run_coroutine_threadsafe(work, self.loop)
        try:
            return running.result(within_s)
        except concurrent.futures.TimeoutError:
            if running.done():
                raise  # its own, and sooner
            running.cancel()
            raise TimeoutError(f"no answer within {within_s:g} s") from None

    @property
    def connected(self) -> bool:
        return self.client.is_connected

    def close(self) -> None:
        if self._closed:
            return
        with contextlib.suppress(TimeoutError, nats.errors.Error):  # whatever it still holds ends with its loop
            self.call(self.client.close(), 2.0)
        self._end()

    def _end(self) -> None:
        self._closed = True

        async def cancel_all() -> None:
            tasks = asyncio.all_tasks() - {asyncio.current_task()}
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

        with contextlib.suppress(TimeoutError):  # a task that does not end keeps nothing but itself
            self.call(cancel_all(), 2.0)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(2.0)
        if not self._thread.is_alive():
            self.loop.close()
