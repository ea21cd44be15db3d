"""The single writer: commands in, durable entries out, then everyone is told.

    submit ─▶ Engine.take (ahead) ─▶ Committer (disk) ─▶ Engine.committed (durable) ─▶ reply, then hub

Everything here runs in the event loop's thread, but for the committer's worker, which only ever sees entries.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import structlog

from roomlink import limits
from roomlink.core import snapshot
from roomlink.core.commands import Command, LetGo
from roomlink.core.events import Entry, HoldEnded, Noticed
from roomlink.core.state import State
from roomlink.errors import CallerFault, JournalFailed
from roomlink.journal.committer import Committer
from roomlink.journal.port import Journal, Snapshot
from roomlink.runtime import touch as touches
from roomlink.runtime.clock import Clock, Timer
from roomlink.runtime.engine import Engine
from roomlink.runtime.hub import Hub
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.safety import WAKE, WAKE_COMMAND, Subject, safe_part, subject, towards_safe
from roomlink.runtime.spacing import Spaced

log = structlog.get_logger("roomlink")

RETRY_S = 0.25


@dataclass(frozen=True, slots=True)
class Receipt:
    """A command carried out, durably: ``seq`` is the journal position at which it is."""

    seq: int
    reply: Mapping[str, Any]


@dataclass(slots=True)
class _Waiting:
    """Someone waits for position ``seq`` since the stamp ``asked``."""

    seq: int
    reply: Mapping[str, Any]
    asked: float
    done: asyncio.Future[Receipt]


@dataclass(slots=True)
class _Owed:
    """A command that must become durable. ``seq`` is where it will be; None while a failed disk has not taken it."""

    command: Command
    key: str | None
    digest: str
    asked: float
    dones: list[asyncio.Future[Receipt]]
    seq: int | None = None
    reply: Mapping[str, Any] = field(default_factory=dict)


EntryHook = Callable[[Entry], None]


class Writer:
    """Runs one venue. Call ``start`` in a running event loop, ``stop`` at the end."""

    def __init__(self, state: State, seq: int, journal: Journal, clock: Clock, metrics: Metrics) -> None:
        self.engine = Engine(state, seq)
        self.clock = clock
        self.journal = journal
        self.metrics = metrics
        metrics.seq.set(seq)
        self.hub = Hub(lambda: self.state, lambda: self.engine.seq, clock.stamp, journal.identity, Spaced(clock.stamp))
        self.hooks: list[EntryHook] = []
        """Called with each entry once it is durable: the log, event streams, held things that were let go."""
        self.early: list[EntryHook] = []
        """Called with what goes towards safe as soon as it is decided: devices do not wait for the disk then."""
        self.overdue: list[Callable[[], None]] = []
        """Called before what is due happens: whoever was silent for too long lets go first."""
        self.failure: str | None = None
        """Why the journal did not take the last entry; None while it does."""
        self.may_drive: Callable[[], bool] = lambda: True
        """Asked before anything is sent to a device: whether it is still this service that drives them."""
        self.stopping = False
        """Set once the service was told to stop."""
        metrics.ready.set_function(lambda: float(self.unready is None))
        self.turned: list[Callable[[str | None], None]] = []
        """Called with ``failure`` when the journal begins to fail, and with None when it takes entries again."""
        self._committer: Committer | None = None
        self._waiting: deque[_Waiting] = deque()
        self._timer: Timer | None = None
        self._armed: float | None = None
        self._folds = 0
        self._snapshot_tried, self._snapshot_seq = seq, 0  # none is its own yet: there may be much to replay
        self._snapshotting = False
        self._owed: dict[Subject, _Owed] = {}
        self._retry_timer: Timer | None = None

    def start(self) -> None:
        self._committer = Committer(self.journal, asyncio.get_running_loop().call_soon_threadsafe)
        self._committer.start()
        self._arm()

    async def stop(self, within_s: float | None = None) -> bool:
        """Finish what was submitted. Commands after this are refused.

        Gives False if the disk hung for longer than ``within_s``: the journal must then be left open.
        """
        for timer in (self._timer, self._retry_timer):
            if timer is not None:
                timer.cancel()
        committer, self._committer = self._committer, None
        return committer is None or await asyncio.to_thread(committer.stop, within_s)

    def let_down(self, why: str) -> None:
        """After ``stop``: whoever still waits hears that nothing of it was stored. ``start`` may follow."""
        waiting, self._waiting = self._waiting, deque()
        owed, self._owed = self._owed, {}
        for done in (*(one.done for one in waiting), *(done for one in owed.values() for done in one.dones)):
            if not done.done():
                done.set_exception(JournalFailed(why))
        self._folds += 1
        self._armed = self._timer = self._retry_timer = None

    @property
    def stopped(self) -> bool:
        """Whether no more commands are taken."""
        return self._committer is None

    @property
    def unready(self) -> str | None:
        """Why commands cannot be carried out now; None while they can."""
        if self.stopping or self.stopped:
            return "the service is stopping"
        if not self.state.digest:
            return "no configuration has been taken yet"
        return None if self.failure is None else f"the journal takes nothing: {self.failure}"

    @property
    def state(self) -> State:
        """The durable state: all that anybody may see."""
        return self.engine.durable

    async def submit(self, command: Command, key: str | None = None, digest: str = "") -> Receipt:
        """Carry out a command; returns when it is durable. Raises ``CallerFault``, or ``JournalFailed``."""
        return await self.put(command, key, digest)

    @property
    def owing(self) -> bool:
        """Whether something that must become durable is not yet."""
        return bool(self._owed)

    def put(self, command: Command, key: str | None = None, digest: str = "") -> asyncio.Future[Receipt]:
        """Decide a command now; the future is done when it is durable. Raises ``CallerFault`` at once.

        What goes towards safe is acted on at once and never lost to a failing disk: its future then waits longer.
        """
        if self._committer is None:
            raise JournalFailed("the service is stopping and takes no more commands")
        done: asyncio.Future[Receipt] = asyncio.get_running_loop().create_future()
        if towards_safe(command):
            self._owe(_Owed(command, key, digest, self.clock.stamp(), [done]))
            return done
        self._pay()  # an order must not be decided before what is owed
        now = self.clock.stamp()
        self._wake(now)
        taken = self.engine.take(command, now, key, digest)
        if taken.seq <= self.engine.seq:
            done.set_result(Receipt(taken.seq, taken.reply))
        else:
            self._waiting.append(_Waiting(taken.seq, taken.reply, now, done))
            self._commit(taken.entry)
        self._arm()
        return done

    def surely(self, command: Command) -> None:
        """Carry out what must not be lost to a failing disk: tried again until it is durable or the service stops.

        A newer word about the same thing (``safety.subject``) replaces one that is still waiting.
        """
        if self._committer is None:
            return
        try:
            self._owe(_Owed(command, None, "", self.clock.stamp(), []))
        except CallerFault as error:
            log.error("refused", command=type(command).__name__, error=str(error))

    def _owe(self, owed: _Owed) -> None:
        """Decide it, and remember it until it is durable. Raises ``CallerFault`` with nothing owed."""
        self._pay()
        older = self._owed.get(subject(owed.command))
        self._decide_owed(owed)
        if older is not None:
            owed.dones += older.dones
        if owed.seq is not None and owed.seq <= self.engine.seq:
            self._paid(subject(owed.command), owed)
        else:
            self._owed[subject(owed.command)] = owed
        self._arm()

    def _decide_owed(self, owed: _Owed) -> None:
        now = self.clock.stamp()
        # Letting go counts as of an earlier stamp: what was held must not go on first with what was due since.
        if owed.command is not WAKE_COMMAND and not isinstance(owed.command, LetGo):
            self._wake(now)
        taken = self.engine.take(owed.command, now, owed.key, owed.digest)
        owed.seq, owed.reply = taken.seq, taken.reply
        if taken.entry is not None:
            self._commit(taken.entry)
            if towards_safe(owed.command):
                self._tell(self.early, taken.entry)

    def _pay(self) -> None:
        """Try again what a failing disk has not taken, in the order in which it was asked for."""
        for name, owed in list(self._owed.items()):
            if owed.seq is None:
                try:
                    self._decide_owed(owed)
                except CallerFault as error:
                    log.error("refused", command=type(owed.command).__name__, error=str(error))
                    self._paid(name, owed, error)
                    continue
                self._settle(name, owed)

    def _settle(self, name: Subject, owed: _Owed) -> None:
        """It is paid if there is nothing (more) to make durable for it."""
        if owed.seq is not None and owed.seq <= self.engine.seq:
            self._paid(name, owed)

    def _paid(self, name: Subject, owed: _Owed, error: Exception | None = None) -> None:
        if self._owed.get(name) is owed:
            del self._owed[name]
        for done in owed.dones:
            if not done.done() and error is None:
                self.metrics.command_seconds.observe(self.clock.stamp() - owed.asked)
                done.set_result(Receipt(owed.seq or 0, owed.reply))
            elif not done.done() and error is not None:
                done.set_exception(error)

    def _retry(self) -> None:
        self._retry_timer = None
        if self._committer is not None:
            self._pay()
            self._arm()

    def _wake(self, now: float) -> None:
        """Let happen what is due. What of it goes towards safe is acted on at once, and owed like an order."""
        if (first := self.engine.deadline) is not None and first <= now:
            for check in self.overdue:
                check()
        try:
            entry = self.engine.wake(now)
        except Exception as error:  # what is due must not keep a person's stop from being taken
            log.error("what was due could not be decided", error=repr(error))
            return
        if entry is None:
            return
        self._commit(entry)
        part = safe_part(entry)
        if part is not None:
            self._owed[WAKE] = _Owed(WAKE_COMMAND, None, "", now, [], entry.seq)
            self._tell(self.early, part)
        self._arm()  # the command that brought this about may be refused

    def _tell(self, hooks: list[EntryHook], entry: Entry) -> None:
        """One that fails must not keep the others from hearing."""
        for hook in hooks:
            try:
                hook(entry)
            except Exception:
                log.exception("a hook failed", seq=entry.seq)

    def _commit(self, entry: Entry | None) -> None:
        if entry is None or self._committer is None:
            return
        folds = self._folds
        self._committer.submit(entry, lambda error: self._answered(entry, folds, error))

    def _answered(self, entry: Entry, folds: int, error: Exception | None) -> None:
        if error is not None:
            if folds == self._folds:
                self._fold_again(error)
            return
        self._turn(None)
        self.show(entry)
        if entry.seq - self._snapshot_tried >= limits.SNAPSHOT_ENTRIES:
            self.save_snapshot()

    def show(self, entry: Entry) -> None:
        """``entry``, the next one, is durable: let all who wait for it and all whom it concerns know."""
        touch = touches.before(self.engine.durable, entry.events)
        self.engine.committed(entry)
        touches.spread(touch, self.engine.durable)
        now, took = self.clock.stamp(), []
        while self._waiting and self._waiting[0].seq <= entry.seq:
            waiting = self._waiting.popleft()
            took.append(now - waiting.asked)
            if not waiting.done.done():
                waiting.done.set_result(Receipt(waiting.seq, waiting.reply))
        for name, owed in list(self._owed.items()):
            self._settle(name, owed)
        controller = entry.did.get("controller")
        self.hub.publish(entry.seq, touch, controller if isinstance(controller, str) else None)
        self._tell(self.hooks, entry)
        # What nobody waits for comes last.
        for seconds in took:
            self.metrics.command_seconds.observe(seconds)
        self.metrics.entry(entry)
        self._log(entry)

    def _log(self, entry: Entry) -> None:
        kinds = sorted({type(event).__name__ for event in entry.events})
        did = {k: v for k, v in entry.did.items() if k != "command"}
        said = entry.did.get("command", "entry")
        log.info(said, seq=entry.seq, who=entry.who, via=entry.via, events=kinds, did=did)
        for event in entry.events:
            if isinstance(event, Noticed):
                log.warning("noticed", seq=entry.seq, text=event.text)
            elif isinstance(event, HoldEnded):
                log.debug("let go", hold=event.hold, zones=event.zones, why=event.why)

    def _fold_again(self, error: Exception) -> None:
        """All that was decided and not stored never happened; whoever waits for it is told."""
        self._folds += 1
        self.engine.lost()
        self.metrics.journal_failed()
        log.error("journal failed", error=str(error), lost=len(self._waiting))
        waiting, self._waiting = self._waiting, deque()
        for one in waiting:
            if not one.done.done():
                one.done.set_exception(JournalFailed(str(error)))
        for owed in self._owed.values():
            owed.seq = None
        if self._committer is not None:
            self._committer.resume()
            if self._owed and self._retry_timer is None:
                self._retry_timer = self.clock.call_at(self.clock.stamp() + RETRY_S, self._retry)
        self._turn(str(error))
        # What was due is due again, but not at once: a disk that fails needs no storm.
        self._arm(not_before=self.clock.stamp() + 1.0)

    def _turn(self, failure: str | None) -> None:
        turned = (failure is None) != (self.failure is None)
        self.failure = failure
        if turned:
            for hook in self.turned:
                # Not from within an answer of the journal: what they ask for comes after it.
                asyncio.get_running_loop().call_soon(hook, failure)

    def _arm(self, not_before: float = 0.0) -> None:
        first = None if (due := self.engine.deadline) is None else max(due, not_before)
        if first == self._armed:
            return
        if self._timer is not None:
            self._timer.cancel()
        self._armed = first
        self._timer = None if first is None else self.clock.call_at(first, self._due)

    def _due(self) -> None:
        self._armed = self._timer = None
        if self._committer is not None:
            self._wake(self.clock.stamp())
            self._arm()

    async def chore(self, run: Callable[[], bool]) -> bool:
        """Let the journal's worker do what takes a few milliseconds, between entries. Raises ``JournalFailed``."""
        if self._committer is None:
            raise JournalFailed("the service is stopping and does no more chores")
        found: list[bool] = []
        ended: asyncio.Future[Exception | None] = asyncio.get_running_loop().create_future()
        self._committer.submit_chore(lambda: found.append(run()), ended.set_result)
        if (error := await asyncio.shield(ended)) is not None:
            raise error
        return found[0]

    def save_snapshot(self) -> None:
        """Take a snapshot of the durable state; it is made and stored in the journal's worker."""
        if self._snapshotting or self._committer is None or self.engine.seq == self._snapshot_seq:
            return
        state, seq, at = self.engine.durable.copy(), self.engine.seq, self.clock.stamp()
        self._snapshotting, self._snapshot_tried = True, seq

        def done(error: Exception | None) -> None:
            self._snapshotting = False
            if error is None:
                self._snapshot_seq = seq
            else:
                log.warning("snapshot failed", error=str(error))

        self._committer.submit_snapshot(lambda: Snapshot(seq, at, tuple(snapshot.snapshot(state))), done)
