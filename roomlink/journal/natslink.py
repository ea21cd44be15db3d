"""A connection to NATS, which leaves a server that is cut off from the others; and one for code that blocks."""

from __future__ import annotations

import asyncio
import concurrent.futures
import contextlib
import random
import threading
import time
from collections.abc import Coroutine, Mapping, Sequence
from typing import Any, TypeVar

import nats.errors
import structlog
from nats.aio.client import Client
from nats.js import JetStreamContext
from nats.js.errors import NoStreamResponseError, ServiceUnavailableError

from roomlink.errors import JournalFailed

T = TypeVar("T")
log = structlog.get_logger("roomlink")

CONNECT_S = 5.0
RECONNECT_S = 0.1
PING_S = 1
"""How often a quiet connection is asked for a sign of life; two that are missing end it."""
ELSEWHERE_S, ELSEWHERE_S_MAX = 2.0, 4.0
"""After so long without one answer of JetStream a connection goes to another server, though this one is there.

Where the next one does not answer either it stays twice as long: then most of them are down, or elect a leader.
"""
NO_ANSWER = (TimeoutError, ServiceUnavailableError, NoStreamResponseError, nats.errors.NoRespondersError)


async def connected(servers: Sequence[str], name: str, access: Mapping[str, Any], **more: Any) -> Client:
    """A connection to one of ``servers``, by chance, which comes back by itself after a loss, to the next one."""

    async def quiet(_error: Exception) -> None:
        """Each call tells its own failure; the client's own report would be one too many."""

    options: dict[str, Any] = {"name": name, "max_reconnect_attempts": -1, "reconnect_time_wait": RECONNECT_S}
    options |= {"ping_interval": PING_S, "max_outstanding_pings": 2, "connect_timeout": 2, "error_cb": quiet}
    # In an order of its own: the library would find the same server again and again.
    order = random.sample(list(servers), len(servers))
    client = Client()
    try:
        await client.connect(order, dont_randomize=True, **options, **more, **access)
    except BaseException:
        _drop(client)
        raise
    return client


def _drop(client: Client) -> None:
    """Let go of a client's socket: one that is cut short in the midst of connecting does not close it itself."""
    transport = client._transport
    if transport is not None:
        transport.close()  # type: ignore[no-untyped-call]  # the library says no types here


class Answers:
    """Watches whether JetStream answers over a connection. In the loop of that connection."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._since: float | None = None
        self._last = 0.0
        self._patience_s = ELSEWHERE_S

    def note(self, *, answered: bool) -> None:
        """Say of each request whether it was answered, if only by a no."""
        now = time.monotonic()
        if answered:
            self._since, self._patience_s = None, ELSEWHERE_S
        elif self._since is None or now - self._last > ELSEWHERE_S_MAX:
            self._since = now
        elif now - self._since > self._patience_s and len(self._client.servers) > 1:
            self._since, self._patience_s = None, min(2 * self._patience_s, ELSEWHERE_S_MAX)
            log.warning("NATS", notice="JetStream does not answer here: another server is asked", here=self._here())
            self._moving = asyncio.get_running_loop().create_task(self._client.force_reconnect())
        self._last = now

    def _here(self) -> str:
        url = self._client.connected_url
        return "" if url is None else url.netloc.rpartition("@")[2]


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
            self.client = self._run(connected(self._servers, self._name, self._access), CONNECT_S)
        except (OSError, TimeoutError, nats.errors.Error) as error:
            self._end()
            raise JournalFailed(
                f"no NATS server answers at {', '.join(self._servers)}: see that nats-server runs there with JetStream,"
                f" and lets this node in: {error!r}"
            ) from error
        self.js: JetStreamContext = self.client.jetstream()
        # Apart, for a server that is cut off may yet answer what it knows, and take nothing.
        self._reads, self.writes, self.follows = (Answers(self.client) for _ in range(3))

    def call(self, work: Coroutine[Any, Any, T], within_s: float, answers: Answers | None = None) -> T:
        """Ask the servers in the link's loop, and wait for it. Raises TimeoutError after ``within_s`` seconds."""
        return self._run(self.asked(work, answers), within_s)

    async def asked(self, work: Coroutine[Any, Any, T], answers: Answers | None = None) -> T:
        """The same, to be awaited in the link's loop."""
        answered = True
        try:
            return await work
        except (*NO_ANSWER, asyncio.CancelledError):
            answered = False
            raise
        finally:
            if answers is not None or not answered:  # that something is read proves nothing
                (answers or self._reads).note(answered=answered)

    def _run(self, work: Coroutine[Any, Any, T], within_s: float) -> T:
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
            self._run(self.client.close(), 2.0)
        self._end()

    def _end(self) -> None:
        self._closed = True

        async def cancel_all() -> None:
            tasks = asyncio.all_tasks() - {asyncio.current_task()}
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            if (client := getattr(self, "client", None)) is not None:
                _drop(client)
            await asyncio.sleep(0)  # sockets close in the turn after

        with contextlib.suppress(TimeoutError):  # a task that does not end keeps nothing but itself
            self._run(cancel_all(), 2.0)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(2.0)
        if not self._thread.is_alive():
            self.loop.close()
