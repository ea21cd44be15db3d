"""Several nodes: a press through a follower beside one through the writer, a hand-over, a wave of reconnects."""

from __future__ import annotations

import selectors
import signal
import socket
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.bench import _load
from tests.bench._figures import Figure, Found, quick
from tests.bench.press import PRESSES, Presser
from tests.nats_servers import NatsServer
from tests.test_nodes import Site, act

PANELS = 1000
HAND_OVERS = 5
PATH = "/api/v1/panels/heron-wall"


def _port(url: str) -> int:
    return int(url.rpartition(":")[2])


def wave(port: int, panels: int) -> float:
    """Seconds until so many panels that come at once all have their first view."""
    select = selectors.DefaultSelector()
    began = time.perf_counter()
    asked = (
        b"GET " + PATH.encode() + b" HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        b"Sec-WebSocket-Key: " + _load.KEY + b"\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    waiting: set[socket.socket] = set()
    got: dict[socket.socket, bytes] = {}
    for _ in range(panels):
        sock = socket.create_connection(("127.0.0.1", port), timeout=20)
        sock.sendall(asked)
        sock.setblocking(False)
        select.register(sock, selectors.EVENT_READ)
        waiting.add(sock)
        got[sock] = b""
    while waiting:
        for key, _ in select.select(30):
            one: Any = key.fileobj
            got[one] += one.recv(1 << 18)
            if b'"type":"welcome"' in got[one]:
                waiting.discard(one)
                select.unregister(one)
    took = time.perf_counter() - began
    for one in got:
        one.close()
    return took


def hand_over(site: Site, number: int) -> float:
    """The longest wait of a command through another node while the writer is told to stop, in seconds."""
    alive = [name for name, served in site.nodes.items() if served.process.poll() is None]
    first = site.writer(alive)
    other = site.nodes[next(name for name in alive if name != first)]
    site.nodes[first].signal(signal.SIGTERM)
    longest = 0.0
    for i in range(40):
        began = time.perf_counter()
        answer = act(other, -1.0 - i)
        longest = max(longest, time.perf_counter() - began)
        assert answer.status_code == 200, answer.text
        time.sleep(0.01)
    site.nodes[first].wait()
    site.node(f"{first[0]}{number}")
    return longest


def main() -> list[Found]:
    panels, presses, hand_overs = (20, 10, 1) if quick() else (PANELS, PRESSES, HAND_OVERS)
    with tempfile.TemporaryDirectory() as made:
        server = NatsServer(Path(made) / "nats")
        server.start()
        site = Site(Path(made), [server])
        try:
            for name in ("a", "b"):
                site.node(name)
            first = site.writer(["a", "b"])
            second = "b" if first == "a" else "a"
            took = {}
            for name in (first, second):
                presser = Presser("roomlink", _port(site.nodes[name].url), PATH)
                presser.number = {first: 0, second: 5000}[name]
                took[name] = [presser.press() for _ in range(presses)]
                presser.sock.close()
            waits = [hand_over(site, number) for number in range(hand_overs)]
            alive = next(served for served in site.nodes.values() if served.process.poll() is None)
            writer = "a press through the writer"
            return [
                Figure("A press through another node", "us", took[second], writer, took[first], paired=False),
                Figure("A planned hand-over: the longest wait, none refused", "ms", waits),
                Figure(
                    f"{panels:,} panels that come at once: all have their view", "s", [wave(_port(alive.url), panels)]
                ),
            ]
        finally:
            for served in site.nodes.values():
                served.stop()
            server.stop()
