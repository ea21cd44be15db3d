"""What a source of one universe sends, and when: changes, repeats, signs of life, good-bye. Pure.

The caller changes ``slots``, asks ``changed``, sends what ``packet`` gives, and comes back after ``gap_s`` if nothing
changed meanwhile.
"""

from __future__ import annotations

from uuid import NAMESPACE_DNS, uuid5

from roomlink.drivers.e131 import wire
from roomlink.drivers.e131.models import E131Config
from roomlink.drivers.e131.wire import Packet

REPEATS = 3
"""Packets with the same data before the rate falls to the keep-alive; also packets that say good-bye."""
KEEP_ALIVE_S = 0.9
"""Unchanged data is sent again every 800 to 1000 ms."""

_NAMESPACE = uuid5(NAMESPACE_DNS, "roomlink.invalid")


class Source:
    """One universe. ``slots`` is what it shall be, channel 1 first."""

    def __init__(self, config: E131Config) -> None:
        self.slots = bytearray(wire.SLOTS)
        # The same after every restart, and on a standby that takes over: receivers see one source.
        cid = config.cid or uuid5(_NAMESPACE, f"{config.source}/{config.universe}")
        self._options = wire.PREVIEW if config.preview else 0
        self._octets = wire.encode(
            Packet(cid, config.source, config.universe, 0, bytes(self.slots), config.priority, self._options)
        )
        self._period_s = 1.0 / config.rate
        self._sequence = 0
        self._last: bytes | None = None
        self._same = 0

    @property
    def changed(self) -> bool:
        """Whether ``slots`` differ from the last packet, or there was none since ``renew``."""
        return self._last is None or self._last != bytes(self.slots)

    @property
    def gap_s(self) -> float:
        """When to send again after the last packet, in seconds, if nothing changes."""
        # A repeat waits a little longer than a period, so that the next step of a fade comes before it, not after.
        return 1.5 * self._period_s if self._same < REPEATS else KEEP_ALIVE_S

    def packet(self) -> bytearray:
        """The next packet; valid until the next call."""
        self._same = 1 if self.changed else self._same + 1
        self._last = bytes(self.slots)
        return self._stamped(self._options)

    def good_bye(self) -> bytearray:
        """The next of ``REPEATS`` packets that end the stream; valid until the next call."""
        return self._stamped(self._options | wire.TERMINATED)

    def renew(self) -> None:
        """Receivers may have lost everything: the next packet is news, and there is none yet to repeat."""
        self._last, self._same = None, 0

    def _stamped(self, options: int) -> bytearray:
        wire.restamp(self._octets, self._sequence, options, self.slots)
        self._sequence = (self._sequence + 1) & 0xFF
        return self._octets
