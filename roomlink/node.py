"""A venue on one of several nodes: the whole service on each, and one of them writes.

The journal, the lease and the list of nodes lie in NATS. The configuration that counts is the one in the journal: a
node's folder is taken when the venue is new, and when its writer is told to read it again (SIGHUP).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import structlog

from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Recover, ReportTrouble
from roomlink.core.state import State
from roomlink.errors import JournalFailed
from roomlink.journal.jetstream import JetStreamJournal, Place
from roomlink.journal.recovery import fold
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.cluster.lease import HELD_S, Lease
from roomlink.runtime.cluster.member import Member
from roomlink.runtime.cluster.presence import Presence, Roll
from roomlink.runtime.cluster.relay import Relay
from roomlink.runtime.cluster.seat import Seat
from roomlink.runtime.cluster.shared import Shared
from roomlink.runtime.duties import Duties
from roomlink.runtime.ending import ended
from roomlink.runtime.keeping import Keeping
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import Writer
from roomlink.service import RELOAD, Options, Service, clock_words

log = structlog.get_logger("roomlink")

SPREAD_S, SPREAD_S_MAX = 0.35, 0.7
"""How much longer a node waits for a lease for each venue that it writes already: so nodes share the venues."""
FREE_S, FREE_S_MAX = 0.04, 0.2
"""The same for a lease that its holder let go."""
LEAVE_S = 2.0
"""How long a node that hands over waits for the next writer, so that what its panels asked last is answered."""
WATCH_S = 1.0
"""How often a node looks whether the servers still let it in."""


@dataclass(frozen=True, slots=True)
class Cluster:
    """Where NATS is, who this node is there, and the address under which browsers find it (its own if empty)."""

    servers: tuple[str, ...]
    node: str
    replicas: int = 1
    address: str = ""
    access: Mapping[str, Any] = field(default_factory=dict)
    """How the servers let it in, see ``natsaccess``."""


class Company:
    """What the venues of a process have in common while one is served: a connection, and the list of all nodes."""

    def __init__(self, cluster: Cluster) -> None:
        self._cluster = cluster
        self._lock = asyncio.Lock()
        self._count = 0
        self._open: tuple[Shared, Roll] | None = None
        self.writes: set[str] = set()
        """The venues that this process writes now."""

    def after_s(self, rank: int, free: bool) -> float:
        """How much longer than one that writes nothing this node waits for a further venue, the ``rank``-th of its own.

        Those that become free at once are taken one after the other, so that what it has counts.
        """
        if free:
            return min(FREE_S * (len(self.writes) + rank), FREE_S_MAX)
        return min(SPREAD_S * len(self.writes), SPREAD_S_MAX)

    async def enter(self) -> tuple[Shared, Roll]:
        """Raises ``JournalFailed`` where the servers do not answer."""
        async with self._lock:
            if self._open is None:
                cluster = self._cluster
                shared = await Shared.of(cluster.servers, cluster.node, cluster.replicas, cluster.access)
                self._open = shared, Roll(shared.nodes)
                self._open[1].start()
            self._count += 1
            return self._open

    async def leave(self) -> None:
        async with self._lock:
            self._count -= 1
            if self._count == 0 and self._open is not None:
                (shared, roll), self._open = self._open, None
                await roll.stop()
                await shared.close()


class NodeService(Service):
    """One venue on this node, the ``rank``-th of those of this process."""

    def __init__(self, options: Options, cluster: Cluster, company: Company, rank: int = 0) -> None:
        super().__init__(options)
        self._cluster, self._company, self._rank = cluster, company, rank
        self._leaving: asyncio.Task[None] | None = None
        self._seat: Seat | None = None
        self._shut_out = False

    async def run(self) -> None:
        self._running = asyncio.current_task()
        cluster, venue = self._cluster, self._loaded.spec.id
        place = Place(cluster.servers, cluster.replicas, cluster.node, cluster.access)
        journal = await asyncio.to_thread(JetStreamJournal, place, venue)
        try:
            shared, roll = await self._company.enter()
            try:
                await self._take_part(journal, shared, roll)
            finally:
                await self._company.leave()
        finally:
            await asyncio.to_thread(journal.close)

    async def _take_part(self, journal: JetStreamJournal, shared: Shared, roll: Roll) -> None:
        cluster, venue = self._cluster, self._loaded.spec.id
        state, seq, last = await asyncio.to_thread(fold, journal, empty=State, apply=apply)
        clock = SystemClock()
        clock.anchor(last)
        relay = Relay(shared.client, venue, cluster.node)
        member = Member(state, seq, journal, clock, Metrics(), relay)
        member.last_word = last
        member.metrics.writes(venue, member.may_drive)
        duties = self._duties(member)
        keeping = Keeping(member)
        presence = Presence(shared.nodes, roll, venue, cluster.node, lambda: self._address(), member)
        duties.lookout.elsewhere = presence.panels

        async def begin() -> None:
            await self._begin(member, clock, duties, keeping)

        async def end(orderly: bool) -> None:
            self._company.writes.discard(venue)
            await duties.end(may_write=orderly)
            self._show(duties)

        def lease(won: Callable[[], None], lost: Callable[[str], None]) -> Lease:
            def has_won() -> None:
                self._company.writes.add(venue)
                won()

            after_s = lambda free: self._company.after_s(self._rank, free)  # noqa: E731 - of now, each time
            answered = lambda answered: shared.answers.note(answered=answered)  # noqa: E731
            more: dict[str, Any] = {"after_s": after_s, "answered": answered}
            return Lease(shared.leases, venue, cluster.node, self._address(), has_won, lost, **more)

        self._seat = Seat(member, lease, begin, end, self._holding)
        await self._seat.start()
        presence.start()
        watching = asyncio.create_task(self._watch(journal, shared))
        try:
            await self._listen(member, duties, presence=presence, node=f"{cluster.node}.")
        finally:
            await ended(watching)
            await presence.stop()
            await self._seat.leave()
            await relay.close()
            await member.stop(LEAVE_S)
        if self._shut_out:
            raise JournalFailed("NATS has shut this node out: see that --nats-access has what counts now, and start it")

    async def _watch(self, journal: JetStreamJournal, shared: Shared) -> None:
        """End where the servers let this node in no more: whoever starts it again gives it what counts now."""
        while not (journal.shut_out or shared.client.is_closed):  # noqa: ASYNC110 - one of them is in another thread
            await asyncio.sleep(WATCH_S)
        log.error("NATS has shut this node out")
        self._shut_out = True
        await asyncio.sleep(HELD_S)  # by then its lease is over: nothing is left to hand over
        self.stop()

    async def _begin(self, member: Member, clock: SystemClock, duties: Duties, keeping: Keeping) -> None:
        """This node writes from now on."""
        # Nobody drove anything since the writer before gave its last sign of life.
        before, behind = member.last_word if member.engine.seq else 0.0, clock.restart()
        if member.state.digest:
            await member.submit(Recover(SERVICE, before))
        else:
            await self._configure(member, self._loaded)
        if member.state.digest != self._loaded.digest:
            log.warning("configuration", notice="the folder of this node is not what is in force: SIGHUP takes it")
        keeping.begin()
        member.surely(ReportTrouble(SERVICE, RELOAD))
        member.surely(ReportTrouble(SERVICE, "clock", clock_words(behind)))
        duties.begin(before, power_was_lost=False)
        self._show(duties)

    async def reload(self, writer: Writer) -> None:
        """Only the writer's folder counts: of nodes that are all told at once, it is the one that reads it."""
        if isinstance(writer, Member) and not writer.leading:
            log.warning("not reloaded", notice="this node does not write the venue: tell the one that does (/venues)")
            self._supervisor.reloading()
            self._supervisor.ready()
        else:
            await super().reload(writer)

    def _address(self) -> str:
        return self._cluster.address or ("" if self._server is None else self._server.address)

    def _holding(self) -> list[str]:
        return [] if self._server is None else list(self._server.app.state.sockets.holding)

    def _show(self, duties: Duties) -> None:
        """What only the writer has is there for its pages, or gone again."""
        if self._server is not None:
            for name in ("outputs", "feeds", "webhooks"):
                setattr(self._server.app.state, name, getattr(duties, name))

    def stop(self) -> None:
        """Hand the venue over first, so that panels go on, and only then close them."""
        if self._leaving is None and self._server is not None and self._seat is not None:
            self._leaving = asyncio.get_running_loop().create_task(self._leave(self._seat))
        else:
            super().stop()

    async def _leave(self, seat: Seat) -> None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(LEAVE_S + 6.0):
                led = await seat.hand_over()
                await seat.succeeded(LEAVE_S, led=led)
        super().stop()
