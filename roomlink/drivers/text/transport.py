"""The three ways of carrying bytes to a device that speaks lines: TCP, UDP and a serial port."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from asyncio import StreamReader, StreamWriter
from typing import Any, Protocol

from roomlink.drivers.port import DeviceFault
from roomlink.drivers.text.config import TextConfig

CHUNK_BYTES = 16_384
DATAGRAMS_MAX = 256
"""Datagrams that wait to be read; more are dropped, as a network would."""
SILENCE_S = 6
"""A TCP device that acknowledges nothing for so long is gone."""


class Transport(Protocol):
    """Bytes to and from one device. ``whole`` says that each ``read`` gives whole lines."""

    whole: bool

    async def read(self) -> bytes:
        """What arrived; raises DeviceFault when nothing more can."""

    async def write(self, data: bytes) -> None: ...

    async def close(self) -> None: ...


class _Stream:
    whole = False

    def __init__(self, reader: StreamReader, writer: Any, errors: tuple[type[Exception], ...] = ()) -> None:
        self._reader, self._writer, self._errors = reader, writer, errors

    async def read(self) -> bytes:
        try:
            data = await self._reader.read(CHUNK_BYTES)
        except self._errors as error:
            raise DeviceFault(f"the port failed: {error}") from error
        if not data:
            raise DeviceFault("the device ended the connection")
        return data

    async def write(self, data: bytes) -> None:
        try:
            self._writer.write(data)
            await self._writer.drain()
        except self._errors as error:
            raise DeviceFault(f"the port failed: {error}") from error

    async def close(self) -> None:
        self._writer.close()
        # Where it was gone before, that is as good.
        with contextlib.suppress(OSError, *self._errors):
            await self._writer.wait_closed()


class _Datagrams(asyncio.DatagramProtocol):
    whole = True

    def __init__(self) -> None:
        self._arrived: asyncio.Queue[bytes | Exception] = asyncio.Queue(DATAGRAMS_MAX)
        self._transport: asyncio.DatagramTransport | None = None
        self._closed = asyncio.Event()

    def connection_made(self, transport: Any) -> None:
        # Any: event loops' own datagram transports are no subclasses of the one that asyncio declares.
        self._transport = transport

    def connection_lost(self, exc: Exception | None) -> None:
        self._closed.set()

    def datagram_received(self, data: bytes, addr: Any) -> None:
        self._put(data)

    def error_received(self, exc: Exception) -> None:
        # A connected socket hears when nobody listens at the port.
        self._put(exc)

    def _put(self, item: bytes | Exception) -> None:
        if not self._arrived.full():
            self._arrived.put_nowait(item)

    async def read(self) -> bytes:
        item = await self._arrived.get()
        if isinstance(item, Exception):
            raise DeviceFault(f"the device does not listen: {item}") from item
        return item

    async def write(self, data: bytes) -> None:
        if self._transport is None or self._transport.is_closing():
            raise DeviceFault("the connection is closed")
        self._transport.sendto(data)

    async def close(self) -> None:
        if self._transport is not None:
            self._transport.close()
            await self._closed.wait()


async def open_transport(config: TextConfig) -> Transport:
    """Open what the configuration says; raises DeviceFault or OSError."""
    if config.transport == "serial":
        return await _serial(config)
    if config.transport == "udp":
        loop = asyncio.get_running_loop()
        _, protocol = await loop.create_datagram_endpoint(
            _Datagrams, remote_addr=(str(config.host), int(config.port or 0))
        )
        return protocol
    reader, writer = await asyncio.open_connection(config.host, config.port, limit=4 * CHUNK_BYTES)
    _notice_silence(writer)
    return _Stream(reader, writer)


def _notice_silence(writer: StreamWriter) -> None:
    """Have the kernel find out that a cable was pulled, which sends no sign of its own."""
    connection = writer.get_extra_info("socket")
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    # Not every system has each of them.
    for option, value in (
        ("TCP_KEEPIDLE", SILENCE_S // 2),
        ("TCP_KEEPINTVL", 1),
        ("TCP_KEEPCNT", SILENCE_S // 2),
        ("TCP_USER_TIMEOUT", SILENCE_S * 1000),
        ("TCP_NODELAY", 1),
    ):
        if (number := getattr(socket, option, None)) is not None:
            connection.setsockopt(socket.IPPROTO_TCP, number, value)


async def _serial(config: TextConfig) -> Transport:
    try:
        import serialx
    except ModuleNotFoundError as error:
        raise DeviceFault('a serial port needs serialx, which is not installed; install "roomlink[serial]"') from error
    parity = {"none": serialx.Parity.NONE, "even": serialx.Parity.EVEN, "odd": serialx.Parity.ODD}[config.parity]
    stop_bits = {1: serialx.StopBits.ONE, 2: serialx.StopBits.TWO}[config.stop_bits]
    try:
        reader, writer = await serialx.open_serial_connection(
            config.path, config.baud, parity=parity, stopbits=stop_bits, exclusive=True
        )
    except (serialx.SerialException, ValueError) as error:
        raise DeviceFault(f"the serial port {config.path} cannot be opened: {error}") from error
    return _Stream(reader, writer, (serialx.SerialException,))
