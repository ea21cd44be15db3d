"""``node``: the network between a writer and NATS breaks, or a server of NATS dies alone; each a real process."""

from __future__ import annotations

import asyncio
import os
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from typing import Any

import httpx
import nats

from roomlink.runtime.cluster.lease import HELD_S
from tests.api.harness import HARBOUR, Served
from tests.nats_servers import Cable, NatsServer, cluster
from tests.test_nodes import Desk, Site, act, until, writes
from tests.test_nodes import sites as sites
from tests.test_nodes_faults import _acts, _holds

SCREEN = """
devices:
  desk:
    driver: text
    host: 127.0.0.1
    port: PORT
    commands: {down: {send: "down {value:on-off 1 0}"}, up: {send: "up {value:on-off 1 0}"}}
bindings:
  - {control: heron.screen, class: motion, device: desk, open: {command: down}, close: {command: up}, on_loss: off}
"""
DEATHS = int(os.environ.get("ROOMLINK_SERVER_DEATHS", "1"))
"""2: first a server of NATS dies that neither leads the journal nor has the writer; always the one that leads it."""
SLACK_S = 0.6
"""What a loaded machine may add to a time that the service keeps."""
ELECTED_S = 30.0
"""How long servers may take to elect new leaders; they take up to 9 s by themselves."""


async def test_motion_stops_at_the_device_when_its_writer_is_cut_off(
    sites: Callable[..., Site], tmp_path: Path
) -> None:
    """Though the finger stays on the key: by the end of the lease, before another drives, and it does not resume."""
    server = NatsServer(tmp_path / "nats")
    server.start()
    desk, cable = Desk(), Cable(server.port)
    screen = "heron: {type: section, controls: {screen: {kind: motion, travel: 18s, max_run: 24s}}}"
    text = HARBOUR.replace("heron: {type: section}", screen) + SCREEN.replace("PORT", str(desk.port))
    site = sites(server, venue=text)

    def told(line: str, since: float = 0.0) -> list[tuple[float, int]]:
        return [(at, number) for at, number, said in list(desk.told) if said == line and at >= since]

    try:
        a = await asyncio.to_thread(site.node, "a", nats=cable.url)
        await asyncio.to_thread(site.writer, ["a"])
        b = await asyncio.to_thread(site.node, "b")
        await asyncio.to_thread(a.call, "POST", "/bindings/heron.screen/arm", {"who": "R. Okafor"})
        gone = asyncio.Event()
        async with a.panel() as panel:
            assert (await panel.act("screen", "open"))["type"] == "ok"
            holding = asyncio.create_task(_holds(panel, gone))
            await asyncio.to_thread(until, lambda: told("down 1"))
            await asyncio.sleep(1.0)
            began, own = told("down 1")[0]
            assert not told("down 0", began)
            cable.pull()
            pulled = time.monotonic()
            await asyncio.to_thread(until, lambda: told("down 0", pulled))
            at, by = told("down 0", pulled)[0]
            assert by == own
            assert at - pulled < HELD_S + SLACK_S
            await asyncio.to_thread(until, lambda: writes(b))
            first = [when for when, number, _ in desk.told if number != own]
            assert all(when > at for when in first)
            cable.plug()
            await asyncio.to_thread(until, lambda: httpx.get(f"{a.url}/readyz").status_code == 200)
            await asyncio.sleep(0.5)
            assert len(told("down 1")) == 1
            gone.set()
            await holding
        print(f"motion stopped at the device {at - pulled:.2f} s after its writer was cut off")
    finally:
        for served in site.nodes.values():
            await asyncio.to_thread(served.stop)
        desk.close()
        cable.close()
        server.stop()


def test_a_node_that_nats_lets_in_no_more_ends_and_says_so(sites: Callable[..., Site], tmp_path: Path) -> None:
    """The password was changed: whoever starts it again gives it the new one; one that hung would need a person."""
    users = 'authorization {{ users: [{{ user: roomlink, password: "{}" }}] }}\n'
    server = NatsServer(tmp_path / "nats", more=users.format("before"))
    server.start()
    access = tmp_path / "nats.toml"
    access.write_text('user = "roomlink"\npassword = "before"\n')
    access.chmod(0o600)
    try:
        site = sites(server)
        a = site.node("a", "--nats-access", str(access))
        site.writer(["a"])
        server.reload(users.format("before"), users.format("after"))
        assert a.wait() == 1
        assert a.log[-1].startswith("roomlink: NATS has shut this node out")
    finally:
        server.stop()


async def _cluster_of(server: NatsServer, stream: str) -> tuple[str, bool]:
    """The server that leads a stream, and whether all of its servers are up to date."""
    client = await nats.connect(server.url)
    try:
        found = (await client.jetstream().stream_info(stream)).cluster
        assert found is not None
        replicas = found.replicas or []
        return str(found.leader), all(one.current and not one.offline for one in replicas)
    finally:
        await client.close()


class Orders:
    """Asks two nodes in turn without end, each time for another value, and notes what was acknowledged."""

    def __init__(self, *nodes: Served) -> None:
        self.acknowledged: list[tuple[float, int, float]] = []
        self.refused = 0
        self._nodes, self._over = nodes, threading.Event()
        self._running = threading.Thread(target=self._run)
        self._running.start()

    def _run(self) -> None:
        number = 0
        while not self._over.is_set():
            number += 1
            value = -1.0 - (number % 500) / 10
            with suppress(httpx.HTTPError):
                answer = act(self._nodes[number % len(self._nodes)], value)
                if answer.status_code == 200:
                    self.acknowledged.append((time.monotonic(), answer.json()["seq"], value))
                else:
                    assert answer.status_code == 503, answer.text
                    self.refused += 1
            time.sleep(0.02)

    def more(self, count: int = 10) -> None:
        """Wait until so many more are acknowledged."""
        had = len(self.acknowledged)
        until(lambda: len(self.acknowledged) >= had + count, ELECTED_S)

    def longest(self, since: float) -> float:
        times = [since, *(at for at, _, _ in self.acknowledged if at > since)]
        return max(after - before for before, after in pairwise(times))

    def end(self) -> None:
        self._over.set()
        self._running.join()


def test_a_server_of_nats_that_dies_alone_costs_no_order(sites: Callable[..., Site], tmp_path: Path) -> None:
    """The one of three that leads the journal, or one that does not and has no writer: all acknowledged is there."""
    servers = cluster(tmp_path / "nats", ("one", "two", "three"))
    by_name = {one.name: one for one in servers}
    orders: Orders | None = None

    def stands() -> str:
        """Wait until the journal has a leader and all its servers are up to date; gives its leader."""
        found: list[Any] = ["", False]

        def whole() -> bool:
            with suppress(Exception):  # whatever the servers say while they look for a leader
                found[:] = asyncio.run(_cluster_of(servers[0], "roomlink-harbour"))
            return bool(found[0] and found[1])

        until(whole, ELECTED_S)
        return str(found[0])

    try:
        site = sites(*servers)
        a = site.node("a", nats=servers[0].url)
        site.writer(["a"])
        b = site.node("b")
        orders, waits = Orders(a, b), []
        for leads in (False, True)[-DEATHS:]:
            leader = stands()
            orders.more()
            dies = by_name[leader] if leads else next(one for one in servers[1:] if one.name != leader)
            dies.kill()
            killed = time.monotonic()
            orders.more(30)
            waits.append(orders.longest(killed))
            dies.start()
        orders.end()
        assert max(waits) < ELECTED_S
        until(lambda: a.get("/state")["seq"] == b.get("/state")["seq"])
        acts = {entry["seq"]: entry["did"] for entry in _acts(b)}
        lost = [(seq, value) for _, seq, value in orders.acknowledged if acts.get(seq, {}).get("value") != value]
        assert not lost, lost
        asked = [did["request"] for did in acts.values() if "request" in did]
        assert len(asked) == len(set(asked))
        print(
            f"{len(orders.acknowledged)} acknowledged, none lost, {orders.refused} refused; the longest waits after a"
            f" server died: {', '.join(f'{one:.2f} s' for one in waits)}"
        )
    finally:
        if orders is not None:
            orders.end()
        for one in servers:
            one.stop()
