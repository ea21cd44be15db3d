"""Sends one universe over UDP, from what ``Source`` says."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Mapping

from roomlink.drivers.e131 import wire
from roomlink.drivers.e131.models import E131Config, E131Point
from roomlink.drivers.e131.source import REPEATS, Source
from roomlink.drivers.mapping import to_eight_bits, to_sixteen_bits
from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value


class E131Device:
    """One universe. Nothing is sent before the first value: a frame of zeros would put out what others hold."""

    detects_loss = False

    def __init__(self, config: E131Config, points: Mapping[str, E131Point]) -> None:
        self.rate_hz = config.rate
        self._config = config
        self._places = {name: (point.channel - 1, point.bits) for name, point in points.items()}
        self._source = Source(config)
        self._socket: socket.socket | None = None
        self._address = ("", 0)
        self._sent_at: float | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._fault: asyncio.Future[None] | None = None

    async def connect(self, hear: Hear) -> None:
        """Only finds the address: a receiver does not answer."""
        loop = asyncio.get_running_loop()
        config = self._config
        host = wire.multicast_address(config.universe) if config.destination == "multicast" else config.destination
        found = await loop.getaddrinfo(host, config.port, family=socket.AF_INET, type=socket.SOCK_DGRAM)
        self._address = (str(found[0][4][0]), config.port)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        if config.interface is not None:
            self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, config.interface.packed)
        self._fault = loop.create_future()
        self._source.renew()

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        """All values in one frame, at once or as soon as the rate allows; none if no octet changes."""
        slots = self._source.slots
        for name, value in values.items():
            index, bits = self._places[name]
            if not isinstance(value, int | float) or value != value:  # not a number differs from itself
                raise PointFault(name, f"a channel takes a level from 0 to 1, not {value!r}")
            if bits == 8:
                slots[index] = to_eight_bits(value)
            else:
                slots[index : index + 2] = to_sixteen_bits(value).to_bytes(2, "big")
        if self._source.changed:
            await self._pace()
            self._transmit()
        return set()

    async def serve(self) -> None:
        """Repeats and keeps alive by timer; ends when the network no longer takes what it sends."""
        if self._fault is None:
            raise DeviceFault("not connected")
        await self._fault

    async def close(self) -> None:
        """Ends the stream with ``REPEATS`` packets, so that receivers need not wait for it to time out."""
        self._disarm()
        if self._socket is None:
            return
        sock, self._socket = self._socket, None
        try:
            # Without a route there is nobody to say good-bye to.
            with contextlib.suppress(OSError):
                for _ in range(REPEATS if self._sent_at is not None else 0):
                    await self._pace()
                    self._put(sock, self._source.good_bye())
        finally:
            self._sent_at = None
            sock.close()

    async def _pace(self) -> None:
        """Wait until the rate allows another packet."""
        if self._sent_at is not None:
            wait = self._sent_at + 1.0 / self.rate_hz - asyncio.get_running_loop().time()
            if wait > 0.001:  # a sleep that short would take longer than it says
                await asyncio.sleep(wait)

    def _transmit(self) -> None:
        """Send the slots as they are, and arm the timer for the repeat."""
        self._disarm()
        if self._socket is None:
            raise DeviceFault("not connected")
        self._put(self._socket, self._source.packet())
        self._timer = asyncio.get_running_loop().call_later(self._source.gap_s, self._again)

    def _again(self) -> None:
        try:
            self._transmit()
        except (OSError, DeviceFault) as error:
            if self._fault is not None and not self._fault.done():
                self._fault.set_exception(DeviceFault(str(error)))

    def _put(self, sock: socket.socket, octets: bytearray) -> None:
        self._sent_at = asyncio.get_running_loop().time()
        # A full buffer loses this packet, as the network may; the next one carries everything again.
        with contextlib.suppress(BlockingIOError):
            sock.sendto(octets, self._address)

    def _disarm(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
