"""What every measurement of the whole service needs: servers as processes, their CPU time and memory."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.api.harness import write_venue

ROOT = Path(__file__).resolve().parent.parent.parent
WAIT_S = 20.0


def cpu_s(pid: int) -> float:
    """Seconds of CPU that all threads of a process have used, to the nanosecond (Linux)."""
    total = 0
    for task in Path(f"/proc/{pid}/task").iterdir():
        total += int((task / "schedstat").read_text().split()[0])
    return total / 1e9


def rss_bytes(pid: int) -> int:
    """The memory of a process that is really there."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


@dataclass
class Server:
    """A server in a process of its own, on a port of this machine."""

    process: subprocess.Popen[str]
    port: int

    @property
    def pid(self) -> int:
        return self.process.pid


@contextmanager
def running(command: Sequence[str], port: int | None = None) -> Iterator[Server]:
    """A process that says its port (or an address that ends in it) on its first line, or listens on the one given."""
    out = subprocess.PIPE if port is None else subprocess.DEVNULL
    process = subprocess.Popen(command, stdout=out, stderr=subprocess.DEVNULL, text=True, cwd=ROOT)
    try:
        if port is None:
            assert process.stdout is not None
            line = process.stdout.readline()
            if not line:
                raise RuntimeError(f"{' '.join(command)} did not start")
            port = int(line.strip().rpartition(":")[2])
        else:
            _listening(port)
        yield Server(process, port)
    finally:
        process.terminate()
        process.wait(WAIT_S)


def _listening(port: int) -> None:
    until = time.monotonic() + WAIT_S
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)


@contextmanager
def roomlink(scratch: Path, venue: str, *, durable: bool = True) -> Iterator[Server]:
    """The real service on a real disk."""
    folder = write_venue(scratch / "venue", venue)
    data = ["--data", str(scratch / "data")] if durable else []
    command = [sys.executable, "-m", "roomlink", "serve", str(folder), "--open", "--port", "0", "--log", "error", *data]
    with running(command) as server:
        yield server


@contextmanager
def floor(kind: str, scratch: Path) -> Iterator[Server]:
    """A server to compare with: one of ``_floors.KINDS``, ``nats`` or ``mosquitto``."""
    if kind not in ("nats", "mosquitto"):
        with running([sys.executable, "-m", "tests.bench._floors", kind, str(scratch / f"{kind}.db")]) as server:
            yield server
        return
    port = free_port()
    if kind == "nats":
        command = ["nats-server", "-a", "127.0.0.1", "-p", str(port)]
    else:
        settings = scratch / "mosquitto.conf"
        settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n")
        command = ["mosquitto", "-c", str(settings)]
    with running(command, port) as server:
        yield server


def load(kind: str, server: Server, count: int, rate: float, changes: int, path: str = "/") -> dict[str, Any]:
    """Have ``count`` listeners in another process; the server's CPU seconds meanwhile are ``cpu``."""
    words = [kind, str(server.port), str(count), str(rate), str(changes), path]
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.bench._load", *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    if process.stdout.readline() != "ready\n":
        raise RuntimeError(f"the listeners of {kind} did not come to be")
    before = cpu_s(server.pid)
    memory = rss_bytes(server.pid)
    process.stdin.write("go\n")
    process.stdin.flush()
    found: dict[str, Any] = json.loads(process.stdout.readline())
    found["cpu"] = cpu_s(server.pid) - before
    found["memory"] = memory
    process.wait(WAIT_S)
    return found
