"""What others feel of 100 readers that do not read and one panel that floods: their p99 beside the quiet one."""

from __future__ import annotations

import multiprocessing
import socket
import statistics
import tempfile
import threading
import time
from itertools import count
from pathlib import Path

from tests.api.harness import HARBOUR
from tests.bench import _load
from tests.bench import _rig as rig
from tests.bench._figures import Figure, Found
from tests.bench.press import Presser

READERS, PRESSES, ROUNDS = 100, 400, 4
FLOODS_S = 1.0
"""The flood has so long to be one, before anything is measured."""
QUIET_PATH, FLOOD_PATH = "/api/v1/panels/tern-wall", "/api/v1/panels/heron-wall"


def _asleep(port: int) -> socket.socket:
    """A watcher that shakes hands, and then never reads."""
    sock = socket.socket()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    sock.connect(("127.0.0.1", port))
    _load.kinds("/api/v1/watch")["roomlink"].shake(sock)
    return sock


def flood(port: int) -> None:
    """A panel that sends without waiting for answers, and reads all that it hears, until the process ends."""
    kind = _load.kinds(FLOOD_PATH)["roomlink"]
    sock = socket.create_connection(("127.0.0.1", port), 10)
    kind.shake(sock)

    def read() -> None:
        while sock.recv(65536):
            pass

    threading.Thread(target=read, daemon=True).start()
    for number in count(step=50):
        sock.sendall(b"".join(kind.ask(number + i) for i in range(50)))


def _p99_s(presser: Presser) -> float:
    return statistics.quantiles((presser.press() for _ in range(PRESSES)), n=100)[98]


def measure() -> dict[str, list[float]]:
    """Seconds of the slowest of a hundred presses, in quiet and in the crowd; bytes that the crowd costs."""
    found: dict[str, list[float]] = {"quiet_s": [], "crowd_s": [], "bytes": []}
    with tempfile.TemporaryDirectory() as made, rig.roomlink(Path(made), HARBOUR) as service:
        presser = Presser("roomlink", service.port, QUIET_PATH)
        _p99_s(presser)
        for _ in range(ROUNDS):
            found["quiet_s"].append(_p99_s(presser))
            before = rig.rss_bytes(service.pid)
            asleep = [_asleep(service.port) for _ in range(READERS)]
            flooding = multiprocessing.get_context("spawn").Process(target=flood, args=(service.port,))
            flooding.start()
            time.sleep(FLOODS_S)
            found["crowd_s"].append(_p99_s(presser))
            found["bytes"].append(rig.rss_bytes(service.pid) - before)
            flooding.terminate()
            flooding.join()
            for sock in asleep:
                sock.close()
    return found


def main() -> list[Found]:
    found = measure()
    what = f"p99 of a press beside {READERS} readers that do not read and a flood"
    return [
        Figure(what, "ms", found["crowd_s"], "the same in quiet", found["quiet_s"]),
        Figure("Memory that these cost", "bytes", found["bytes"]),
    ]
