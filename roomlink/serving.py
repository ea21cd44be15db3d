"""How a venue's application is served on a port: uvicorn, with bounds on everything."""

from __future__ import annotations

import errno
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from roomlink import limits
from roomlink.api.app import application
from roomlink.api.door import Door
from roomlink.api.wire import Wire
from roomlink.runtime.notify import Supervisor
from roomlink.runtime.simulated import SimulatedWalls
from roomlink.runtime.writer import Writer

PING_S = 5.0
"""How often sockets are pinged, and how long the answer may take, so that dead peers are noticed."""
SHUTDOWN_S = 3


def say_code(code: str, at: str) -> None:
    """Tell whoever started the service the code for the first engineer: on the terminal, and in no log's fields."""
    sys.stderr.write(
        f"\n  The code to make an engineer: {code}\n"
        f"  Open {at}/sign-in and give it with a name and a password. It is good once, until the service stops.\n\n"
    )
    sys.stderr.flush()


def server_config(
    writer: Writer,
    simulated: SimulatedWalls,
    *,
    tls: tuple[Path, Path] | None = None,
    behind_proxy: bool = False,
    **state: Any,
) -> uvicorn.Config:
    """How uvicorn serves the application: one process, one loop, bounds on everything.

    What a request says of whom it was forwarded for is believed only behind a proxy, and only from this machine.
    """
    cert, key = tls or (None, None)
    return uvicorn.Config(
        application(writer, simulated, **state),
        http=Door,
        ws=Wire,
        ws_max_size=limits.MESSAGE_BYTES_MAX,
        ws_per_message_deflate=False,
        ws_ping_interval=PING_S,
        ws_ping_timeout=PING_S,
        log_config=None,
        access_log=False,
        lifespan="off",
        server_header=False,
        proxy_headers=behind_proxy,
        forwarded_allow_ips=["127.0.0.1", "::1"],
        ssl_certfile=cert,
        ssl_keyfile=key,
        timeout_graceful_shutdown=SHUTDOWN_S,
    )


class Server(uvicorn.Server):
    """uvicorn's server that says on standard output, and to who started it, where and when it listens."""

    def __init__(self, config: uvicorn.Config, address: str, supervisor: Supervisor) -> None:
        super().__init__(config)
        self.address = address
        self._supervisor = supervisor

    @property
    def app(self) -> Any:
        return self.config.app

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        sys.stdout.write(self.address + "\n")
        sys.stdout.flush()
        self._supervisor.ready()

    def end(self) -> None:
        """Take no more requests, close every socket, return from ``serve``."""
        self.app.state.writer.stopping = True
        self._supervisor.stopping()
        self.should_exit = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self.app.state.streams.end()
        await super().shutdown(sockets)

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Signals are for the whole process, which may serve several venues: whoever runs those hears them."""
        yield


def address(host: str, bound: socket.socket, *, secure: bool = False) -> str:
    """Where a browser finds it."""
    return f"http{'s' if secure else ''}://{f'[{host}]' if ':' in host else host}:{bound.getsockname()[1]}"


def asked_for(address: str, names: tuple[str, ...], *, behind_proxy: bool) -> str:
    """The address that a person gives to a browser: by the name that the service has there, or the proxy before it."""
    if not names:
        return address
    if behind_proxy:
        return f"https://{names[0]}"
    return f"https://{names[0]}:{address.rpartition(':')[2]}" if address.startswith("https:") else address


def cannot_use(pair: tuple[Path, Path] | None, error: OSError) -> str:
    """What is wrong with a certificate and its key; what OpenSSL says names no file, and little else."""
    cert, key = pair or ("", "")
    missing = [str(path) for path in pair or () if not Path(path).exists()]
    if missing:
        return f"there is no file {missing[0]}: give the certificate with --cert and its key with --key, both as PEM"
    return (
        f"{cert} and {key} cannot be used ({error}): the first holds the certificate and its chain, the second its key,"
        " both as PEM, and the service may read them"
    )


def bind(host: str, port: int) -> socket.socket:
    """A listening socket; port 0 takes a free one. Raises OSError with the address in its text."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # With the protocol named, asyncio turns off the waiting of small writes (Nagle) on what is accepted.
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    # Inherited by what is accepted: news for a slow panel waits where it still merges, not in the kernel.
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.SEND_BUFFER_BYTES)
    try:
        bound.bind((host, port))
    except OSError as error:
        bound.close()
        taken = "; stop what listens there, or name another --port" if error.errno == errno.EADDRINUSE else ""
        raise OSError(f"cannot listen on {host} port {port}: {error.strerror}{taken}") from None
    bound.setblocking(False)
    return bound
