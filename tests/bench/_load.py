"""Lean listeners in a process of their own: they connect, count positions, and note when the last one has each.

``python -m tests.bench._load KIND PORT COUNT RATE CHANGES PATH`` prints one JSON line: seconds from each change being
asked for to its arrival at the last listener, at the one who asked, and how many messages came in all. KIND is how to
shake hands and how to ask for a change; nothing is parsed but the position that each message carries.
"""

from __future__ import annotations

import json
import selectors
import socket
import struct
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

KEY = b"dGhlIHNhbXBsZSBub25jZQ=="
TOPIC = b"change"
ASKERS = 8


def text_frame(payload: bytes) -> bytes:
    """A masked text message (RFC 6455 §5.2); the mask is zero, which leaves the bytes as they are."""
    size = len(payload)
    head = bytes((0x81, 0x80 | size)) if size < 126 else bytes((0x81, 0xFE)) + size.to_bytes(2, "big")
    return head + bytes(4) + payload


def upgrade(path: str) -> Callable[[socket.socket], None]:
    def shake(sock: socket.socket) -> None:
        sock.sendall(
            b"GET " + path.encode() + b" HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Key: " + KEY + b"\r\nSec-WebSocket-Version: 13\r\n\r\n"
        )
        _until(sock, b"\r\n\r\n")

    return shake


def nats(sock: socket.socket) -> None:
    _until(sock, b"\r\n")
    sock.sendall(b'CONNECT {"verbose":false}\r\nSUB ' + TOPIC + b" 1\r\nPING\r\n")
    _until(sock, b"PONG\r\n")


def mqtt(sock: socket.socket) -> None:
    sock.sendall(bytes.fromhex("101200044d5154540402003c000661") + f"{sock.fileno():05}".encode())
    _exactly(sock, 4)
    body = b"\0\1" + struct.pack("!H", len(TOPIC)) + TOPIC + b"\0"
    sock.sendall(bytes((0x82, len(body))) + body)
    _exactly(sock, 5)


def mqtt_publish(payload: bytes) -> bytes:
    body = struct.pack("!H", len(TOPIC)) + TOPIC + payload
    size = len(body)
    length = bytes((size,)) if size < 128 else bytes((size % 128 | 128, size // 128))
    return b"\x30" + length + body


def filled(position: int) -> bytes:
    """A message of 200 bytes with a position."""
    return (b'{"type":"change","seq":%d,"pad":"' % position).ljust(198, b"x") + b'"}'


def act(position: int) -> bytes:
    value = -10.0 - position % 40
    return json.dumps({"type": "act", "id": position, "control": "volume", "do": "set", "value": value}).encode()


@dataclass(frozen=True)
class Kind:
    """How to join, and how to ask for the change ``position``."""

    shake: Callable[[socket.socket], None]
    ask: Callable[[int], bytes]
    reply: bytes = b""
    """What is in the answer to who asked, if there is one beside the change."""


def kinds(path: str) -> dict[str, Kind]:
    return {
        "roomlink": Kind(upgrade(path), lambda n: text_frame(act(n)), b'"type":"ok"'),
        "broadcast": Kind(upgrade(path), lambda n: text_frame(filled(n))),
        "nats": Kind(nats, lambda n: b"PUB %s %d\r\n%s\r\n" % (TOPIC, len(filled(n)), filled(n))),
        "mqtt": Kind(mqtt, lambda n: mqtt_publish(filled(n))),
    }


def _until(sock: socket.socket, mark: bytes) -> bytes:
    got = b""
    while mark not in got:
        more = sock.recv(65536)
        if not more:
            raise ConnectionError(f"closed while waiting for {mark!r}: {got[:200]!r}")
        got += more
    return got


def _exactly(sock: socket.socket, count: int) -> None:
    while count:
        count -= len(sock.recv(count))


PING, PONG = b"\x89\x04", b"\x8a\x84" + bytes(4)
"""How a ping with four octets begins, and the answer to it with a zero mask: who never answers is taken for dead."""
MARK = b'"type":"change","seq":'


def positions(chunk: bytes) -> Iterator[int]:
    """The positions of all changes in a chunk. One torn by a chunk's end is missed; the next one tells as much."""
    start = chunk.find(MARK)
    while start >= 0:
        end = chunk.find(b",", start + len(MARK), start + len(MARK) + 12)
        if end > 0:
            yield int(chunk[start + len(MARK) : end])
        start = chunk.find(MARK, start + len(MARK))


class Load:
    """``count`` listeners; the first few ask in turn, as one alone would be taken for a flood."""

    def __init__(self, kind: Kind, port: int, count: int) -> None:
        self.kind, self.count = kind, count
        self.select = selectors.DefaultSelector()
        self.socks: list[socket.socket] = []
        self.reached: dict[socket.socket, int] = {}
        self.waiting: dict[int, int] = {}
        self.last: dict[int, float] = {}
        self.own: dict[int, float] = {}
        self.messages = 0
        for number in range(count):
            self.socks.append(sock := self._join(port))
            self.reached[sock] = 0
            if number % 50 == 49:
                self.read(time.perf_counter() + 0.001)  # on a busy machine the first are pinged before the last come

    def _join(self, port: int) -> socket.socket:
        sock = socket.create_connection(("127.0.0.1", port), timeout=20)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.kind.shake(sock)
        sock.setblocking(False)
        self.select.register(sock, selectors.EVENT_READ)
        return sock

    def asker(self, position: int) -> socket.socket:
        return self.socks[position % min(ASKERS, len(self.socks))]

    def read(self, until: float) -> None:
        """Read what comes up to the time ``until``."""
        while (left := until - time.perf_counter()) > 0:
            for key, _ in self.select.select(left):
                sock: socket.socket = key.fileobj  # type: ignore[assignment]  # only sockets were registered
                self._take(sock, sock.recv(1 << 18))

    def _take(self, sock: socket.socket, chunk: bytes) -> None:
        now = time.perf_counter()
        if not chunk:
            raise ConnectionError("a listener was dropped")
        if (ping := chunk.find(PING)) >= 0:
            sock.sendall(PONG + chunk[ping + 2 : ping + 6])
        newest = self.reached[sock]
        for position in positions(chunk):
            self.messages += 1
            newest = max(newest, position)
        for position in range(self.reached[sock] + 1, newest + 1):
            self.waiting[position] = self.waiting.get(position, self.count) - 1
            if self.waiting[position] == 0:
                self.last[position] = now
            if sock is self.asker(position):
                self.own[position] = now
        self.reached[sock] = newest

    def settle(self) -> int:
        """Read what is under way; the position that all have."""
        self.read(time.perf_counter() + 0.5)
        return max(self.reached.values())


def run(kind: Kind, port: int, count: int, rate: float, changes: int) -> dict[str, list[float] | int]:
    load = Load(kind, port, count)
    load.settle()
    load.socks[0].sendall(kind.ask(1))
    base = load.settle()
    print("ready", flush=True)
    sys.stdin.readline()
    asked: dict[int, float] = {}
    load.messages = 0
    start = time.perf_counter()
    for n in range(changes):
        load.read(start + n / rate)
        asked[base + n + 1] = time.perf_counter()
        load.asker(base + n + 1).sendall(kind.ask(base + n + 1))
    deadline = time.perf_counter() + 30
    while len(load.last) < base + changes and time.perf_counter() < deadline:
        load.read(time.perf_counter() + 0.05)
        if min(load.reached.values()) >= base + changes:
            break
    found = [p for p in asked if p in load.last]
    return {
        "last": [load.last[p] - asked[p] for p in found],
        "own": [load.own[p] - asked[p] for p in found],
        "messages": load.messages,
        "missing": len(asked) - len(found),
    }


if __name__ == "__main__":
    name, port, count, rate, changes, path = sys.argv[1:7]
    print(json.dumps(run(kinds(path)[name], int(port), int(count), float(rate), int(changes))), flush=True)
