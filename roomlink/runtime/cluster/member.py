"""A venue on one of several nodes: the writer while it leads, and else a follower that sends commands to the writer.

    following   stream ─▶ heard ─▶ the same hub, panels and hooks        put ─▶ relay ─▶ the writer
    leading     put ─▶ decide ─▶ stream (expecting what is newest) ─▶ hub

What becomes of a follower's commands is in ``sending.py``.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from uuid import uuid4

import structlog

from roomlink.core.act import HELD
from roomlink.core.apply import apply
from roomlink.core.commands import Act, Command
from roomlink.core.events import Entry
from roomlink.core.state import State
from roomlink.errors import JournalDamaged, JournalFailed, RoomlinkError
from roomlink.journal.jetstream import Heard, JetStreamJournal, Rewound
from roomlink.journal.recovery import fold
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.cluster.codec import decode_command, encode_error
from roomlink.runtime.cluster.relay import Data, Relay
from roomlink.runtime.cluster.sending import Sending
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.safety import towards_safe
from roomlink.runtime.touch import Touch
from roomlink.runtime.writer import Receipt, Writer

log = structlog.get_logger("roomlink")

FINISH_S = 6.0
"""How long what was taken may take to become durable, or lost, when another is to write."""
AGAIN_S = 0.2
ALONE_S = 3.0
"""After so long without a sign of life of the writer a follower says that what it shows may be old."""
KNOWN_S = 2.0
"""So long after nobody waits for a command any more a writer still knows that it has taken it."""
NOT_TAKEN: Data = {"not-taken": True}


def _running() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


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
        self._place = journal.place
        self._termed = 0
        self.last_word = 0.0
        """The newest stamp that the writer is known to have given, while this node follows."""
        self._heard_at = _running()
        self.sending = Sending(relay, super().put, self.may_drive, self._shown, lambda: self._place, clock.stamp)
        self.broken = ""
        """Why this node can neither follow nor lead: it does not understand what is written."""
        self.broke: Callable[[], None] = lambda: None
        """Called when ``broken`` is set."""
        self.replaced: Callable[[], None] = lambda: None
        """Called where this node leads, and the stream has gone on without it."""
        self._folding: asyncio.Task[None] | None = None
        self._follows = False
        self._told_seq = 0
        """How far the writer was when its last pulse was heard."""
        self._taken: dict[str, tuple[float, asyncio.Future[Receipt]]] = {}
        """What other nodes asked of this writer, by name, until nobody waits for it any more."""
        self._ended = False
        self._news = asyncio.Event()

    # ---- following

    def follow(self) -> None:
        """Show what another node writes, from where this one stands."""
        self.engine.follow()
        self._place = self._journal.place
        self._turn(None)
        self.hub.publish(self.engine.seq, Touch(fresh=True))
        self._follows = True
        self._journal.follow(lambda news: self._loop.call_soon_threadsafe(self._heard, news))

    async def _follow_no_more(self) -> None:
        """From here on nothing of the stream is heard, and the journal is this task's alone."""
        self._follows = False
        if self._folding is not None:
            await asyncio.wait((self._folding,))
        await asyncio.to_thread(self._journal.unfollow)

    def _heard(self, news: Heard) -> None:
        if isinstance(news, JournalDamaged):
            self._break(news)
        elif isinstance(news, Rewound):
            self._begin_again()
        else:
            self._place = news.place
            self._termed = news.place if news.term else self._termed
            self._take_in(news.entries, news.place)
            self.sending.message(news.place, term=news.term)
            if news.entries and self.engine.seq < news.entries[-1].seq:
                self._begin_again()  # some are missing, and would be for ever

    def _take_in(self, entries: list[Entry], place: int) -> None:
        for entry in entries:
            if entry.seq != self.engine.seq + 1:
                continue  # taken over meanwhile
            self._clock.anchor(entry.at)
            self.last_word, self._heard_at = max(entry.at, self.last_word), _running()
            self.show(entry)
            self.sending.entry(entry, place)
        self._news.set()

    def _break(self, why: Exception) -> None:
        """What is written cannot be read here: better nothing is told than what is old, and others must lead."""
        self.broken = str(why)
        log.error("this node cannot follow its venue", error=self.broken)
        self.broke()

    def _begin_again(self) -> None:
        """Fold again and follow from there; whoever takes over meanwhile does that itself."""
        if self._follows and (self._folding is None or self._folding.done()):
            self._folding = self._loop.create_task(self._fold_anew())

    async def _fold_anew(self) -> None:
        """What was shown last counts no more: begin again from what does, however long the servers take to tell."""
        while self._follows:
            try:
                await asyncio.to_thread(self._journal.unfollow)
                await self._read_anew()
            except JournalDamaged as error:
                self._break(error)
                return
            except Exception as error:
                log.warning("not read again yet", error=repr(error))
                await asyncio.sleep(AGAIN_S)
            else:
                break
        if self._follows:
            self.follow()

    async def _read_anew(self) -> None:
        """Stand before the first message that is still to be followed; what comes after it is heard as ever."""
        await asyncio.to_thread(self._journal.read_anew)
        self.sending.rewound()
        state, seq, _ = await asyncio.to_thread(fold, self._journal, empty=State, apply=apply)
        self.engine.durable, self.engine.seq = state, seq
        self.engine.follow()

    async def _shown(self, seq: int) -> None:
        while self.engine.seq < seq:
            self._news.clear()
            await self._news.wait()

    def keep_time(self, stamp: float, seq: int = 0) -> None:
        """The writer's stamp is this now, and its position ``seq``: what moves is shown by its clock, not by ours.

        Whoever has not come by now to where the writer was a pulse ago shows what is old, whatever it hears.
        """
        self._clock.follow(stamp)
        self.last_word = max(stamp, self.last_word)
        behind = self.engine.seq < self._told_seq
        self._journal.behind(behind)
        if not behind:
            self._heard_at = _running()
        self._told_seq = seq

    # ---- commands

    @property
    def term(self) -> int:
        """The place of the newest writer's term that this node followed past; 0: none yet."""
        return self._termed

    @property
    def alone(self) -> bool:
        """Whether this node follows, and has not heard of its writer for long."""
        return not self.leading and not self.stopping and _running() - self._heard_at > ALONE_S

    @property
    def stopped(self) -> bool:
        return self._ended

    @property
    def unready(self) -> str | None:
        if self.broken:
            return self.broken
        if self.leading or self.stopping or not self.state.digest:
            return super().unready
        return "nothing is heard of a node that writes the venue" if self.alone else None

    def put(self, command: Command, key: str | None = None, digest: str = "") -> asyncio.Future[Receipt]:
        if self._ended:
            raise JournalFailed("the service is stopping and takes no more commands")
        if not self.leading or self.sending.waits(command):
            return self.sending.put(command, key, digest)
        if self.may_lead():
            return super().put(command, key, digest)
        if towards_safe(command):
            return self.sending.put(command, key, digest)  # for whoever writes next: a stop is never refused
        raise JournalFailed("this node cannot reach the journal in time, and another may write by now: ask again")

    def surely(self, command: Command) -> None:
        if self.leading and not self.sending.waits(command):
            super().surely(command)
        else:
            self.sending.surely(command)

    def take(self, data: Data, reply: Callable[[Data], None]) -> None:
        """As the writer: carry out what another node asks."""
        if not self.may_lead():
            return  # another may have been asked as well, and may do it: a no of ours would have it done twice
        now = self.clock.stamp()
        while self._taken and next(iter(self._taken.values()))[0] < now - KNOWN_S:
            del self._taken[next(iter(self._taken))]
        known = self._taken.get(data["name"])
        if known is not None:
            _answer(known[1], reply)
            return
        if not self.leading or data["place"] < self._journal.term or data["until"] < now:
            reply(NOT_TAKEN)
            return
        try:
            command = decode_command(data["command"])
            done = super().put(command, data["key"], data["digest"])
        except RoomlinkError as error:
            reply(encode_error(error))
            return
        if isinstance(command, Act) and command.do in HELD and command.by.holder:
            self.held_elsewhere(command.by.holder)
        self._taken[data["name"]] = data["until"], done
        _answer(done, reply)

    # ---- leading

    def _turn(self, failure: str | None) -> None:
        super()._turn(failure)
        if failure is not None and self.outrun:
            self.replaced()

    @property
    def outrun(self) -> bool:
        """Whether this node leads, though another has written since."""
        return self.leading and self._journal.lost

    async def lead(self) -> None:
        """Become the writer. Raises ``JournalFailed`` where that cannot be; ``follow`` goes on then.

        Raises ``JournalDamaged`` where what is written cannot be understood here.
        """
        await self._follow_no_more()
        try:
            entries = await asyncio.to_thread(self._journal.take_over, uuid4().hex)
        except Rewound:
            await self._read_anew()
            raise
        except JournalDamaged as error:
            self._break(error)
            raise
        self._take_in(entries, self._journal.place - 1)
        if self.engine.seq != self._journal.last_seq:
            await self._read_anew()  # some were missing here
        self.engine.lost()
        self._taken.clear()
        self.leading = True
        self.sending.led()
        self.start()
        await self.relay.answer(self.take)

    async def lead_no_more(self) -> bool:
        """Be no longer the writer: what was taken is finished or told as lost, and new commands wait for the next one.

        Call ``follow`` afterwards. Gives False where the journal kept this waiting for long.
        """
        self.leading = False
        self.last_word = self.clock.stamp()
        if self.may_lead():
            self._heard_at = _running()  # else another may write for long, and what is shown here is old
        committer = self._committer
        whole = await super().stop(FINISH_S)
        self.let_down("another node writes the venue now: look whether it was done before asking again")
        # To the very end what others ask is answered: not taken.
        await self.relay.answer_no_more()
        while not whole and committer is not None and not await asyncio.to_thread(committer.stop, FINISH_S):
            """Nobody else may touch the journal before."""
        return whole

    async def stop(self, within_s: float | None = None) -> bool:
        self._ended = True
        await self.sending.close()
        with contextlib.suppress(JournalFailed):  # the journal's own thread ends with it
            await self._follow_no_more()
        return await super().stop(within_s)


def _answer(done: asyncio.Future[Receipt], reply: Callable[[Data], None]) -> None:
    """Tell whoever asked what became of it, once that is known."""

    def told(done: asyncio.Future[Receipt]) -> None:
        error = done.exception()
        if error is None:
            receipt = done.result()
            reply({"seq": receipt.seq, "reply": dict(receipt.reply)})
        elif isinstance(error, RoomlinkError):
            reply(encode_error(error))

    done.add_done_callback(told)
