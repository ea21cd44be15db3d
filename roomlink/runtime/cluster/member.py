"""A venue on one of several nodes: the writer while it leads, and else a follower that sends commands to the writer.

    following   stream ─▶ heard ─▶ the same hub, panels and hooks        put ─▶ relay ─▶ the writer
    leading     put ─▶ decide ─▶ stream (expecting what is newest) ─▶ hub

A follower's commands carry a name. Who sees an entry with it in the stream knows that it was carried out, and who sees
the term of a new writer first knows that it never will be: so nothing is lost, and nothing is done twice.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid4

import structlog

from roomlink.core.act import HELD
from roomlink.core.apply import apply
from roomlink.core.commands import Act, Command
from roomlink.core.events import Entry
from roomlink.core.state import State
from roomlink.errors import JournalFailed, RoomlinkError
from roomlink.journal.jetstream import JetStreamJournal, Rewound
from roomlink.journal.recovery import fold
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.cluster.codec import NotTaken, decode_command, decode_error, encode_command, encode_error
from roomlink.runtime.cluster.relay import Data, Relay, Unanswered
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.touch import Touch
from roomlink.runtime.writer import Receipt, Writer

log = structlog.get_logger("roomlink")

PATIENCE_S = 6.0
"""How long a command waits for a writer, or for word of what became of it."""
AGAIN_S = 0.03
FINISH_S = 6.0
"""How long what was taken may take to become durable, or lost, when another is to write."""


@dataclass(slots=True)
class _Sent:
    """A command on its way: ``term`` was the writer's when it was last sent."""

    data: Data
    done: asyncio.Future[Receipt]
    term: str
    seen: Receipt | None = None


class Member(Writer):
    """Call ``follow`` in a running event loop; ``lead`` and ``follow`` again as the lease comes and goes."""

    def __init__(
        self, state: State, seq: int, journal: JetStreamJournal, clock: SystemClock, metrics: Metrics, relay: Relay
    ) -> None:
        super().__init__(state, seq, journal, clock, metrics)
        self.relay = relay
        self.leading = False
        self.may_lead: Callable[[], bool] = lambda: True
        """Whether the lease still holds at this very moment."""
        self.may_drive = lambda: self.leading and self.may_lead()
        self.held_elsewhere: Callable[[str], None] = lambda holder: None
        """Called with a holder on another node when it holds something."""
        self._journal, self._clock = journal, clock
        self._loop = asyncio.get_running_loop()
        self._sent: dict[str, _Sent] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self._ended = False
        self._news = asyncio.Event()

    # ---- following

    def follow(self) -> None:
        """Show what another node writes, from where this one stands."""
        self.engine.follow()
        self.hub.publish(self.engine.seq, Touch(fresh=True))
        self._journal.follow(lambda news: self._loop.call_soon_threadsafe(self._heard, news))

    def _heard(self, news: list[Entry] | Rewound) -> None:
        if isinstance(news, Rewound):
            self._keep(self._fold_anew())
            return
        for entry in news:
            if entry.seq != self.engine.seq + 1:
                continue  # taken over meanwhile
            self._clock.anchor(entry.at)
            self.show(entry)
            self._answer_sent(entry)
        self._news.set()

    async def _fold_anew(self) -> None:
        """What was shown last was voided: begin again from what counts."""
        await asyncio.to_thread(self._journal.unfollow)
        state, seq, _ = await asyncio.to_thread(fold, self._journal, empty=State, apply=apply)
        self.engine.durable, self.engine.seq = state, seq
        self.follow()

    async def _shown(self, seq: int) -> None:
        while self.engine.seq < seq:
            self._news.clear()
            await self._news.wait()

    def _answer_sent(self, entry: Entry) -> None:
        """A command of ours is in the journal, whether its answer comes or not."""
        sent = self._sent.get(str(entry.did.get("request", "")))
        if sent is not None:
            sent.seen = Receipt(entry.seq, {"zones": []})

    def keep_time(self, stamp: float) -> None:
        """The writer's stamp is this now: what is shown as moving is shown by its clock, not by ours."""
        self._clock.follow(stamp)

    # ---- commands

    @property
    def term(self) -> str:
        """The newest writer's."""
        return self._journal.term

    @property
    def asking(self) -> bool:
        """Whether commands of this node wait for the writer."""
        return bool(self._sent)

    @property
    def stopped(self) -> bool:
        return self._ended

    @property
    def unready(self) -> str | None:
        if self.leading or self.stopping or not self.state.digest:
            return super().unready
        return None

    def put(self, command: Command, key: str | None = None, digest: str = "") -> asyncio.Future[Receipt]:
        if self._ended:
            raise JournalFailed("the service is stopping and takes no more commands")
        if self.leading:
            if self.may_lead():
                return super().put(command, key, digest)
            raise JournalFailed("this node cannot reach the journal in time, and another may write by now: ask again")
        done: asyncio.Future[Receipt] = self._loop.create_future()
        name = uuid4().hex
        named = replace(command, by=replace(command.by, request=name))
        data = {"command": encode_command(named), "key": key, "digest": digest, "name": name}
        self._sent[name] = _Sent(data, done, self._journal.term)
        self._keep(self._send(name))
        return done

    def surely(self, command: Command) -> None:
        if self.leading:
            super().surely(command)
        elif not self._ended:
            self._keep(self._send_surely(command))

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

    async def _send(self, name: str) -> None:
        sent = self._sent[name]
        try:
            async with asyncio.timeout(PATIENCE_S):
                receipt = await self._until_answered(sent)
                # What was done is seen before it is answered, here as on the writer.
                await self._shown(receipt.seq)
            _settle(sent.done, receipt)
        except TimeoutError:
            text = "no node writes the venue now; nothing was done"
            if sent.seen is None and sent.data.get("asked"):
                text = "no answer came from the node that writes: look whether it was done before asking again"
            _settle(sent.done, JournalFailed(text))
        except RoomlinkError as error:
            _settle(sent.done, error)
        finally:
            self._sent.pop(name, None)

    async def _until_answered(self, sent: _Sent) -> Receipt:
        while True:
            if self.leading:
                return await self._own(sent)
            sent.term = self._journal.term
            sent.data["until"] = self.clock.stamp() + PATIENCE_S
            try:
                answer = await self.relay.ask(sent.data)
            except NotTaken:
                await asyncio.sleep(AGAIN_S)
                continue
            except Unanswered:
                sent.data["asked"] = True
                if (receipt := await self._became_of(sent)) is not None:
                    return receipt
                continue
            if (error := decode_error(answer)) is not None:
                raise error
            return Receipt(answer["seq"], answer["reply"])

    async def _own(self, sent: _Sent) -> Receipt:
        """This node has become the writer: what it had sent and is not in the journal it carries out itself."""
        return sent.seen or await self.put(decode_command(sent.data["command"]), sent.data["key"], sent.data["digest"])

    async def _became_of(self, sent: _Sent) -> Receipt | None:
        """Wait for word in the stream: the entry, or a new writer's term, after which it surely never comes (None)."""
        while True:
            if sent.seen is not None:
                return sent.seen
            if self._journal.term != sent.term or self.leading:
                return None
            await asyncio.sleep(AGAIN_S)

    def take(self, data: Data, reply: Callable[[Data], None]) -> None:
        """As the writer: carry out what another node asks."""
        if not self.leading or not self.may_lead() or data["until"] < self.clock.stamp():
            reply({"not-taken": True})
            return
        try:
            command = decode_command(data["command"])
            done = super().put(command, data["key"], data["digest"])
        except RoomlinkError as error:
            reply(encode_error(error))
            return
        if isinstance(command, Act) and command.do in HELD and command.by.holder:
            self.held_elsewhere(command.by.holder)

        def answer(done: asyncio.Future[Receipt]) -> None:
            error = done.exception()
            if error is None:
                receipt = done.result()
                reply({"seq": receipt.seq, "reply": dict(receipt.reply)})
            elif isinstance(error, RoomlinkError):
                reply(encode_error(error))

        done.add_done_callback(answer)

    # ---- leading

    async def lead(self) -> None:
        """Become the writer. Raises ``JournalFailed`` where that cannot be; ``follow`` goes on then."""
        await asyncio.to_thread(self._journal.unfollow)
        self._heard(await asyncio.to_thread(self._journal.take_over, uuid4().hex))
        self.engine.lost()
        self.leading = True
        self.start()
        await self.relay.answer(self.take)

    async def lead_no_more(self) -> bool:
        """Be no longer the writer: what was taken is finished or told as lost, and new commands wait for the next one.

        Call ``follow`` afterwards. Gives False where the journal does not come back from what it is at.
        """
        self.leading = False
        whole = await super().stop(FINISH_S)
        self.let_down("another node writes the venue now; ask again")
        # To the very end what others ask is answered: not taken.
        await self.relay.answer_no_more()
        return whole

    async def stop(self, within_s: float | None = None) -> bool:
        self._ended = True
        for task in tuple(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await asyncio.to_thread(self._journal.unfollow)
        return await super().stop(within_s)

    def _keep(self, work: Any) -> None:
        task = self._loop.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


def _settle(done: asyncio.Future[Receipt], found: Receipt | Exception) -> None:
    with contextlib.suppress(asyncio.InvalidStateError):
        if isinstance(found, Receipt):
            done.set_result(found)
        else:
            done.set_exception(found)
