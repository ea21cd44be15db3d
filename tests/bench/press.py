"""From a press to its own feedback, durable, beside a bare echo and a bare commit, in one run over like sockets."""

from __future__ import annotations

import contextlib
import socket
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.api.harness import HARBOUR
from tests.bench import _load
from tests.bench import _rig as rig
from tests.bench._figures import Figure, Found, alternating, quick
from tests.bench._floors import ENTRY_BYTES

PRESSES, ROUNDS = 100, 15


class Presser:
    """One socket that asks for a change and waits until it hears of it."""

    def __init__(self, kind: str, port: int, path: str) -> None:
        self.kind = _load.kinds(path)[kind]
        self.sock = socket.create_connection(("127.0.0.1", port), 10)
        self.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.kind.shake(self.sock)
        self.number = 0

    def press(self) -> float:
        self.number += 1
        asked = self.kind.ask(self.number)
        start = time.perf_counter()
        self.sock.sendall(asked)
        got = self.sock.recv(65536)
        while _load.MARK not in got:
            got += self.sock.recv(65536)
        took = time.perf_counter() - start
        while self.kind.reply not in got:
            got += self.sock.recv(65536)  # who presses again before the answer is taken for a flood
        return took


class Commit:
    """One durable row in a file of its own, as SQLite does it by itself."""

    def __init__(self, file: Path) -> None:
        self.db = sqlite3.connect(file, isolation_level=None)
        self.db.execute("PRAGMA journal_mode=WAL")
        self.db.execute("PRAGMA synchronous=FULL")
        self.db.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, body BLOB)")

    def press(self) -> float:
        start = time.perf_counter()
        self.db.execute("BEGIN IMMEDIATE")
        self.db.execute("INSERT INTO entries (body) VALUES (?)", (b"x" * ENTRY_BYTES,))
        self.db.execute("COMMIT")
        return time.perf_counter() - start


def _many(press: Callable[[], float], presses: int) -> Callable[[], float]:
    return lambda: statistics.median(press() for _ in range(presses))


def measure(rounds: int, presses: int) -> dict[str, list[float]]:
    """Medians of each round, in seconds."""
    with tempfile.TemporaryDirectory() as made, contextlib.ExitStack() as servers:
        scratch = Path(made)
        service = servers.enter_context(rig.roomlink(scratch, HARBOUR))
        one = {"press": Presser("roomlink", service.port, "/api/v1/panels/heron-wall").press}
        for name in ("websockets", "durable", "threaded"):
            echo = servers.enter_context(rig.floor(name, scratch))
            one[name] = Presser("broadcast", echo.port, "/").press
        one["commit"] = Commit(scratch / "bare.db").press
        return alternating(rounds, {name: _many(press, presses) for name, press in one.items()})


def main() -> list[Found]:
    taken = measure(*((2, 20) if quick() else (ROUNDS, PRESSES)))
    floor = [echo + commit for echo, commit in zip(taken["websockets"], taken["commit"], strict=True)]
    press, head = taken["press"], "A press to its own feedback, durable"
    return [
        Figure(head, "us", press, "a bare echo + a bare commit, each again and again by itself", floor, 1.5),
        Figure(head, "us", press, "an echo that commits first", taken["durable"]),
        Figure(head, "us", press, "an echo that commits first, in a thread", taken["threaded"]),
        Figure("A bare echo of websockets", "us", taken["websockets"]),
        Figure("A bare commit of SQLite", "us", taken["commit"]),
    ]
