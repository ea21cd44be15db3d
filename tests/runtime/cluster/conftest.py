"""A venue on several nodes in one process, with a real NATS server between them."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from itertools import count
from typing import Any

import nats
import pytest
import pytest_asyncio
from nats.aio.client import Client

from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure
from roomlink.core.state import State
from roomlink.journal.jetstream import JetStreamJournal, Place
from roomlink.journal.recovery import fold
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.cluster.lease import Lease
from roomlink.runtime.cluster.member import Member
from roomlink.runtime.cluster.relay import Relay
from roomlink.runtime.cluster.seat import Seat
from roomlink.runtime.metrics import Metrics
from roomlink.testing import venues
from tests.nats_servers import NatsServer

WITHIN_S = 8.0
_venues = count(1)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NatsServer]:
    server = NatsServer(tmp_path_factory.mktemp("nats"))
    server.start()
    yield server
    server.stop()


class Node:
    """One node of a venue, without a port of its own."""

    def __init__(self, server: NatsServer, venue: str, name: str, client: Client) -> None:
        self.name, self.client = name, client
        self.journal = JetStreamJournal(Place((server.url,), node=name), venue)
        state, seq, last = fold(self.journal, empty=State, apply=apply)
        clock = SystemClock()
        clock.anchor(last)
        self.relay = Relay(client, venue, name)
        self.member = Member(state, seq, self.journal, clock, Metrics(), self.relay)

    async def end(self) -> None:
        await self.relay.close()
        await self.member.stop(5.0)
        await asyncio.to_thread(self.journal.close)
        await self.client.close()


class Seated:
    """A node in its seat, with what it was told to begin and end."""

    seat: Seat

    def __init__(self, node: Node) -> None:
        self.node, self.member = node, node.member
        self.told: list[str] = []
        self.holding: list[str] = []

    async def begin(self) -> None:
        if not self.member.state.digest:
            await self.member.submit(Configure(SERVICE, venues.row(3), "digest"))
        self.told.append("begin")

    async def end(self, orderly: bool) -> None:
        self.told.append("end" if orderly else "stop")


class Hall:
    """Nodes of one venue that no other test has."""

    def __init__(self, server: NatsServer) -> None:
        self.server, self.venue = server, f"hall{next(_venues)}"
        self.nodes: list[Node] = []
        self.seats: list[Seat] = []

    async def node(self, name: str) -> Node:
        client = await nats.connect(self.server.url, pending_size=0)
        node = Node(self.server, self.venue, name, client)
        node.member.follow()
        self.nodes.append(node)
        return node

    async def pair(self) -> tuple[Node, Node]:
        """A node that leads, and one that follows it and has all that there is."""
        a, b = await self.led(), await self.node("b")
        await until(lambda: b.member.engine.seq == a.member.engine.seq)
        return a, b

    async def seat(self, name: str, after_s: float = 0.0) -> Seated:
        """A node that competes for the lease."""
        client = await nats.connect(self.server.url, pending_size=0)
        node = Node(self.server, self.venue, name, client)
        self.nodes.append(node)
        bucket = await client.jetstream().create_key_value(bucket="roomlink-leases", history=1)
        seated = Seated(node)
        more: Any = {"after_s": lambda free: after_s}
        seated.seat = Seat(
            node.member,
            lambda won, lost: Lease(bucket, self.venue, name, f"http://{name}", won, lost, **more),
            seated.begin,
            seated.end,
            lambda: seated.holding,
        )
        self.seats.append(seated.seat)
        await seated.seat.start()
        return seated

    async def led(self, name: str = "a") -> Node:
        """A node that leads, with a venue of three zones in a row configured."""
        node = await self.node(name)
        await node.member.lead()
        await node.member.submit(Configure(SERVICE, venues.row(3), "digest"))
        return node


@pytest_asyncio.fixture
async def hall(server: NatsServer) -> AsyncIterator[Hall]:
    hall = Hall(server)
    yield hall
    for seat in hall.seats:
        await seat.leave()
    for node in hall.nodes:
        await node.end()


async def until(true: Any) -> None:
    """Wait until something holds that no event tells."""
    async with asyncio.timeout(WITHIN_S):
        while not true():  # noqa: ASYNC110 - there is no event for it
            await asyncio.sleep(0.005)
