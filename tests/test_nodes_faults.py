"""``node``: what goes wrong between nodes, each a real process: killed under load, cut off, of another version."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import statistics
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import httpx
import pytest
from websockets.exceptions import WebSocketException

from tests.api.harness import HARBOUR, Panel, Served, dial, write_venue
from tests.nats_servers import Cable, NatsServer
from tests.test_nodes import DEVICE, Desk, Site, act, until, writes
from tests.test_nodes import sites as sites
from tests.test_service_access import PASSWORD, code_of, make_engineer

KILLS = int(os.environ.get("ROOMLINK_NODE_KILLS", "1"))
"""How often a writer is killed under the load of panels; 100 for the whole count."""
PANELS = int(os.environ.get("ROOMLINK_NODE_PANELS", "6"))
"""How many panels press meanwhile; 50 for the whole count."""
TAKEN_OVER_S = 3.0
ANSWER_S = 8.0
ACT = {"control": "volume", "do": "set", "value": -33.0}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NatsServer]:
    server = NatsServer(tmp_path_factory.mktemp("nats"))
    server.start()
    yield server
    server.stop()


def venue(name: str, more: str = "") -> str:
    return HARBOUR.replace("id: harbour", f"id: {name}") + more


class Presser:
    """A panel that presses without end, by whichever node lives, and notes what was acknowledged."""

    def __init__(self, site: Site, number: int) -> None:
        self.site, self.number = site, number
        self.acknowledged: list[tuple[float, int, float]] = []
        """When, at which position, and which value."""
        self.refused = 0
        self.ends = False
        self._presses = 0

    def _alive(self) -> str:
        alive = [one for one in self.site.nodes.values() if one.process.poll() is None]
        return alive[(self.number + self._presses) % len(alive)].url

    async def run(self) -> None:
        # A word and not a cancellation, which a socket that is just lost would swallow with its own error.
        while not self.ends:
            with suppress(OSError, WebSocketException, TimeoutError):
                async with dial(self._alive(), "/panels/heron-wall") as socket:
                    await self._press(socket)
            self._presses += 1
            await asyncio.sleep(0.02)

    async def _press(self, socket: Any) -> None:
        while not self.ends:
            self._presses += 1
            # No two of them ever ask for the same, so each is an entry of its own.
            value = round(-1.0 - self._presses % 50 - self.number / 100, 2)
            said = {"type": "act", "id": self._presses, "control": "volume", "do": "set", "value": value}
            await socket.send(json.dumps(said))
            while (heard := json.loads(await asyncio.wait_for(socket.recv(), ANSWER_S))).get("id") != self._presses:
                pass
            if heard["type"] == "ok":
                self.acknowledged.append((time.monotonic(), heard["seq"], value))
            else:
                self.refused += 1
            await asyncio.sleep(0.02)


async def test_writers_are_killed_under_the_load_of_panels(sites: Callable[..., Site], server: NatsServer) -> None:
    """Again and again: what was acknowledged is in the journal, once, and the next one writes within seconds."""
    site = sites(server, venue=venue("pressed"))
    for name in ("a", "b", "c"):
        await asyncio.to_thread(site.node, name)
    pressers = [Presser(site, number) for number in range(PANELS)]
    running = [asyncio.create_task(one.run()) for one in pressers]
    gaps: list[float] = []
    for round_ in range(KILLS):
        alive = [name for name, one in site.nodes.items() if one.process.poll() is None]
        dies = await asyncio.to_thread(site.writer, alive)
        await asyncio.sleep(0.5)
        killed = time.monotonic()
        site.nodes[dies].signal(signal.SIGKILL)
        counts = [len(one.acknowledged) for one in pressers]
        async with asyncio.timeout(30):
            while any(len(one.acknowledged) < had + 3 for one, had in zip(pressers, counts, strict=True)):  # noqa: ASYNC110
                await asyncio.sleep(0.05)
        times = sorted(at for one in pressers for at, _, _ in one.acknowledged if at > killed - 1.0)
        gaps.append(max(after - before for before, after in pairwise(times)))
        await asyncio.to_thread(site.nodes[dies].wait)
        await asyncio.to_thread(site.node, f"{dies[0]}{round_}")
    for one in pressers:
        one.ends = True
    await asyncio.gather(*running)
    last = next(one for one in site.nodes.values() if one.process.poll() is None)
    acts = {e["seq"]: e["did"] for e in await asyncio.to_thread(_acts, last)}
    asked = [did["request"] for did in acts.values() if "request" in did]
    assert len(asked) == len(set(asked)), "a command was carried out twice"
    acknowledged = [(seq, value) for one in pressers for _, seq, value in one.acknowledged]
    assert len(acknowledged) == len({seq for seq, _ in acknowledged})
    lost = [(seq, value) for seq, value in acknowledged if acts.get(seq, {}).get("value") != value]
    assert not lost, lost
    gaps.sort()
    print(
        f"{KILLS} kills under {PANELS} panels: {len(acknowledged)} acknowledged and none lost, {len(asked)} sent on and"
        f" none done twice, {sum(one.refused for one in pressers)} refused; longest silence"
        f" {statistics.median(gaps):.2f} s (median), {gaps[max(0, round(len(gaps) * 0.99) - 1)]:.2f} s (99 of 100),"
        f" {gaps[-1]:.2f} s at most"
    )


def _acts(served: Served) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    after = 0
    while page := served.get(f"/events?after={after}&limit=1000")["events"]:
        found += [entry for entry in page if entry["did"].get("command") == "Act"]
        after = page[-1]["seq"]
    return found


async def _holds(panel: Panel, until_gone: asyncio.Event) -> None:
    """Shows that its finger is still there, as a panel does, until its node is gone."""
    with suppress(WebSocketException, OSError):
        while not until_gone.is_set():
            await panel.send(type="holding")
            await asyncio.sleep(0.25)


def _volume(served: Served) -> dict[str, Any]:
    found: dict[str, Any] = served.get("/zones/heron")["controls"]["volume"]
    return found


async def test_what_is_held_is_let_go_when_its_node_dies_or_the_writer_does(
    sites: Callable[..., Site], server: NatsServer
) -> None:
    """Held through a node that is killed: within a second. Held while the writer is killed: as of when it died."""
    site = sites(server, venue=venue("held").replace("travel: 3s, start: -30", "travel: 12s, start: -60"))
    for name in ("a", "b", "c"):
        await asyncio.to_thread(site.node, name)
    first = await asyncio.to_thread(site.writer, ["a", "b", "c"])
    second, third = (site.nodes[name] for name in ("a", "b", "c") if name != first)
    gone = asyncio.Event()

    async def hold(through: Served, dies: Served, sees: Served) -> tuple[float, float]:
        """How long it was held before the kill, and after it until it was let go."""
        async with through.panel() as panel:
            assert (await panel.act("volume", "raise"))["type"] == "ok"
            began = time.monotonic()
            holding = asyncio.create_task(_holds(panel, gone))
            await asyncio.sleep(0.8)
            assert (await asyncio.to_thread(_volume, sees))["moving"]
            dies.signal(signal.SIGKILL)
            killed = time.monotonic()
            await asyncio.to_thread(until, lambda: not _volume(sees)["moving"])
            ended = time.monotonic()
            holding.cancel()
            await asyncio.gather(holding, return_exceptions=True)
            return killed - began, ended - killed

    with suppress(WebSocketException, OSError):
        _, took = await hold(second, second, site.nodes[first])
        assert took < 1.5
        before = (await asyncio.to_thread(_volume, third))["value"]
        held, took = await hold(third, site.nodes[first], third)
        assert took > 1.0  # nobody could let it go before another wrote
        risen = (await asyncio.to_thread(_volume, third))["value"] - before
        assert 5.0 * (held - 0.5) < risen < 5.0 * (held + 0.8)  # decibels: 60 in 12 s
        return
    pytest.fail("a panel's own node went that should not have")


async def test_a_writer_that_is_cut_off_refuses_and_rests_and_follows_again_later(
    sites: Callable[..., Site], server: NatsServer
) -> None:
    """Packets to NATS vanish both ways: it says so, drives nothing, another goes on; healed, it shows what was done."""
    desk, cables = Desk(), [Cable(server.port), Cable(server.port)]
    site = sites(server, venue=venue("cutoff", DEVICE.replace("PORT", str(desk.port))))
    a = await asyncio.to_thread(site.node, "a", nats=cables[0].url)
    await asyncio.to_thread(site.writer, ["a"])
    b = await asyncio.to_thread(site.node, "b", nats=cables[1].url)

    def house(served: Served, value: float) -> httpx.Response:
        body = {"control": "house", "do": "set", "value": value, "over": 0}
        return httpx.post(f"{served.url}/api/v1/zones/heron/actions", json=body, timeout=12.0)

    def story() -> None:
        assert house(a, 31).status_code == 200
        until(lambda: any("31" in line for _, _, line in desk.told))
        own = {number for _, number, line in desk.told if "31" in line}
        cables[0].pull()
        refused = house(a, 32)
        assert refused.status_code == 503, refused.text
        until(lambda: writes(b))
        assert house(b, 47).status_code == 200
        until(lambda: any("47" in line for _, _, line in desk.told))
        until(lambda: httpx.get(f"{a.url}/readyz").status_code == 503)
        # What it had set stays as it was: nothing more came from it, and it never let go of its last state.
        assert [line for _, number, line in desk.told if number in own] == [
            line for _, number, line in desk.told if number in own and "32" not in line
        ]
        count = len([1 for _, number, _ in desk.told if number in own])
        cables[0].plug()
        until(lambda: a.get("/zones/heron")["controls"]["house"]["value"] == 47.0)
        until(lambda: httpx.get(f"{a.url}/readyz").status_code == 200)
        assert not writes(a)
        assert house(a, 48).status_code == 200
        until(lambda: any("48" in line for _, _, line in desk.told))
        assert len([1 for _, number, _ in desk.told if number in own]) == count

    async with a.panel() as panel:
        telling = asyncio.create_task(asyncio.to_thread(story))
        trouble = await _trouble(panel, telling)
        assert trouble
        await telling
    desk.close()
    for cable in cables:
        cable.close()


async def _trouble(panel: Panel, telling: asyncio.Task[None]) -> list[str]:
    """What the panel was told to be wrong, until the story is over."""
    heard: list[str] = []
    while not telling.done():
        with suppress(TimeoutError):
            said = await panel.next()
            heard += [said["why"]] if said["type"] == "trouble" and said["why"] else []
    return heard


def test_a_slow_disk_of_the_servers_delays_and_loses_nothing(sites: Callable[..., Site], tmp_path: Path) -> None:
    """The server stops and goes: what it acknowledged is there once; afterwards one node writes and all agree."""
    slow = NatsServer(tmp_path / "slow")
    slow.start()
    try:
        site = sites(slow, venue=venue("slow"))
        a, b = site.node("a"), site.node("b")
        site.writer(["a", "b"])
        over = threading.Event()

        def stutter() -> None:
            while not over.is_set():
                slow.pause()
                time.sleep(0.25)
                slow.wake()
                time.sleep(0.05)

        stuttering = threading.Thread(target=stutter)
        stuttering.start()
        # Each one another value: what changes nothing is answered with the newest entry, whosever that is.
        answers = [act((a, b)[number % 2], -1.0 - number) for number in range(12)]
        over.set()
        stuttering.join()
        done = [answer.json()["seq"] for answer in answers if answer.status_code == 200]
        assert done
        assert {answer.status_code for answer in answers} <= {200, 503}
        until(lambda: act(a, -40.0).status_code == 200)
        acts = _acts(b)
        assert set(done) <= {entry["seq"] for entry in acts}
        asked = [entry["did"]["request"] for entry in acts if "request" in entry["did"]]
        assert len(asked) == len(set(asked))
        until(lambda: a.get("/state")["seq"] == b.get("/state")["seq"])
        assert _volume(a) == _volume(b)
    finally:
        slow.stop()


def test_nodes_with_other_folders_keep_to_what_is_in_force(
    sites: Callable[..., Site], server: NatsServer, tmp_path: Path
) -> None:
    """As in an upgrade one by one: the journal's configuration counts, and only the writer's SIGHUP takes another."""
    site = sites(server, venue=venue("upgraded"))
    other = write_venue(tmp_path / "other", venue("upgraded").replace("Harbour Hall", "Harbour House"))
    a = site.node("a")
    site.writer(["a"])
    b = site.node("b", folder=other)
    assert b.get("/venue")["venue"]["name"] == "Harbour Hall"
    b.signal(signal.SIGHUP)
    until(lambda: any("not reloaded" in line for line in b.log))
    assert a.get("/venue")["venue"]["name"] == b.get("/venue")["venue"]["name"] == "Harbour Hall"
    a.signal(signal.SIGTERM)
    assert a.wait() == 0
    until(lambda: writes(b))
    assert b.get("/venue")["venue"]["name"] == "Harbour Hall"
    b.signal(signal.SIGHUP)
    until(lambda: b.get("/venue")["venue"]["name"] == "Harbour House")


def test_several_venues_share_the_nodes(sites: Callable[..., Site], server: NatsServer, tmp_path: Path) -> None:
    """Who writes less takes what becomes free; every node lists them all."""
    site = sites(server, venue=venue("hall1"))
    more = [write_venue(tmp_path / name, venue(name)) for name in ("hall2", "hall3")]
    a = site.node("a", also=more)

    def written() -> dict[str, list[str]]:
        told = next(one for one in site.nodes.values() if one.process.poll() is None).get("/venues")["venues"]
        return {
            name: [node for node, one in told[name]["nodes"].items() if one["writes"]]
            for name in ("hall1", "hall2", "hall3")
            if name in told
        }

    until(lambda: written() == {"hall1": ["a"], "hall2": ["a"], "hall3": ["a"]})
    site.node("b", also=more)
    site.node("c", also=more)
    until(lambda: len(a.get("/venues")["venues"]["hall3"]["nodes"]) == 3)
    a.signal(signal.SIGTERM)
    assert a.wait() == 0
    until(lambda: sorted(len(nodes) for nodes in written().values()) == [1, 1, 1])
    assert {node for nodes in written().values() for node in nodes} == {"b", "c"}
    assert len(a.said) == 3


def test_a_request_is_known_on_every_node_and_the_past_as_well(sites: Callable[..., Site], server: NatsServer) -> None:
    """An Idempotency-Key used on one node is answered the same on another, also by a follower; so are then and now."""
    site = sites(server, venue=venue("keyed"))
    a, b = site.node("a"), site.node("b")
    site.writer(["a", "b"])
    until(lambda: a.get("/state")["seq"] == b.get("/state")["seq"] >= 1)
    body = {"control": "volume", "do": "set", "value": -21.0}

    def ask(served: Served) -> tuple[int, Any]:
        headers = {"Idempotency-Key": "once"}
        answer = httpx.post(f"{served.url}/api/v1/zones/heron/actions", json=body, headers=headers)
        return answer.status_code, answer.json()

    first = ask(a)
    assert first[0] == 200
    assert ask(b) == ask(a) == first
    time.sleep(0.05)
    assert act(b, -22.0).status_code == 200
    until(lambda: a.get("/state")["seq"] == b.get("/state")["seq"])
    told = next(entry["at"] for entry in _acts(b) if entry["seq"] == first[1]["seq"])
    at = (datetime.fromisoformat(told) + timedelta(milliseconds=2)).isoformat()  # it is told in whole milliseconds
    for served in (a, b):
        then = served.get(f"/state?at={at.replace('+', '%2B')}")
        assert then["zones"]["heron"]["controls"]["volume"]["value"] == -21.0
        assert next(entry["seq"] for entry in _acts(served)) == first[1]["seq"]


async def test_who_signs_in_on_one_node_is_known_on_all(sites: Callable[..., Site], server: NatsServer) -> None:
    """By a follower, too; and still after the node that wrote it died."""
    site = sites(server, venue=venue("signed"))
    first = await asyncio.to_thread(site.node, "a", sign_in=True)
    await asyncio.to_thread(until, lambda: httpx.get(f"{first.url}/readyz").status_code == 200)
    second = await asyncio.to_thread(site.node, "b", sign_in=True)
    async with httpx.AsyncClient(base_url=second.url, timeout=ANSWER_S) as client:
        await make_engineer(client, second)
        session = dict(client.cookies)
        late = {"code": await asyncio.to_thread(code_of, first), "name": "sam", "password": PASSWORD}
        refused = await client.post(f"{first.url}/api/v1/engineers", json=late)
        assert refused.status_code == 403  # each node showed a code, and one was used
        first.signal(signal.SIGKILL)
        assert (await client.post("/api/v1/zones/heron/actions", json=ACT)).status_code == 200
        third = await asyncio.to_thread(site.node, "c", sign_in=True)
        async with httpx.AsyncClient(base_url=third.url, cookies=session) as other:
            assert (await other.get("/api/v1/session")).json()["who"] == "alex"
        assert "code to make an engineer" not in "".join(third.log)
