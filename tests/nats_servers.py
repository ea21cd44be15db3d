"""Real nats-server processes for tests: one, or a cluster, each on free ports with a store of its own."""

from __future__ import annotations

import signal
import socket
import subprocess
import threading
import time
from contextlib import suppress
from pathlib import Path

READY_S = 20.0


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


class NatsServer:
    """One server. ``start`` after ``kill`` gives the same server with what its disk has."""

    def __init__(self, folder: Path, name: str = "one", routes: dict[str, int] | None = None, more: str = "") -> None:
        self.name, self.port = name, free_port()
        folder.mkdir(parents=True, exist_ok=True)
        self._config = folder / f"{name}.conf"
        text = f'server_name: {name}\nlisten: "127.0.0.1:{self.port}"\njetstream {{ store_dir: "{folder / name}" }}\n'
        if routes:
            others = ", ".join(f'"nats://127.0.0.1:{port}"' for other, port in routes.items() if other != name)
            text += f'cluster {{ name: hall, listen: "127.0.0.1:{routes[name]}", routes: [{others}] }}\n'
        self._config.write_text(text + more)
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"nats://127.0.0.1:{self.port}"

    def start(self) -> None:
        self.process = subprocess.Popen(
            ["nats-server", "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until = time.monotonic() + READY_S
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.port), 0.5).close()
                return
            except OSError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.02)

    def reload(self, before: str, after: str) -> None:
        """Change its configuration while it runs."""
        assert self.process is not None
        self._config.write_text(self._config.read_text().replace(before, after))
        self.process.send_signal(signal.SIGHUP)

    def kill(self) -> None:
        """As a power cut does."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()
        self.process = None

    def pause(self) -> None:
        """Sleep until ``wake``; returns when it surely does."""
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)
        state = Path(f"/proc/{self.process.pid}/stat")
        while state.read_text().rpartition(")")[2].split()[0] != "T":
            time.sleep(0.001)

    def wake(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)

    def stop(self) -> None:
        if self.process is not None:
            self.wake()
            self.process.terminate()
            self.process.wait(READY_S)
            self.process = None


def cluster(folder: Path, names: tuple[str, ...]) -> list[NatsServer]:
    """Servers that replicate among themselves, started."""
    routes = {name: free_port() for name in names}
    servers = [NatsServer(folder, name, routes) for name in names]
    for server in servers:
        server.start()
    return servers


class Cable:
    """The network between one node and the servers' port: it can be pulled, so that nothing comes through either way.

    Nothing is closed then, as where packets vanish; what TCP had under way comes late, once it is plugged in again.
    """

    def __init__(self, to: int) -> None:
        self._to = to
        self._plugged = threading.Event()
        self._plugged.set()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"nats://127.0.0.1:{self._listening.getsockname()[1]}"
        self._socks: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def pull(self) -> None:
        self._plugged.clear()

    def plug(self) -> None:
        self._plugged.set()

    def close(self) -> None:
        self._plugged.set()
        for sock in (self._listening, *self._socks):
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
            sock.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                here, _ = self._listening.accept()
                there = socket.create_connection(("127.0.0.1", self._to))
                self._socks += [here, there]
                for one, other in ((here, there), (there, here)):
                    threading.Thread(target=self._pass, args=(one, other), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(1 << 16):
                self._plugged.wait()
                other.sendall(data)
            other.shutdown(socket.SHUT_RDWR)


class Torn(Cable):
    """A network that breaks the connection once, after ``left`` further bytes from the server; the rest is lost."""

    left: int | None = None
    torn = False

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        down = other in self._socks[::2]
        with suppress(OSError):
            while data := one.recv(1 << 12):
                if down and self.left is not None:
                    self.left -= len(data)
                    if self.left < 0:
                        self.left, self.torn = None, True
                        break
                other.sendall(data)
        for sock in (one, other):
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
