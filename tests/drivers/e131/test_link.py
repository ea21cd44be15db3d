"""One universe on a real socket: frames, gaps, good-byes."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from itertools import pairwise

import pytest

from roomlink.drivers.e131 import DRIVER
from roomlink.drivers.e131.wire import Packet, decode
from roomlink.drivers.port import Device, DeviceFault, PointFault, Value
from tests.contracts.driver import until


class Listener(asyncio.DatagramProtocol):
    """Notes packets with the time of their arrival."""

    def __init__(self) -> None:
        self.packets: list[tuple[float, Packet]] = []

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.packets.append((time.monotonic(), decode(data)))

    @property
    def latest(self) -> Packet:
        return self.packets[-1][1]


Make = Callable[..., Device]


@asynccontextmanager
async def listening() -> AsyncIterator[tuple[Listener, Make]]:
    transport, listener = await asyncio.get_running_loop().create_datagram_endpoint(
        Listener, local_addr=("127.0.0.1", 0)
    )
    port = transport.get_extra_info("sockname")[1]

    def make(*points: dict[str, int], **keys: object) -> Device:
        config = DRIVER.config.model_validate({"universe": 2, "destination": "localhost", "port": port, **keys})
        found = [DRIVER.point.model_validate(point) for point in points or ({"channel": 1}, {"channel": 5, "bits": 16})]
        return DRIVER.make(config, {DRIVER.point_name(config, point): point for point in found})

    try:
        yield listener, make
    finally:
        transport.close()


async def ignore(device: Device) -> None:
    await device.connect(lambda _point, _value: None)


async def test_many_points_go_in_one_frame() -> None:
    """512 values, one packet."""
    async with listening() as (listener, make):
        device = make(*({"channel": channel} for channel in range(1, 513)))
        await ignore(device)
        await device.send({str(channel): channel % 2 for channel in range(1, 513)})
        assert await until(lambda: len(listener.packets) == 1, 1.0)
        assert listener.latest.slots == b"\xff\0" * 256
        await device.close()


async def test_nothing_is_sent_before_the_first_value() -> None:
    """Neither a frame of zeros nor a good-bye."""
    async with listening() as (listener, make):
        device = make()
        await ignore(device)
        await asyncio.sleep(0.1)
        await device.close()
        await asyncio.sleep(0.05)
        assert listener.packets == []


async def test_repeats_keep_alive_and_good_bye_on_the_wire() -> None:
    """Three packets, one within 800 to 1000 ms, three good-byes; never closer than the rate allows."""
    async with listening() as (listener, make):
        device = make(rate=20.0)
        await ignore(device)
        await device.send({"1": 1.0})
        await asyncio.sleep(1.4)
        await device.close()
        assert await until(lambda: len(listener.packets) == 7, 1.0)
        gaps = [b - a for (a, _), (b, _) in pairwise(listener.packets)]
        assert min(gaps) >= 0.045
        assert 0.8 <= gaps[2] <= 1.0
        assert [packet.terminated for _, packet in listener.packets] == [False] * 4 + [True] * 3
        assert [packet.sequence for _, packet in listener.packets] == list(range(7))


async def test_a_change_that_no_octet_shows_is_not_sent() -> None:
    """A slow fade costs frames only when a channel really moves."""
    async with listening() as (listener, make):
        device = make()
        await ignore(device)
        for value in (0.5, 0.5001, 0.5002):
            await device.send({"1": value})
        await asyncio.sleep(0.02)
        assert len(listener.packets) == 1
        await device.close()


async def test_sixteen_bits_go_coarse_before_fine() -> None:
    """Coarse in the channel, fine in the next; a switch is full or off."""
    async with listening() as (listener, make):
        device = make()
        await ignore(device)
        await device.send({"1": True, "5+6": 0x1234 / 65535})
        assert await until(lambda: len(listener.packets) == 1, 1.0)
        assert listener.latest.slots[:7] == b"\xff\0\0\0\x12\x34\0"
        await device.close()


@pytest.mark.parametrize("value", [None, "full", float("nan")])
async def test_what_is_no_level_is_refused(value: Value) -> None:
    """The point is named; the others can go on."""
    async with listening() as (_, make):
        device = make()
        await ignore(device)
        with pytest.raises(PointFault, match="a level from 0 to 1") as refused:
            await device.send({"1": value})
        assert refused.value.point == "1"
        await device.close()


async def test_a_network_that_takes_nothing_is_a_fault() -> None:
    """Without a route the runner must know, and try again."""
    async with listening() as (_, make):
        device = make(destination="255.255.255.255")  # broadcast is not allowed on this socket
        await ignore(device)
        with pytest.raises(OSError, match="denied"):
            await device.send({"1": 1.0})
        await device.close()
        with pytest.raises(DeviceFault):
            await device.send({"1": 0.0})


async def test_multicast_reaches_the_group_of_the_universe() -> None:
    """On the interface that the configuration names."""
    async with listening() as (_, make):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.bind(("239.255.2.1", 0))
            member = socket.inet_aton("239.255.2.1") + socket.inet_aton("127.0.0.1")
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)
            sock.settimeout(2.0)
            port = sock.getsockname()[1]
            device = make(universe=513, destination="multicast", interface="127.0.0.1", port=port)
            await ignore(device)
            await device.send({"1": 1.0})
            assert decode(sock.recv(2000)).universe == 513
            await device.close()
