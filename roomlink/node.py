"""A venue on one of several nodes: the whole service on each, and one of them writes.

The journal, the lease and the list of nodes lie in NATS. The configuration that counts is the one in the journal: a
node's folder is taken when the venue is new, and when its writer is told to read it again (SIGHUP).
"""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass
from typing import Any

import structlog

from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Recover, ReportTrouble
from roomlink.core.state import State
from roomlink.journal.jetstream import JetStreamJournal, Place
from roomlink.journal.recovery import fold
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.cluster.lease import Lease
from roomlink.runtime.cluster.member import Member
from roomlink.runtime.cluster.presence import Presence
from roomlink.runtime.cluster.relay import Relay
from roomlink.runtime.cluster.seat import Seat
from roomlink.runtime.cluster.shared import Shared
from roomlink.runtime.duties import Duties
from roomlink.runtime.keeping import Keeping
from roomlink.runtime.metrics import Metrics
from roomlink.service import RELOAD, Options, Service

log = structlog.get_logger("roomlink")

LEAVE_S = 2.0
"""How long a node that hands over waits for the next writer, so that what its panels asked last is answered."""


@dataclass(frozen=True, slots=True)
class Cluster:
    """Where NATS is, who this node is there, and the address under which browsers find it (its own if empty)."""

    servers: tuple[str, ...]
    node: str
    replicas: int = 1
    address: str = ""


class NodeService(Service):
    """One venue on this node. ``rank`` is how many venues come before it here: venues spread over the nodes by it."""

    def __init__(self, options: Options, cluster: Cluster, *, after_s: float = 0.0) -> None:
        super().__init__(options)
        self._cluster, self._after_s = cluster, after_s
        self._leaving: asyncio.Task[None] | None = None
        self._seat: Seat | None = None

    async def run(self) -> None:
        self._running = asyncio.current_task()
        cluster, venue = self._cluster, self._loaded.spec.id
        place = Place(cluster.servers, cluster.replicas, cluster.node)
        journal = await asyncio.to_thread(JetStreamJournal, place, venue)
        shared = await Shared.of(cluster.servers, cluster.node, cluster.replicas)
        try:
            await self._take_part(journal, shared)
        finally:
            await shared.close()
            await asyncio.to_thread(journal.close)

    async def _take_part(self, journal: JetStreamJournal, shared: Shared) -> None:
        cluster, venue = self._cluster, self._loaded.spec.id
        state, seq, last = await asyncio.to_thread(fold, journal, empty=State, apply=apply)
        clock = SystemClock()
        clock.anchor(last)
        relay = Relay(shared.client, venue, cluster.node)
        member = Member(state, seq, journal, clock, Metrics(), relay)
        duties = self._duties(member)
        keeping = Keeping(member)
        presence = Presence(shared.nodes, venue, cluster.node, lambda: self._address(), member)
        duties.lookout.elsewhere = presence.panels

        async def begin() -> None:
            before = member.clock.stamp() if member.engine.seq else 0.0
            if member.state.digest:
                await member.submit(Recover(SERVICE, before))
            else:
                await self._configure(member, self._loaded)
            keeping.begin()
            member.surely(ReportTrouble(SERVICE, RELOAD))
            duties.begin(before, power_was_lost=False)
            self._show(duties)

        async def end(orderly: bool) -> None:
            await duties.end(may_write=orderly)
            self._show(duties)

        def lease(won: Any, lost: Any) -> Lease:
            return Lease(shared.leases, venue, cluster.node, self._address(), won, lost, after_s=self._after_s)

        self._seat = Seat(member, lease, begin, end, self._holding)
        await self._seat.start()
        presence.start()
        try:
            await self._listen(member, duties, presence=presence, node=f"{cluster.node}.")
        finally:
            await presence.stop()
            await self._seat.leave()
            await relay.close()
            await member.stop(LEAVE_S)

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
                await seat.hand_over()
                await seat.succeeded(LEAVE_S)
        super().stop()
