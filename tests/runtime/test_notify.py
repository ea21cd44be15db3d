"""``runtime.notify``: what a service manager is told, and how often."""

from __future__ import annotations

import asyncio
import os
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from roomlink.runtime.notify import Supervisor


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    """The socket on which a service manager hears."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        heard.setblocking(False)
        yield heard


def environ(manager: socket.socket, **more: str) -> dict[str, str]:
    return {"NOTIFY_SOCKET": manager.getsockname(), **more}


def test_it_says_what_becomes_of_the_service(manager: socket.socket) -> None:
    """Ready, reading its configuration again (with the time, so that this is no older news), and stopping."""
    supervisor = Supervisor(environ(manager))
    supervisor.ready()
    assert manager.recv(200) == b"READY=1"
    before = time.monotonic_ns() // 1000
    supervisor.reloading()
    word, _, stamp = manager.recv(200).decode().partition("\nMONOTONIC_USEC=")
    assert word == "RELOADING=1"
    assert before <= int(stamp) <= time.monotonic_ns() // 1000
    supervisor.stopping()
    assert manager.recv(200) == b"STOPPING=1"


def test_an_abstract_address_is_understood() -> None:
    """A name that begins with @ lies in no folder."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(b"\0roomlink-test-%d" % os.getpid())
        heard.setblocking(False)
        Supervisor({"NOTIFY_SOCKET": f"@roomlink-test-{os.getpid()}"}).stopping()
        assert heard.recv(200) == b"STOPPING=1"


def test_where_nobody_listens_nothing_fails(tmp_path: Path) -> None:
    """Neither without an address nor with one at which nobody is."""
    Supervisor({}).stopping()
    Supervisor({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).stopping()


async def test_signs_of_life_come_from_the_event_loop_twice_in_the_time_allowed(manager: socket.socket) -> None:
    """One at once, then again and again; being ready twice does not double them."""
    supervisor = Supervisor(environ(manager, WATCHDOG_USEC="100000", WATCHDOG_PID=str(os.getpid())))
    loop = asyncio.get_running_loop()
    began = loop.time()
    supervisor.ready()
    supervisor.ready()
    heard = [(await loop.sock_recv(manager, 200)).decode() for _ in range(5)]
    assert heard == ["READY=1", "WATCHDOG=1", "READY=1", "WATCHDOG=1", "WATCHDOG=1"]
    assert loop.time() - began >= 0.1 - 0.01


async def test_no_signs_of_life_where_they_are_asked_of_another_process(manager: socket.socket) -> None:
    """The time is for the process that it names."""
    Supervisor(environ(manager, WATCHDOG_USEC="2000", WATCHDOG_PID="1")).ready()
    await asyncio.sleep(0.01)
    assert manager.recv(200) == b"READY=1"
    with pytest.raises(BlockingIOError):
        manager.recv(200)
