"""What others feel of 100 readers that do not read and one panel that floods: their p99 beside the quiet one."""

from __future__ import annotations

import socket
import statistics
import tempfile
import threading
from pathlib import Path

from tests.api.harness import HARBOUR
from tests.bench import _load
from tests.bench import _rig as rig
from tests.bench.press import Presser

READERS, PRESSES, ROUNDS = 100, 400, 4
QUIET_PATH, FLOOD_PATH = "/api/v1/panels/tern-wall", "/api/v1/panels/heron-wall"


def _asleep(port: int) -> socket.socket:
    """A watcher that shakes hands, and then never reads."""
    sock = socket.socket()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    sock.connect(("127.0.0.1", port))
    _load.kinds("/api/v1/watch")["roomlink"].shake(sock)
    return sock


class Flood:
    """A panel that sends without waiting, and reads all that it hears, until ``end``."""

    def __init__(self, port: int) -> None:
        self.kind = _load.kinds(FLOOD_PATH)["roomlink"]
        self.sock = socket.create_connection(("127.0.0.1", port), 10)
        self.kind.shake(self.sock)
        self.sent = 0
        self._over = threading.Event()
        self._threads = [threading.Thread(target=run) for run in (self._send, self._read)]
        for thread in self._threads:
            thread.start()

    def _send(self) -> None:
        try:
            while not self._over.is_set():
                self.sock.sendall(b"".join(self.kind.ask(self.sent + i) for i in range(50)))
                self.sent += 50
        except OSError:
            return

    def _read(self) -> None:
        try:
            while self.sock.recv(65536):
                pass
        except OSError:
            return

    def end(self) -> None:
        self._over.set()
        self.sock.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join()
        self.sock.close()


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
            flood = Flood(service.port)
            found["crowd_s"].append(_p99_s(presser))
            found["bytes"].append(rig.rss_bytes(service.pid) - before)
            flood.end()
            for sock in asleep:
                sock.close()
    return found


def main() -> None:
    found = measure()
    quiet, crowd = statistics.median(found["quiet_s"]), statistics.median(found["crowd_s"])
    print(f"{READERS} readers that do not read and a flood; {PRESSES} presses of another panel, {ROUNDS} rounds")
    print(f"p99 in quiet ms   {rig.spread([s * 1e3 for s in found['quiet_s']])}")
    print(f"p99 in the crowd  {rig.spread([s * 1e3 for s in found['crowd_s']])}: {crowd / quiet:.2f} x")
    print(f"memory more, MB   {rig.spread([n / 1e6 for n in found['bytes']])}")


if __name__ == "__main__":
    main()
