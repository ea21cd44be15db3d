"""E1.31 packets, to octets and back."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from uuid import UUID

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from roomlink.drivers.e131 import wire
from roomlink.drivers.e131.wire import Packet
from roomlink.drivers.port import WireFault

PACKET = Packet(UUID(int=7), "roomlink", 1, 5, bytes(range(256)) * 2)

packets = st.builds(
    Packet,
    cid=st.uuids(),
    source=st.text(st.characters(exclude_characters="\0", codec="utf-8"), max_size=15),
    universe=st.integers(1, wire.UNIVERSE_MAX),
    sequence=st.integers(0, 255),
    slots=st.binary(min_size=512, max_size=512),
    priority=st.integers(0, wire.PRIORITY_MAX),
    options=st.integers(0, 255),
    start_code=st.integers(0, 255),
    sync=st.integers(0, 65535),
)


@given(packets)
def test_a_packet_comes_back_as_it_was(packet: Packet) -> None:
    """All fields, whatever their values; always 638 octets."""
    octets = bytes(wire.encode(packet))
    assert len(octets) == wire.PACKET_OCTETS
    assert wire.decode(octets) == packet


@given(st.binary(max_size=700))
@example(b"")
def test_arbitrary_octets_raise_only_a_wire_fault(octets: bytes) -> None:
    """Nothing from the network can raise anything else."""
    with contextlib.suppress(WireFault):
        wire.decode(octets)


@given(st.integers(0, wire.PACKET_OCTETS - 1), st.integers(0, 255), st.integers(0, wire.PACKET_OCTETS))
def test_a_damaged_packet_raises_only_a_wire_fault(at: int, octet: int, length: int) -> None:
    """One octet changed, or the end cut off."""
    octets = wire.encode(PACKET)
    octets[at] = octet
    with contextlib.suppress(WireFault):
        wire.decode(bytes(octets[:length]))
    with contextlib.suppress(WireFault):
        wire.decode(bytes(octets))


@pytest.mark.parametrize("at", [0, 2, 4, 16, 18, 38, 40, 108, 113, 115, 117, 118, 119, 121, 123])
def test_a_packet_of_another_kind_is_told(at: int) -> None:
    """Every fixed field is looked at."""
    octets = wire.encode(PACKET)
    octets[at] = 0xFE
    with pytest.raises(WireFault, match=r"no E1\.31 data packet"):
        wire.decode(bytes(octets))


def test_a_short_packet_of_another_source_is_read() -> None:
    """A source may send fewer slots, with all lengths to match."""
    octets = wire.encode(PACKET)[:130]
    for at, length in ((16, 114), (38, 92), (115, 15), (123, 5)):
        octets[at : at + 2] = (length if at == 123 else 0x7000 | length).to_bytes(2, "big")
    assert wire.decode(bytes(octets)) == replace(PACKET, slots=bytes(range(4)))


def test_a_name_that_is_no_text_is_told() -> None:
    """It is shown to people, so it must be UTF-8."""
    octets = wire.encode(PACKET)
    octets[44] = 0xFF
    with pytest.raises(WireFault, match="UTF-8"):
        wire.decode(bytes(octets))


def test_only_full_packets_are_written() -> None:
    """Receivers of all kinds take 512 slots."""
    with pytest.raises(ValueError, match="512 slots"):
        wire.encode(replace(PACKET, slots=b"\1"))
