"""``service`` when what is around it fails: the process is held up, the network is cut, panels crowd it."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path

from roomlink.limits import HOLD_SILENCE_S
from tests.api.harness import WITHIN_S, Panel, Served, dial
from tests.browser.proxy import Proxy

Serve = Callable[..., Served]

STOPPED_S = float(os.environ.get("ROOMLINK_STOPPED_S", "2"))
"""For how long the process is held up; longer on request."""
DB_A_SECOND = 20.0
"""A hand on the volume of Harbour Hall."""


@asynccontextmanager
async def panel_at(url: str, query: str = "", controller: str = "heron-wall") -> AsyncIterator[Panel]:
    # It asks nothing by itself, so that only the service finds out what is wrong.
    async with dial(url, f"/panels/{controller}{query}", ping_interval=None) as socket_:
        panel = Panel(socket_)
        await panel.next()
        yield panel


def at(stamp: str) -> float:
    return datetime.fromisoformat(stamp).timestamp()


def volume(served: Served) -> dict[str, object]:
    found: dict[str, object] = served.get("/zones/heron")["controls"]["volume"]
    return found


async def until(holds: Callable[[], bool]) -> None:
    """Ask the service again and again until it is so."""
    async with asyncio.timeout(WITHIN_S):
        while not await asyncio.to_thread(holds):  # noqa: ASYNC110 - the other process has no event
            await asyncio.sleep(0.02)


async def let_go(served: Served) -> float:
    """Wait until nothing is held in the zone; gives the level at which it stopped."""
    await until(lambda: volume(served)["moving"] is None)
    return float(str(volume(served)["value"]))


async def test_a_process_that_was_held_up_goes_on_where_time_is(serve: Serve) -> None:
    """What was held is let go as of the last sign of life, as if it had been awake; panels come back; time went on."""
    served = serve()
    async with panel_at(served.url) as panel:
        await panel.act("volume", "set", value=-30)  # its end is reached while nothing runs
        began = at((await panel.act("volume", "raise"))["at"])
        served.signal(signal.SIGSTOP)
        await asyncio.sleep(STOPPED_S)
        served.signal(signal.SIGCONT)
        level = await let_go(served)
        assert level <= -30.0 + DB_A_SECOND * (HOLD_SILENCE_S + 0.3)
    async with panel_at(served.url) as again:
        done = await again.act("volume", "set", value=-20)
        assert done["type"] == "ok"
        assert at(done["at"]) - began >= STOPPED_S
    assert served.get("/zones/heron")["controls"]["volume"]["value"] == -20.0


async def test_where_packets_vanish_what_is_held_is_let_go(serve: Serve) -> None:
    """Nobody says that the network is gone; within a second nothing runs on, and the panel gets what it missed."""
    served = serve()
    async with Proxy(int(served.url.rpartition(":")[2])) as network, panel_at(network.url) as panel:
        await panel.act("volume", "set", value=-60)
        await panel.act("volume", "raise")
        cut = time.monotonic()
        network.swallow()
        assert await let_go(served) <= -60.0 + DB_A_SECOND * 1.2
        assert time.monotonic() - cut < WITHIN_S
        served.call("POST", "/zones/heron/actions", {"control": "mute", "do": "set", "value": False})
        await network.restore()
        while panel.heard[-1].get("controller", {}).get("controls", {}).get("mute", {}).get("value") is not False:
            await panel.next()
        assert (await panel.act("volume", "set", value=-20))["type"] == "ok"


async def test_a_panel_whose_network_was_cut_comes_back_to_what_it_missed(serve: Serve) -> None:
    """Both ends are told by force; what it held is let go at once, and it resumes where it was."""
    served = serve()
    async with Proxy(int(served.url.rpartition(":")[2])) as network:
        async with panel_at(network.url) as panel:
            journal = panel.heard[0]["journal"]
            known = (await panel.act("talkback", "press"))["seq"]
            await network.cut()
            await until(lambda: not served.get("/zones/heron")["controls"]["talkback"]["value"])
        served.call("POST", "/zones/heron/actions", {"control": "volume", "do": "set", "value": -42})
        await network.restore()
        async with panel_at(network.url, f"?after={known}&journal={journal}") as panel:
            assert panel.heard[0]["resumed"] is True
            missed = (await panel.until("change"))["controller"]["controls"]
            assert missed["volume"]["value"] == -42.0
            assert missed["talkback"]["value"] is False


async def test_readers_that_never_read_cost_a_bounded_memory(serve: Serve) -> None:
    """However much there would be to tell them; one that acts is answered all the time."""
    served = serve("--log", "error", data=None)
    port = int(served.url.rpartition(":")[2])
    asleep = []
    shake = (
        f"GET /api/v1/watch HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    try:
        for _ in range(100):
            one = socket.socket()
            one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            one.connect(("127.0.0.1", port))
            one.sendall(shake.encode())
            asleep.append(one)
        async with served.panel() as panel:
            await press_on(panel, 500)
            before = resident_bytes(served)
            await press_on(panel, 2500)
            # Unbounded, each of the hundred would have some 300 bytes more a change: 75 MB.
            assert resident_bytes(served) - before < 20_000_000
    finally:
        for one in asleep:
            one.close()


async def press_on(panel: Panel, times: int) -> None:
    """One press after the other, each as soon as the one before is answered."""
    for number in range(times):
        assert (await panel.act("volume", "set", number, value=-1.0 - number % 50))["type"] == "ok"


def resident_bytes(served: Served) -> int:
    statm = Path(f"/proc/{served.process.pid}/statm").read_text()
    return int(statm.split()[1]) * os.sysconf("SC_PAGE_SIZE")
