"""The receiving side of one universe, as a simulated dimmer has it: which packets count, and who wins. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from roomlink.drivers.e131.wire import PREVIEW, Packet, decode

LOSS_S = 2.5
"""A source that is silent for this long is gone."""
SOURCES_MAX = 16


@dataclass(slots=True)
class Heard:
    """One source as it was last heard."""

    packet: Packet
    at: float


class Receiver:
    """One universe. Feed it datagrams; ``slots`` is what the highest priority says, among equals the latest."""

    def __init__(self, universe: int) -> None:
        self.universe = universe
        self.sources: dict[UUID, Heard] = {}

    def feed(self, octets: bytes, now: float) -> Packet | None:
        """Take a datagram; gives the packet if it counts. Raises WireFault for what is no data packet."""
        packet = decode(octets)
        if packet.universe != self.universe or packet.start_code != 0 or packet.options & PREVIEW:
            return None
        self.expire(now)
        heard = self.sources.get(packet.cid)
        if heard is not None and out_of_order(packet.sequence, heard.packet.sequence):
            return None
        if packet.terminated:
            self.sources.pop(packet.cid, None)
            return packet
        if heard is None and len(self.sources) >= SOURCES_MAX:
            return None
        self.sources[packet.cid] = Heard(packet, now)
        return packet

    def expire(self, now: float) -> None:
        """Forget the sources that fell silent."""
        self.sources = {cid: heard for cid, heard in self.sources.items() if now - heard.at <= LOSS_S}

    @property
    def slots(self) -> bytes | None:
        """What the winning source says; None without one (what to show then is the receiver's choice)."""
        if not self.sources:
            return None
        return max(self.sources.values(), key=lambda heard: (heard.packet.priority, heard.at)).packet.slots


def out_of_order(new: int, last: int) -> bool:
    """Whether sequence number ``new`` is older than ``last``: -20 < new - last <= 0, as signed octets."""
    difference = (new - last + 128) % 256 - 128
    return -20 < difference <= 0
