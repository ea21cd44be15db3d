"""From a press to its own feedback, durable, beside a bare echo and a bare commit, in one run over like sockets."""

from __future__ import annotations

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

PRESSES, ROUNDS = 300, 5
ENTRY_BYTES = 400
"""About what one entry of a level takes."""


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
        while _load.MARK not in (got := self.sock.recv(65536)):
            if not got:
                raise ConnectionError("closed meanwhile")
        return time.perf_counter() - start


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


def _many(press: Callable[[], float]) -> Callable[[], float]:
    return lambda: statistics.median(press() for _ in range(PRESSES))


def measure(rounds: int = ROUNDS) -> dict[str, list[float]]:
    """Medians of each round, in seconds."""
    with tempfile.TemporaryDirectory() as made:
        scratch = Path(made)
        with rig.roomlink(scratch, HARBOUR) as service, rig.floor("websockets", scratch) as echo:
            own = Presser("roomlink", service.port, "/api/v1/panels/heron-wall")
            bare = Presser("broadcast", echo.port, "/")
            commit = Commit(scratch / "bare.db")
            return rig.alternating(
                rounds,
                {"echo": _many(bare.press), "commit": _many(commit.press), "press": _many(own.press)},
            )


def main() -> None:
    taken = measure()
    ratios = [p / (e + c) for e, c, p in zip(taken["echo"], taken["commit"], taken["press"], strict=True)]
    for name, values in taken.items():
        print(f"{name:8} {rig.spread([v * 1e6 for v in values])} us")
    print(f"a press is {rig.spread(ratios)} x (an echo + a commit)")


if __name__ == "__main__":
    main()
