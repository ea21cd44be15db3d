"""What a device shall be, what it was sent, what it said: kept apart, bounded, the latest wanted value wins. Pure.

A wanted value is a constant, or a ramp that is sampled while it lasts. Nothing queues: there is one place a point.
"""

from __future__ import annotations

import math
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
    changed: float = 0.0
    """When the device had surely got ``sent`` instead of another value: the end of that sending."""
    known: bool = False
    """Whether ``sent`` is what the device last got over the present connection."""
    settled: bool = False
    """Whether the value from ``until`` on was sent, or refused for good."""
    reported: Value = None
    confirmed: bool = False
    """Whether the device confirmed ``sent``, by an answer or by a report."""
    fault: str | None = None
    """Why the device refused what was wanted last."""
    spoke: bool = False
    """Whether it reported since its value was last taken: it may do so before ``sent`` is called."""


def alike(a: Value, b: Value) -> bool:
    """Whether a device that reports ``b`` has ``a``: many devices round to 32 bits."""
    if isinstance(a, bool) or isinstance(b, bool):
        return a is b
    if isinstance(a, int | float) and isinstance(b, int | float):
        return math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-9)
    return a == b


class Outbox:
    """The points of one device. Stamps are those of the service's clock."""

    def __init__(self) -> None:
        self.places: dict[str, Place] = {}
        # Points with something to send now or later, in the order in which they were wanted.
        self._open: dict[str, Place] = {}

    def want(self, point: str, wanted: Sample, until: float) -> None:
        """From now on the point shall follow ``wanted``, which is constant from the stamp ``until`` on."""
        place = self.places.get(point)
        if place is None:
            place = self.places[point] = Place(wanted)
        place.wanted, place.until, place.settled, place.fault = wanted, until, False, None
        self._open[point] = place

    def forget(self, point: str) -> None:
        """The point is no longer driven."""
        self.places.pop(point, None)
        self._open.pop(point, None)

    def take(self, now: float) -> dict[str, Value]:
        """What to send now: every point whose value differs from what was sent.

        Then call ``sent`` or ``refused`` for each, or ``lost`` for all.
        """
        values: dict[str, Value] = {}
        done: list[str] = []
        for point, place in self._open.items():
            if place.fault is not None and now < place.until:
                continue  # a sample of this ramp was refused: only its end is tried
            value, sent = place.wanted(now), place.sent
            if not place.known or value != sent or isinstance(value, bool) is not isinstance(sent, bool):
                values[point] = value
                place.spoke = False
            elif now >= place.until:
                place.settled = True
                done.append(point)
        for point in done:
            del self._open[point]
        return values

    def sent(self, values: Mapping[str, Value], confirmed: set[str], now: float, done: float | None = None) -> None:
        """``values``, taken at ``now``, went out; the device had them at ``done`` at the latest."""
        for point, value in values.items():
            place = self.places.get(point)
            if place is None:
                continue
            if not place.known or value != place.sent:
                place.changed = now if done is None else done
            place.sent, place.known, place.fault = value, True, None
            place.confirmed = point in confirmed or (place.spoke and alike(value, place.reported))
            if place.confirmed and not alike(value, place.reported):
                place.reported = None  # what it said before is no longer so
            # Something else may be wanted by now; then the point stays open.
            if now >= place.until and place.wanted(now) == value:
                place.settled = True
                self._open.pop(point, None)

    def refused(self, point: str, why: str, value: Value, now: float) -> None:
        """The device does not take ``value``, taken at ``now``.

        It is not tried again over this connection, unless it was on a ramp's way: then the ramp's end is tried.
        """
        place = self.places.get(point)
        if place is None:
            return
        if place.wanted(now) not in (value,):  # by identity too: not-a-number equals nothing, itself included
            return  # something else is wanted by now
        place.fault, place.confirmed = why, False
        if now >= place.until:
            place.settled = True
            self._open.pop(point, None)

    def reported(self, point: str, value: Value) -> bool:
        """The device says what a point is. Whether that is news."""
        place = self.places.get(point)
        if place is None:
            return True
        news = place.reported != value or isinstance(place.reported, bool) is not isinstance(value, bool)
        place.reported, place.spoke = value, True
        place.confirmed = place.known and alike(place.sent, value)
        return news

    def again(self, point: str) -> None:
        """The device changed by itself: drive the point again."""
        if (place := self.places.get(point)) is not None:
            place.known = place.settled = False
            self._open[point] = place

    def lost(self) -> None:
        """The connection is gone: everything is driven again over the next one."""
        for place in self.places.values():
            place.known = place.settled = place.confirmed = False
        self._open = dict(self.places)

    @property
    def idle(self) -> bool:
        """Whether there is nothing to send, now or later, until something else is wanted."""
        return not self._open
