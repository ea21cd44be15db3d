"""A follower's commands on their way to the writer: each is carried out once or told as not, in its holder's order.

A command carries a name, and how far its node has followed the stream. Only a writer whose term lies within that takes
it. So whoever sees the entry knows that it was carried out, and whoever sees a later term first knows that it never
will be, and sends it to the new writer. An entry is believed once something came after it: until then its writer may
yet void it.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid4

import structlog

from roomlink.core.commands import Command
from roomlink.core.events import Answered, Entry
from roomlink.errors import JournalFailed, RoomlinkError
from roomlink.runtime.cluster.codec import NotTaken, decode_command, decode_error, encode_command
from roomlink.runtime.cluster.relay import Data, Relay, Unanswered
from roomlink.runtime.ending import ended
from roomlink.runtime.writer import Receipt

log = structlog.get_logger("roomlink")

PATIENCE_S = 6.0
"""How long a command waits for a writer, or for word of what became of it."""
AGAIN_S = 0.03
NOBODY = "no node writes the venue now; nothing was done"
NO_WORD = "no answer came from the node that writes: look whether it was done before asking again"


@dataclass(slots=True)
class _Sent:
    """A command on its way. ``place`` is how far the stream was followed when it was last sent."""

    data: Data
    done: asyncio.Future[Receipt]
    word: asyncio.Future[Receipt | None]
    """What the stream says of it: carried out, or never by the writer that was asked (None)."""
    place: int = 0
    asked: bool = False
    """Whether a writer may have taken it that has not said so."""
    seen: tuple[int, Receipt] | None = None


class Sending:
    """``own`` carries a command out where this node writes; ``leads`` says whether it does now.

    ``shown`` waits until this node shows an entry. ``place`` says how far the stream was followed.
    """

    def __init__(
        self,
        relay: Relay,
        own: Callable[[Command, str | None, str], Awaitable[Receipt]],
        leads: Callable[[], bool],
        shown: Callable[[int], Awaitable[None]],
        place: Callable[[], int],
        stamp: Callable[[], float],
    ) -> None:
        self._relay, self._own, self._leads = relay, own, leads
        self._shown, self._place, self._stamp = shown, place, stamp
        self._loop = asyncio.get_running_loop()
        self._sent: dict[str, _Sent] = {}
        self._last: dict[str, asyncio.Future[Receipt]] = {}
        """The newest command of each holder: a stop must not come before what it stops."""
        self._tasks: set[asyncio.Task[None]] = set()
        self._ended = False

    @property
    def busy(self) -> bool:
        """Whether commands of this node wait for the writer."""
        return bool(self._sent)

    def waits(self, command: Command) -> bool:
        """Whether something that its holder asked for before is still on its way."""
        return _order(command) in self._last

    def put(self, command: Command, key: str | None = None, digest: str = "") -> asyncio.Future[Receipt]:
        done: asyncio.Future[Receipt] = self._loop.create_future()
        name = uuid4().hex
        named = replace(command, by=replace(command.by, request=name))
        data: Data = {"command": encode_command(named), "key": key, "digest": digest, "name": name}
        data["until"] = self._stamp() + PATIENCE_S
        self._sent[name] = sent = _Sent(data, done, self._loop.create_future())
        self._anew(sent)
        order, before = _order(command), None
        if order:
            before, self._last[order] = self._last.get(order), done
            done.add_done_callback(lambda done: self._last.pop(order) if self._last.get(order) is done else None)
        self._keep(self._send(name, sent, before))
        return done

    def surely(self, command: Command) -> None:
        """Again and again, until it is carried out or refused, or this node stops."""
        if not self._ended:
            self._keep(self._send_surely(command))

    # ---- what the stream says

    def entry(self, entry: Entry, place: int) -> None:
        """An entry of the message at ``place``: perhaps a command of ours."""
        sent = self._sent.get(str(entry.did.get("request", "")))
        if sent is not None:
            sent.seen = place, Receipt(entry.seq, _reply(entry))

    def message(self, place: int, *, term: bool) -> None:
        """The stream was followed up to the message at ``place``, which is a new writer's term or not."""
        for sent in self._sent.values():
            if sent.word.done():
                continue
            if sent.seen is not None and sent.seen[0] < place:
                sent.word.set_result(sent.seen[1])
            elif term and sent.seen is None and sent.place < place:
                sent.word.set_result(None)

    def rewound(self) -> None:
        """What was seen last is void."""
        for sent in self._sent.values():
            sent.seen = None

    def led(self) -> None:
        """This node writes now: what is in the stream counts, and the rest is for it to carry out."""
        for sent in self._sent.values():
            if not sent.word.done():
                sent.word.set_result(None if sent.seen is None else sent.seen[1])

    # ---- sending

    async def _send(self, name: str, sent: _Sent, before: asyncio.Future[Receipt] | None) -> None:
        try:
            async with asyncio.timeout(PATIENCE_S):
                if before is not None and not before.done():
                    await asyncio.wait((before,))
                receipt = await self._answer_to(sent)
                # What was done is seen before it is answered, here as on the writer.
                await self._shown(receipt.seq)
            _settle(sent.done, receipt)
        except TimeoutError:
            _settle(sent.done, JournalFailed(NO_WORD if sent.asked else NOBODY))
        except RoomlinkError as error:
            _settle(sent.done, error)
        finally:
            self._sent.pop(name, None)
            _settle(sent.done, JournalFailed("the service is stopping"))

    async def _answer_to(self, sent: _Sent) -> Receipt:
        while True:
            if sent.word.done():
                if (found := sent.word.result()) is not None:
                    return found
                self._anew(sent)
            if self._leads():
                sent.asked = True
                return await self._own(decode_command(sent.data["command"]), sent.data["key"], sent.data["digest"])
            asking = self._loop.create_task(self._relay.ask(sent.data))
            # Until somebody says no nobody knows; asking again is safe: a writer knows by its name what it has taken.
            before, sent.asked = sent.asked, True
            try:
                await asyncio.wait((asking, sent.word), return_when=asyncio.FIRST_COMPLETED)
                if not sent.word.done():
                    return _receipt(await asking)
            except NotTaken:
                sent.asked = before
                await asyncio.sleep(AGAIN_S)
            except Unanswered:
                pass
            finally:
                _drop(asking)

    def _anew(self, sent: _Sent) -> None:
        """From here on it is for a writer whose term this node has seen: none before has done it, or will."""
        sent.place, sent.seen, sent.word, sent.asked = self._place(), None, self._loop.create_future(), False
        sent.data["place"] = sent.place

    async def _send_surely(self, command: Command) -> None:
        while not self._ended:
            try:
                await self.put(command)
                return
            except JournalFailed:
                await asyncio.sleep(AGAIN_S)
            except RoomlinkError as error:
                log.error("refused", command=type(command).__name__, error=str(error))
                return

    def _keep(self, work: Coroutine[Any, Any, None]) -> None:
        task = self._loop.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def close(self) -> None:
        self._ended = True
        await ended(*self._tasks)


def _order(command: Command) -> str:
    """Whose commands are carried out one after the other; empty where nobody holds anything."""
    return str(getattr(command, "holder", None) or command.by.holder or "")


def _receipt(answer: Data) -> Receipt:
    if (error := decode_error(answer)) is not None:
        raise error
    return Receipt(answer["seq"], answer["reply"])


def _reply(entry: Entry) -> dict[str, Any]:
    """What the writer most likely answered, where its answer was lost."""
    told = next((event.reply for event in entry.events if isinstance(event, Answered)), None)
    zones = {zone for event in entry.events if isinstance(zone := getattr(event, "zone", None), str)}
    return {"zones": sorted(zones)} if told is None else {name: v for name, v in told.items() if name != "seq"}


def _drop(asking: asyncio.Task[Data]) -> None:
    """Wait for it no more; its error, if it has one, was told or comes too late to matter."""
    asking.cancel()
    asking.add_done_callback(lambda task: task.cancelled() or task.exception())


def _settle(done: asyncio.Future[Receipt], found: Receipt | Exception) -> None:
    with contextlib.suppress(asyncio.InvalidStateError):
        if isinstance(found, Receipt):
            done.set_result(found)
        else:
            done.set_exception(found)
            done.exception()  # whoever asked may be gone
