"""The bench: every simulated device of one service, with its faults to switch on and off.

Whoever runs a demonstration, a rehearsal or a test makes a ``Bench``, gives ``simulated.driver(bench)`` to the registry
of drivers, and reaches each device by its name in the venue, before or after it is made::

    bench = Bench()
    registry = Registry.of(driver(bench))
    bench.device("mixer-1").unplug()
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value

SENT_MAX = 10_000
"""What is remembered of what a device was sent; the oldest goes first."""


@dataclass(frozen=True, slots=True)
class Sent:
    """One value that arrived at a device."""

    at: float
    point: str
    value: Value


@dataclass(eq=False)
class Stand:
    """One simulated device, as somebody who stands beside it sees it. Everything takes effect at once."""

    name: str
    now: Callable[[], float]
    pause: Callable[[float], Awaitable[None]]
    values: dict[str, Value] = field(default_factory=dict)
    """What each point is now. It stays when the device is unplugged, but not when it loses power."""
    starts: dict[str, Value] = field(default_factory=dict)
    """What points are when the device has just got power."""
    sent: deque[Sent] = field(default_factory=lambda: deque(maxlen=SENT_MAX))
    """What arrived, oldest first; what was refused or could not be delivered did not."""
    refusals: dict[str, str] = field(default_factory=dict)
    delay_s: float = 0.0
    confirms: bool = True
    """Whether it answers that it has taken a value."""
    _unplugged: asyncio.Event = field(default_factory=asyncio.Event)
    _hear: Hear | None = None

    # At the device.

    def unplug(self, *, power: bool = False) -> None:
        """Pull the cable; with ``power`` the mains, and it forgets its values."""
        self._unplugged.set()
        self._hear = None
        if power:
            self.values = dict(self.starts)

    def plug(self) -> None:
        """Put it back."""
        self._unplugged.clear()

    def slow(self, seconds: float) -> None:
        """From now on it takes so long to take values; 0 for at once."""
        if not seconds >= 0.0:
            raise ValueError(f"a delay is 0 s or more, not {seconds!r}")
        self.delay_s = seconds

    def refuse(self, point: str, why: str = "it is locked at the device") -> None:
        """From now on it takes no value at that point."""
        self.refusals[point] = why

    def accept(self, point: str) -> None:
        """From now on it takes values there again."""
        self.refusals.pop(point, None)

    def turn(self, point: str, value: Value) -> None:
        """Somebody turns it by hand, or its contact opens or closes: it reports that, now or when next connected."""
        self.values[point] = value
        if self._hear is not None:
            self._hear(point, value)

    @property
    def connected(self) -> bool:
        """Whether the service is connected to it now."""
        return self._hear is not None

    def got(self, point: str) -> list[Value]:
        """The values that arrived at one point, oldest first."""
        return [sent.value for sent in self.sent if sent.point == point]

    # At the other end of the cable: what ``SimulatedDevice`` calls.

    def attach(self, hear: Hear) -> None:
        """Connect; tells what every point is. Raises DeviceFault while it is unplugged."""
        self._require()
        self._hear = hear
        for point, value in list(self.values.items()):
            hear(point, value)

    def detach(self) -> None:
        self._hear = None

    async def take(self, point: str, value: Value) -> None:
        """Deliver one value; raises DeviceFault while it is unplugged, PointFault where it refuses."""
        if self.delay_s:
            await self.pause(self.delay_s)
        self._require()
        if self._hear is None:
            raise DeviceFault(f"the simulated device {self.name} is not connected")
        if point in self.refusals:
            raise PointFault(point, self.refusals[point])
        self.values[point] = value
        self.sent.append(Sent(self.now(), point, value))

    async def gone(self) -> None:
        """Wait until it is unplugged."""
        await self._unplugged.wait()

    def _require(self) -> None:
        if self._unplugged.is_set():
            raise DeviceFault(f"the simulated device {self.name} is unplugged")


class Bench:
    """The simulated devices of one service, by name. ``now`` stamps what they are sent, ``pause`` lets time pass."""

    def __init__(
        self, now: Callable[[], float] = time.monotonic, pause: Callable[[float], Awaitable[None]] = asyncio.sleep
    ) -> None:
        self._now, self._pause = now, pause
        self._stands: dict[str, Stand] = {}

    def device(self, name: str) -> Stand:
        """The handle of a device; the same one for as long as the bench stands, whatever is reloaded."""
        if name not in self._stands:
            self._stands[name] = Stand(name, self._now, self._pause)
        return self._stands[name]

    def names(self) -> list[str]:
        """The devices that were asked for or made so far."""
        return sorted(self._stands)
