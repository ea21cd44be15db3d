"""The single writer: commands in, durable entries out, then everyone is told.

    submit ─▶ Engine.take (ahead) ─▶ Committer (disk) ─▶ Engine.committed (durable) ─▶ reply, then hub

Everything here runs in the event loop's thread, but for the committer's worker, which only ever sees entries.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import structlog

from roomlink import limits
from roomlink.core import snapshot
from roomlink.core.act import SAFE
from roomlink.core.commands import Act, Command, LetGo, ReportDevice, ReportOverride, StopMotion, Unlink
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

log = structlog.get_logger("roomlink")

RETRY_S = 0.25


def towards_safe(command: Command) -> bool:
    """Whether devices act on a command before it is durable: what stops, lets go, or masks."""
    if isinstance(command, Act):
        return command.do in SAFE
    if isinstance(command, ReportOverride):
        return command.active
    return isinstance(command, LetGo | ReportDevice | StopMotion | Unlink)


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


EntryHook = Callable[[Entry], None]


class Writer:
    """Runs one venue. Call ``start`` in a running event loop, ``stop`` at the end."""

    def __init__(self, state: State, seq: int, journal: Journal, clock: Clock, metrics: Metrics) -> None:
        self.engine = Engine(state, seq)
        self.clock = clock
        self.journal = journal
        self.metrics = metrics
        metrics.seq.set(seq)
        self.hub = Hub(lambda: self.engine.durable, lambda: self.engine.seq, clock.stamp, journal.identity)
        self.hooks: list[EntryHook] = []
        """Called with each entry once it is durable: the log, event streams, held things that were let go."""
        self.early: list[EntryHook] = []
        """Called with what goes towards safe as soon as it is decided: devices do not wait for the disk then."""
        self.failure: str | None = None
        """Why the journal did not take the last entry; None while it does."""
        self._committer: Committer | None = None
        self._waiting: deque[_Waiting] = deque()
        self._timer: Timer | None = None
        self._armed: float | None = None
        self._folds = 0
        self._snapshot_seq = self._snapshot_tried = seq
        self._snapshotting = False
        self._chores: set[asyncio.Task[None]] = set()

    def start(self) -> None:
        self._committer = Committer(self.journal, asyncio.get_running_loop().call_soon_threadsafe)
        self._committer.start()
        self._arm()

    async def stop(self) -> None:
        """Finish what was submitted. Commands after this are refused."""
        if self._timer is not None:
            self._timer.cancel()
        committer, self._committer = self._committer, None
        if committer is not None:
            await asyncio.to_thread(committer.stop)

    @property
    def stopped(self) -> bool:
        """Whether no more commands are taken."""
        return self._committer is None

    @property
    def state(self) -> State:
        """The durable state: all that anybody may see."""
        return self.engine.durable

    async def submit(self, command: Command, key: str | None = None, digest: str = "") -> Receipt:
        """Carry out a command; returns when it is durable. Raises ``CallerFault``, or ``JournalFailed``."""
        return await self.put(command, key, digest)

    def put(self, command: Command, key: str | None = None, digest: str = "") -> asyncio.Future[Receipt]:
        """Decide a command now; the future is done when it is durable. Raises ``CallerFault`` at once."""
        if self._committer is None:
            raise JournalFailed("the service is stopping and takes no more commands")
        now = self.clock.stamp()
        self._commit(self.engine.wake(now))
        taken = self.engine.take(command, now, key, digest)
        done: asyncio.Future[Receipt] = asyncio.get_running_loop().create_future()
        if taken.seq <= self.engine.seq:
            done.set_result(Receipt(taken.seq, taken.reply))
        else:
            self._waiting.append(_Waiting(taken.seq, taken.reply, now, done))
            self._commit(taken.entry)
            if taken.entry is not None and towards_safe(command):
                for hook in self.early:
                    hook(taken.entry)
        self._arm()
        return done

    def surely(self, command: Command) -> None:
        """Carry out what must not be lost to a failing disk: try again until it is durable or the service stops."""
        task = asyncio.get_running_loop().create_task(self._surely(command))
        self._chores.add(task)
        task.add_done_callback(self._chores.discard)

    async def _surely(self, command: Command) -> None:
        while not self.stopped:
            try:
                await self.put(command)
                return
            except CallerFault as error:
                log.error("refused", command=type(command).__name__, error=str(error))
                return
            except JournalFailed as error:
                log.error("not stored yet", command=type(command).__name__, error=str(error))
                await asyncio.sleep(RETRY_S)

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
        touch = touches.before(self.engine.durable, entry.events)
        self.engine.committed(entry)
        self.failure = None
        touches.spread(touch, self.engine.durable)
        while self._waiting and self._waiting[0].seq <= entry.seq:
            waiting = self._waiting.popleft()
            self.metrics.command_seconds.observe(self.clock.stamp() - waiting.asked)
            if not waiting.done.done():
                waiting.done.set_result(Receipt(waiting.seq, waiting.reply))
        self.hub.publish(entry.seq, touch)
        for hook in self.hooks:
            hook(entry)
        self.metrics.entry(entry)
        self._log(entry)
        if entry.seq - self._snapshot_tried >= limits.SNAPSHOT_ENTRIES:
            self.save_snapshot()

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
        self.failure = str(error)
        self.engine.lost()
        self.metrics.journal_failed()
        log.error("journal failed", error=str(error), lost=len(self._waiting))
        waiting, self._waiting = self._waiting, deque()
        for one in waiting:
            if not one.done.done():
                one.done.set_exception(JournalFailed(str(error)))
        if self._committer is not None:
            self._committer.resume()
        # What was due is due again, but not at once: a disk that fails needs no storm.
        self._arm(not_before=self.clock.stamp() + 1.0)

    def _arm(self, not_before: float = 0.0) -> None:
        first = self.engine.deadline
        if first is not None:
            first = max(first, not_before)
        if first == self._armed:
            return
        if self._timer is not None:
            self._timer.cancel()
        self._armed = first
        self._timer = None if first is None else self.clock.call_at(first, self._due)

    def _due(self) -> None:
        self._armed = self._timer = None
        if self._committer is not None:
            self._commit(self.engine.wake(self.clock.stamp()))
            self._arm()

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
