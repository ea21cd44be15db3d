"""An OSC device over UDP or over TCP. Both encode and hear alike; they differ in how they notice an outage."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Mapping

from roomlink.drivers.osc import wire
from roomlink.drivers.osc.models import OscConfig, OscPoint, from_argument, to_argument
from roomlink.drivers.port import Device, DeviceFault, Hear, PointFault, Value, WireFault

DRAIN_S_MAX = 3.0
"""A device that takes nothing for so long is gone, whatever its connection says."""
READ_OCTETS = 4096


def make(config: OscConfig, points: Mapping[str, OscPoint]) -> Device:
    """The device for the transport that ``config`` names."""
    return OscOverTcp(config, points) if config.transport == "tcp" else OscOverUdp(config, points)


class _Codec:
    """What both transports share."""

    def __init__(self, config: OscConfig, points: Mapping[str, OscPoint]) -> None:
        self.rate_hz = config.rate
        self._config = config
        self._points = points
        self._hears: dict[str, list[str]] = {}
        for name, point in points.items():
            self._hears.setdefault(point.hears, []).append(name)
        self._hear: Hear | None = None

    def _encode(self, values: Mapping[str, Value]) -> dict[str, bytes]:
        packets = {}
        for name, value in values.items():
            point = self._points[name]
            try:
                packets[name] = wire.encode_argument(point.address, to_argument(value, point.type))
            except ValueError as error:
                raise PointFault(name, str(error)) from error
        return packets

    def _decode(self, packet: bytes) -> None:
        """Hand on every report in a packet; raises WireFault for what is none."""
        for message in wire.decode(packet):
            for name in self._hears.get(message.address, ()) if message.args else ():
                # An argument of another type than the point's is no report of it.
                with contextlib.suppress(ValueError):
                    value = from_argument(message.args[0], self._points[name].type)
                    if self._hear is not None:
                        self._hear(name, value)


class OscOverUdp(_Codec, asyncio.DatagramProtocol):
    """Nobody says whether a datagram arrived, so everything is sent again every ``refresh`` seconds."""

    detects_loss = False

    def __init__(self, config: OscConfig, points: Mapping[str, OscPoint]) -> None:
        super().__init__(config, points)
        self._latest: dict[str, bytes] = {}
        self._transport: asyncio.DatagramTransport | None = None
        self._address: tuple[str, int] = ("", 0)
        self._fault: asyncio.Future[None] | None = None

    async def connect(self, hear: Hear) -> None:
        loop = asyncio.get_running_loop()
        found = await loop.getaddrinfo(self._config.host, self._config.port, type=socket.SOCK_DGRAM)
        family, *_, address = found[0]
        self._address = (str(address[0]), self._config.port)
        self._hear = hear
        self._latest.clear()
        self._fault = loop.create_future()
        sock = socket.socket(family, socket.SOCK_DGRAM)
        try:
            sock.setblocking(False)
            sock.bind(("", self._config.listen or 0))
            self._transport, _ = await loop.create_datagram_endpoint(lambda: self, sock=sock)
        except BaseException:
            sock.close()
            raise

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        """One datagram a value."""
        packets = self._encode(values)
        self._latest.update(packets)
        self._put(packets)
        return set()

    async def serve(self) -> None:
        """Reports come by ``datagram_received``; this refreshes, and ends when the network takes nothing more."""
        if self._fault is None:
            raise DeviceFault("not connected")
        while True:
            done, _ = await asyncio.wait((self._fault,), timeout=self._config.refresh or None)
            if done:
                self._fault.result()
            self._put(self._latest)

    async def close(self) -> None:
        transport, self._transport = self._transport, None
        if transport is not None:
            transport.close()

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        # Whoever else is on the network does not speak for this device; and there is no connection to give up.
        if addr[0] == self._address[0]:
            with contextlib.suppress(WireFault):
                self._decode(data)

    def error_received(self, exc: Exception) -> None:
        if self._fault is not None and not self._fault.done():
            self._fault.set_exception(DeviceFault(str(exc)))

    def _put(self, packets: Mapping[str, bytes]) -> None:
        if self._transport is None:
            raise DeviceFault("not connected")
        for packet in packets.values():
            self._transport.sendto(packet, self._address)


class OscOverTcp(_Codec):
    """A connection in SLIP frames; its end is the loss of the device."""

    detects_loss = True

    def __init__(self, config: OscConfig, points: Mapping[str, OscPoint]) -> None:
        super().__init__(config, points)
        self._reader: asyncio.StreamReader | None = None
        self._writer: asyncio.StreamWriter | None = None

    async def connect(self, hear: Hear) -> None:
        self._hear = hear
        self._reader, self._writer = await asyncio.open_connection(self._config.host, self._config.port)
        watch(self._writer)

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        """One frame a value, in one write."""
        writer = self._writer
        if writer is None or writer.is_closing():
            raise DeviceFault("not connected")
        writer.write(b"".join(map(wire.slip, self._encode(values).values())))
        async with asyncio.timeout(DRAIN_S_MAX):
            await writer.drain()
        return set()

    async def serve(self) -> None:
        """Hears reports until the device ends the connection, or sends what is no OSC."""
        if self._reader is None:
            raise DeviceFault("not connected")
        frames = wire.Unslip()
        while octets := await self._reader.read(READ_OCTETS):
            for packet in frames.feed(octets):
                self._decode(packet)
        raise DeviceFault("the device ended the connection")

    async def close(self) -> None:
        writer, self._writer = self._writer, None
        if writer is not None:
            writer.close()
            # What was written last is flushed first; a device that takes nothing is not waited for.
            with contextlib.suppress(OSError, TimeoutError):
                async with asyncio.timeout(1.0):
                    await writer.wait_closed()


def watch(writer: asyncio.StreamWriter) -> None:
    """Let the kernel find out within 10 s that a silent peer is gone: a pulled cable says nothing."""
    sock = writer.get_extra_info("socket")
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for option, value in (("TCP_KEEPIDLE", 4), ("TCP_KEEPINTVL", 2), ("TCP_KEEPCNT", 3), ("TCP_USER_TIMEOUT", 10_000)):
        if hasattr(socket, option):  # not every system has all of them
            sock.setsockopt(socket.IPPROTO_TCP, getattr(socket, option), value)
