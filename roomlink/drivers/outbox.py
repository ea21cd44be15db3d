"""What a device shall be, what it was sent, what it said: kept apart, bounded, the latest wanted value wins. Pure.

A wanted value is a constant, or a ramp that is sampled while it lasts. Nothing queues: there is one place a point.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from roomlink.drivers.port import Value

Sample = Callable[[float], Value]
"""A wanted value at a stamp."""


@dataclass(slots=True)
class Place:
    """One point of the device."""

    wanted: Sample
    until: float = 0.0
    """The stamp from which ``wanted`` is constant."""
    sent: Value = None
    known: bool = False
    """Whether ``sent`` is what the device last got over the present connection."""
    settled: bool = False
    """Whether the value from ``until`` on was sent."""
    reported: Value = None
    confirmed: bool = False
    fault: str | None = None


class Outbox:
    """The points of one device. Stamps are those of the service's clock."""

    def __init__(self) -> None:
        self.places: dict[str, Place] = {}
        self._open: set[str] = set()
        """Points with something to send now or later."""

    def want(self, point: str, wanted: Sample, until: float) -> None:
        """From now on the point shall follow ``wanted``, which is constant from the stamp ``until`` on."""
        place = self.places.get(point)
        if place is None:
            place = self.places[point] = Place(wanted)
        place.wanted, place.until, place.settled, place.confirmed, place.fault = wanted, until, False, False, None
        self._open.add(point)

    def forget(self, point: str) -> None:
        """The point is no longer driven."""
        self.places.pop(point, None)
        self._open.discard(point)

    def take(self, now: float) -> dict[str, Value]:
        """What to send now: every point whose value differs from what was sent. Then call ``sent`` or ``lost``."""
        values: dict[str, Value] = {}
        for point in self._open:
            place = self.places[point]
            value = place.wanted(max(now, place.until) if now >= place.until else now)
            if not place.known or value != place.sent or isinstance(value, bool) != isinstance(place.sent, bool):
                values[point] = value
            elif now >= place.until:
                place.settled = True
        self._close()
        return values

    def sent(self, values: Mapping[str, Value], confirmed: set[str], now: float) -> None:
        """``values``, taken at ``now``, went out."""
        for point, value in values.items():
            place = self.places.get(point)
            if place is None:
                continue
            place.sent, place.known = value, True
            place.confirmed = point in confirmed
            place.settled = now >= place.until and place.wanted(now) == value
        self._close()

    def refused(self, point: str, why: str) -> None:
        """The device does not take the point's value; it is not tried again before another value is wanted."""
        place = self.places.get(point)
        if place is not None:
            place.fault, place.settled = why, True
            self._open.discard(point)

    def reported(self, point: str, value: Value) -> bool:
        """The device says what a point is. Whether that is news."""
        place = self.places.get(point)
        if place is None:
            return True
        news = place.reported != value
        place.reported = value
        place.confirmed = place.known and place.sent == value
        return news

    def lost(self) -> None:
        """The connection is gone: everything is driven again over the next one."""
        for point, place in self.places.items():
            place.known = place.settled = place.confirmed = False
            self._open.add(point)

    def _close(self) -> None:
        self._open = {point for point in self._open if not self.places[point].settled}

    @property
    def idle(self) -> bool:
        """Whether there is nothing to send, now or later, until something else is wanted."""
        return not self._open
