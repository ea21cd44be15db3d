"""How nodes speak about one venue: commands to the writer by request and reply, and short words to all.

A word is lost where nobody hears it: what must not be lost is in the journal.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any

import nats.errors
import orjson
import structlog
from nats.aio.client import Client
from nats.aio.msg import Msg
from nats.aio.subscription import Subscription

from roomlink.errors import BadRequest, JournalFailed, OurFault
from roomlink.runtime.cluster.codec import NotTaken, encode_error

log = structlog.get_logger("roomlink")

Data = dict[str, Any]
ANSWER_S = 1.0
"""After so long without an answer the writer is asked again."""


class Unanswered(JournalFailed):
    """Nobody knows whether what was asked was carried out."""


class Relay:
    """The subjects of one venue. Needs a connection in the running event loop."""

    def __init__(self, client: Client, venue: str, node: str) -> None:
        self._client, self._base, self.node = client, f"roomlink.{venue}", node
        self._answering: Subscription | None = None
        self._hearing: list[Subscription] = []
        self._saying: set[asyncio.Task[None]] = set()

    async def ask(self, data: Data) -> Data:
        """Have the writer carry something out. Raises ``NotTaken`` where surely nobody did, else ``Unanswered``."""
        try:
            answer = await self._client.request(f"{self._base}.do", orjson.dumps(data), timeout=ANSWER_S)
        except (nats.errors.NoRespondersError, nats.errors.OutboundBufferLimitError):
            raise NotTaken("no node that writes the venue can be reached now") from None
        except nats.errors.MaxPayloadError:
            text = "it is too large to go to the node that writes the venue: ask that node, or let NATS take more"
            raise BadRequest("too-large", text) from None
        except (nats.errors.Error, TimeoutError, OSError) as error:
            raise Unanswered(f"the writer did not answer: {error!r}") from error
        found: Data = orjson.loads(answer.data)
        if found.get("not-taken"):
            raise NotTaken("the node that was asked writes the venue no more")
        return found

    async def answer(self, take: Callable[[Data, Callable[[Data], None]], None]) -> None:
        """Be the writer: ``take`` is given what is asked, in order, and a function to reply with."""

        async def asked(message: Msg) -> None:
            def reply(data: Data) -> None:
                self._say_to(message.reply, data)

            try:
                take(orjson.loads(message.data), reply)
            except Exception as bug:  # the client library would say nothing of it
                log.exception("what another node asks for failed", error=repr(bug))
                reply(encode_error(OurFault("something went wrong on the node that writes; nothing was done")))

        self._answering = await self._client.subscribe(f"{self._base}.do", cb=asked)

    async def answer_no_more(self) -> None:
        """What is asked from now on goes to the next writer."""
        answering, self._answering = self._answering, None
        if answering is not None:
            with contextlib.suppress(nats.errors.Error):
                # What has come is answered yet: not taken.
                await answering.drain()  # type: ignore[no-untyped-call]  # the library leaves this one untyped

    def say(self, what: str, data: Data) -> None:
        """Tell all nodes of the venue."""
        self._say_to(f"{self._base}.say.{what}", {**data, "node": self.node})

    async def hear(self, what: str, heard: Callable[[Data], None]) -> None:
        async def word(message: Msg) -> None:
            try:
                heard(orjson.loads(message.data))
            except Exception as bug:  # as above
                log.error("a word of another node was not understood", what=what, error=repr(bug))

        self._hearing.append(await self._client.subscribe(f"{self._base}.say.{what}", cb=word))

    def _say_to(self, subject: str, data: Data) -> None:
        async def say() -> None:
            with contextlib.suppress(nats.errors.Error, OSError):
                await self._client.publish(subject, orjson.dumps(data))

        task = asyncio.get_running_loop().create_task(say())
        self._saying.add(task)
        task.add_done_callback(self._saying.discard)

    async def close(self) -> None:
        for one in (self._answering, *self._hearing):
            if one is not None:
                with contextlib.suppress(nats.errors.Error):  # of a connection that is closed nothing is heard
                    await one.unsubscribe()
        self._answering, self._hearing = None, []
