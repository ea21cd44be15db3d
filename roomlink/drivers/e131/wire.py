"""E1.31 data packets, to octets and back. Pure.

A packet is three layers, each with its length: root (who sends), framing (which universe, in which order), and DMP
(the slots). A full packet has ``PACKET_OCTETS``; this module always writes full ones and reads shorter ones too.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from uuid import UUID

from roomlink.drivers.port import WireFault

PORT = 5568
SLOTS = 512
PACKET_OCTETS = 638
UNIVERSE_MAX = 63_999
PRIORITY_DEFAULT, PRIORITY_MAX = 100, 200
NAME_OCTETS = 64
RATE_HZ_MAX = 44.0
"""What a full frame takes on a DMX512 line."""

PREVIEW, TERMINATED, FORCE_SYNC = 0x80, 0x40, 0x20
"""Bits of the options octet."""

_SEQUENCE_AT, _OPTIONS_AT, _SLOTS_AT = 111, 112, 126
_IDENTIFIER = b"ASC-E1.17\0\0\0"
_ROOT_VECTOR_DATA, _FRAMING_VECTOR_DATA = 4, 2
_FLAGS = 0x7000
_ROOT, _FRAMING, _DMP = struct.Struct("!HH12sHI16s"), struct.Struct("!HI64sBHBBH"), struct.Struct("!HBBHHHB")
_FRAMING_AT, _DMP_AT = _ROOT.size, _ROOT.size + _FRAMING.size
assert _DMP_AT + _DMP.size == _SLOTS_AT


@dataclass(frozen=True, slots=True)
class Packet:
    """One data packet."""

    cid: UUID
    source: str
    universe: int
    sequence: int
    slots: bytes
    """1 to 512 octets (a received packet may be short, also empty), channel 1 first."""
    priority: int = PRIORITY_DEFAULT
    options: int = 0
    start_code: int = 0
    sync: int = 0

    @property
    def terminated(self) -> bool:
        """Whether the source says good-bye; the slots mean nothing then."""
        return bool(self.options & TERMINATED)


def multicast_address(universe: int) -> str:
    """The IPv4 group of a universe: 239.255 and its two octets."""
    return f"239.255.{universe >> 8}.{universe & 0xFF}"


def encode(packet: Packet) -> bytearray:
    """Octets of a packet with ``SLOTS`` slots. ``restamp`` makes the next packet of them."""
    if len(packet.slots) != SLOTS:
        raise ValueError(f"a full packet has {SLOTS} slots, not {len(packet.slots)}")
    return bytearray(
        _ROOT.pack(
            *(0x0010, 0x0000, _IDENTIFIER),
            *(_FLAGS | PACKET_OCTETS - 16, _ROOT_VECTOR_DATA, packet.cid.bytes),
        )
        + _FRAMING.pack(
            *(_FLAGS | PACKET_OCTETS - _FRAMING_AT, _FRAMING_VECTOR_DATA, packet.source.encode()),
            *(packet.priority, packet.sync, packet.sequence, packet.options, packet.universe),
        )
        + _DMP.pack(_FLAGS | PACKET_OCTETS - _DMP_AT, 0x02, 0xA1, 0, 1, SLOTS + 1, packet.start_code)
        + packet.slots
    )


def restamp(octets: bytearray, sequence: int, options: int, slots: bytes | bytearray) -> None:
    """Change in place what differs from packet to packet of one source."""
    octets[_SEQUENCE_AT] = sequence
    octets[_OPTIONS_AT] = options
    octets[_SLOTS_AT:] = slots


def decode(octets: bytes) -> Packet:
    """The data packet in ``octets``; raises WireFault for anything else."""
    if not _SLOTS_AT <= len(octets) <= PACKET_OCTETS:
        raise WireFault(f"a data packet has {_SLOTS_AT} to {PACKET_OCTETS} octets, not {len(octets)}")
    preamble, postamble, identifier, root_length, root_vector, cid = _ROOT.unpack_from(octets)
    framing = _FRAMING.unpack_from(octets, _FRAMING_AT)
    framing_length, framing_vector, name, priority, sync, sequence, options, universe = framing
    dmp_length, dmp_vector, address_type, first, increment, count, start_code = _DMP.unpack_from(octets, _DMP_AT)
    size = len(octets)
    expected = (
        ("preamble", (preamble, postamble, identifier), (0x0010, 0x0000, _IDENTIFIER)),
        ("vector", (root_vector, framing_vector, dmp_vector), (_ROOT_VECTOR_DATA, _FRAMING_VECTOR_DATA, 0x02)),
        ("length of the root layer", root_length, _FLAGS | size - 16),
        ("length of the framing layer", framing_length, _FLAGS | size - _FRAMING_AT),
        ("length of the DMP layer", dmp_length, _FLAGS | size - _DMP_AT),
        ("addressing", (address_type, first, increment), (0xA1, 0, 1)),
        ("count of slots", count, size - _SLOTS_AT + 1),
        ("priority", priority <= PRIORITY_MAX, True),
        ("universe", 1 <= universe <= UNIVERSE_MAX, True),
    )
    for what, found, wanted in expected:
        if found != wanted:
            raise WireFault(f"no E1.31 data packet: wrong {what}")
    try:
        source = name.split(b"\0", 1)[0].decode()
    except UnicodeDecodeError as error:
        raise WireFault("the source's name is not UTF-8") from error
    slots = octets[_SLOTS_AT:]
    return Packet(UUID(bytes=cid), source, universe, sequence, slots, priority, options, start_code, sync)
