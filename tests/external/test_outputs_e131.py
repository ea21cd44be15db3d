"""ANSI E1.31 against the ``sacn`` library and the dissector of ``tshark``.

The layout was generated with ``sacn`` 1.11.0; the times and the discard rule are the standard's as others quote them
(the standard itself was not read).
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from uuid import UUID

import pytest
import sacn
from sacn.messages.data_packet import DataPacket, calculate_multicast_addr
from sacn.receiving.receiver_handler import E131_NETWORK_DATA_LOSS_TIMEOUT_ms, ReceiverHandler

from roomlink.core.records import Level
from roomlink.drivers.e131 import DRIVER, wire
from roomlink.drivers.e131.receiver import LOSS_S, out_of_order
from roomlink.drivers.mapping import Scaling
from roomlink.drivers.runner import Runner
from tests.contracts.driver import constant, until
from tests.drivers.ports import free_udp
from tests.external.dissect import dissect, needs_tshark

CID = UUID("c0ffee00-0000-4000-8000-000000000001")
PACKET = wire.Packet(CID, "roomlink", 258, 77, bytes(range(256)) * 2, priority=120)


@pytest.mark.parametrize(
    ("at", "octets"),
    [
        (0, "0010 0000"),
        (4, "41 53 43 2d 45 31 2e 31 37 00 00 00"),
        (16, "726e 00000004"),
        (22, CID.hex),
        (38, "7258 00000002"),
        (44, b"roomlink".hex() + "00" * 56),
        (108, "78 0000 4d 00 0102"),
        (115, "720b 02 a1 0000 0001 0201 00"),
        (126, (bytes(range(256)) * 2).hex()),
    ],
)
def test_every_field_is_at_its_offset(at: int, octets: str) -> None:
    """Offsets and constants of a full frame of 638 octets."""
    expected = bytes.fromhex(octets)
    frame = bytes(wire.encode(PACKET))
    assert len(frame) == 638
    assert frame[at : at + len(expected)] == expected


def test_the_library_reads_our_frames_and_writes_the_same_octets() -> None:
    """``sacn`` makes the same packet of the same fields."""
    frame = bytes(wire.encode(PACKET))
    read = DataPacket.make_data_packet(list(frame))
    assert (read.cid, read.sourceName.rstrip("\0"), read.universe) == (tuple(CID.bytes), "roomlink", 258)
    assert (read.priority, read.sequence, read.dmxData) == (120, 77, tuple(PACKET.slots))
    written = DataPacket(tuple(CID.bytes), "roomlink", 258, dmxData=tuple(PACKET.slots), priority=120, sequence=77)
    assert bytes(written.getBytes()) == frame
    assert wire.decode(bytes(written.getBytes())) == PACKET


@pytest.mark.parametrize(("universe", "group"), [(1, "239.255.0.1"), (256, "239.255.1.0"), (63999, "239.255.249.255")])
def test_multicast_groups_carry_the_universe(universe: int, group: str) -> None:
    """Three known ones; for all of them ``sacn`` agrees."""
    assert wire.multicast_address(universe) == group
    for each in range(1, 64_000, 97):
        assert wire.multicast_address(each) == calculate_multicast_addr(each)


def test_constants_are_the_standards() -> None:
    """Port, universes, priority, the DMX512 ceiling, the loss time-out."""
    assert (wire.PORT, wire.UNIVERSE_MAX, wire.PRIORITY_DEFAULT, wire.PRIORITY_MAX) == (5568, 63_999, 100, 200)
    assert wire.RATE_HZ_MAX == 44
    assert LOSS_S == E131_NETWORK_DATA_LOSS_TIMEOUT_ms / 1000 == 2.5
    with pytest.raises(ValueError, match="44"):
        DRIVER.config.model_validate({"universe": 1, "rate": 45})


@pytest.mark.parametrize("last", [0, 19, 100, 127])
def test_late_packets_are_discarded_as_the_library_does(last: int) -> None:
    """-20 < new - last <= 0. The library does not think of the wrap at 256, so this stays clear of it."""
    for new in range(max(last - 60, 0), min(last + 60, 256)):
        handler: Any = ReceiverHandler.__new__(ReceiverHandler)
        handler._lastSequence = {1: last}
        legal = ReceiverHandler.is_legal_sequence(handler, SimpleNamespace(sequence=new, universe=1))
        assert out_of_order(new, last) == (not legal) == (-20 < new - last <= 0)


class Tap(asyncio.DatagramProtocol):
    """Keeps every datagram with the time of its arrival."""

    def __init__(self) -> None:
        self.datagrams: list[tuple[float, bytes]] = []

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.datagrams.append((time.time(), data))


def make_runner(port: int, **keys: Any) -> Runner:
    config = DRIVER.config.model_validate({"universe": 258, "destination": "127.0.0.1", "port": port, **keys})
    point = DRIVER.point.model_validate({"channel": 3})
    device = DRIVER.make(config, {"3": point})
    return Runner("dimmer", device, time.monotonic, lambda _point, _value: None, lambda _health: None)


FIELDS = (
    *("frame.time_relative", "acn.preamble_size", "acn.postamble_size", "acn.packet_identifier", "acn.pdu.length"),
    *("acn.protocol_id", "acn.cid", "acn.dmx_vector", "acn.dmx.source_name", "acn.dmx.priority", "acn.dmx.reserved"),
    *("acn.dmx.seq_number", "acn.dmx.options", "acn.dmx.option_p", "acn.dmx.option_s", "acn.dmx.universe"),
    *("acn.dmp_vector", "acn.dmx.first_property_address", "acn.dmx.increment", "acn.dmx.count"),
    *("acn.dmx.start_code2", "acn.dmx.data", "_ws.malformed"),
)
CHANGING = {"frame.time_relative", "acn.dmx.seq_number", "acn.dmx.options", "acn.dmx.option_s", "acn.dmx.data"}


@needs_tshark
async def test_tshark_reads_a_change_its_repeats_the_keep_alive_and_the_end(tmp_path: Path) -> None:
    """Three packets, then one every 800 to 1000 ms, then three with the terminated bit; every field of each."""
    transport, tap = await asyncio.get_running_loop().create_datagram_endpoint(Tap, local_addr=("127.0.0.1", 0))
    runner = make_runner(
        transport.get_extra_info("sockname")[1], cid=str(CID), source="hall", preview=True, priority=90
    )
    runner.start()
    runner.want("3", constant(0.5), 0.0)
    await until(lambda: len(tap.datagrams) == 5, 4.0)
    await runner.stop()
    await until(lambda: len(tap.datagrams) == 8, 1.0)
    transport.close()

    rows = dissect(tmp_path, tap.datagrams, wire.PORT, "acn", FIELDS)
    assert len(rows) == 8
    for row in rows:
        assert {key: value for key, value in row.items() if key not in CHANGING} == {
            "acn.preamble_size": "16",
            "acn.postamble_size": "0",
            "acn.packet_identifier": "ASC-E1.17",
            "acn.pdu.length": "622,600,523",
            "acn.protocol_id": "4",
            "acn.cid": str(CID),
            "acn.dmx_vector": "2",
            "acn.dmx.source_name": "hall",
            "acn.dmx.priority": "90",
            "acn.dmx.reserved": "0",
            "acn.dmx.option_p": "1",
            "acn.dmx.universe": "258",
            "acn.dmp_vector": "2",
            "acn.dmx.first_property_address": "0",
            "acn.dmx.increment": "1",
            "acn.dmx.count": "513",
            "acn.dmx.start_code2": "0",
            "_ws.malformed": "",
        }
        slots = re.findall(r"(?<![\w-])(?:\.\.|[0-9A-F]{1,2})(?![\w-])", row["acn.dmx.data"].partition(",")[2])
        assert [0 if slot == ".." else int(slot, 16) for slot in slots] == [0, 0, 128] + [0] * 509
    assert [int(row["acn.dmx.seq_number"]) for row in rows] == list(range(8))
    assert [row["acn.dmx.option_s"] for row in rows] == ["0"] * 5 + ["1"] * 3
    assert [int(row["acn.dmx.options"]) for row in rows] == [0x80] * 5 + [0xC0] * 3
    gaps = [b - a for a, b in pairwise(float(row["frame.time_relative"]) for row in rows)]
    assert max(gaps[0], gaps[1]) < 0.2
    assert 0.8 <= gaps[2] <= 1.0
    assert 0.8 <= gaps[3] <= 1.0
    assert max(gaps[5:]) < 0.2


@asynccontextmanager
async def receiver(seen: Callable[[int, float], None], ended: list[str]) -> AsyncIterator[int]:
    """A receiver of the library; gives its port. ``seen`` gets channel 3 whenever the universe changes."""
    port = free_udp()
    found = sacn.sACNreceiver("127.0.0.1", port)
    found.register_listener("universe", lambda packet: seen(packet.dmxData[2], time.monotonic()), universe=258)
    found.register_listener("availability", lambda universe, changed: ended.append(changed))
    found.start()
    try:
        yield port
    finally:
        found.stop()


async def test_a_fade_of_three_seconds_ends_exactly_on_its_target() -> None:
    """Seen by a receiver made with the ``sacn`` library: no step back, on time, on the spot; then a clean end."""
    steps: list[tuple[int, float]] = []
    ended: list[str] = []
    async with receiver(lambda value, at: steps.append((value, at)), ended) as port:
        runner = make_runner(port)
        scaling = Scaling(0.0, 100.0, (0.0, 1.0))
        runner.start()
        start = time.monotonic()
        fade = Level(origin=0.0, to=80.0, start=start, seconds=3.0, by="heron-wall")
        runner.want("3", lambda t: scaling.out(fade.at(t)), start + 3.0)
        await until(lambda: bool(steps) and steps[-1][0] == 204, 4.0)
        await asyncio.sleep(0.2)
        values = [value for value, _ in steps]
        assert values == sorted(values)
        assert values[-1] == 204  # 80 % of 255
        # Each step is what was wanted a moment before it arrived; half a second is what a busy machine may take.
        assert all(fade.at(at - 0.5) * 2.55 - 1 <= value <= fade.at(at) * 2.55 + 1 for value, at in steps)
        assert len(steps) > 20

        back = Level(origin=fade.at(start + 10.0), to=60.0, start=time.monotonic(), seconds=0.3, by="heron-wall")
        steps.clear()
        runner.want("3", lambda t: scaling.out(back.at(t)), back.start + 0.3)
        await until(lambda: bool(steps) and steps[-1][0] == 153, 2.0)
        values = [value for value, _ in steps]
        assert values == sorted(values, reverse=True)
        assert values[0] > 153  # from the present level on, not from elsewhere
        assert values[-1] == 153
        await runner.stop()
        assert await until(lambda: "timeout" in ended, 1.0)  # at once, long before 2.5 s of silence
