"""A row of three zones that can be booked, and short ways to say so. Times are minutes after the first stamp."""

from __future__ import annotations

from itertools import count
from typing import Any

from roomlink.core.bookings import OneWish, Wish, key_of
from roomlink.core.commands import CancelBooking, ChangeBooking, ChangeOccurrence, CreateBooking
from roomlink.core.decide import Decision
from roomlink.core.state import State
from roomlink.testing import venues
from roomlink.testing.driver import FIRST_STAMP, PLAIN, Driver

SCENES: dict[str, Any] = {
    "dinner": {"name": "Dinner", "type": "section", "values": {"volume": -38.0}},
    "dark": {"name": "Dark", "type": "section", "values": {"mute": True}},
    "stage": {"zone": "b", "values": {"mute": True}},
}
POSTED = [
    {"zones": ["a"], "posted": 100},
    {"zones": ["b"], "posted": 120},
    {"zones": ["c"], "posted": 100},
    {"zones": ["a", "b"], "posted": 230},
]
_numbers = count(1)


def data(**more: Any) -> dict[str, Any]:
    """The venue: a, b and c in a row. Nothing is posted for all three, nor for b and c."""
    members: dict[str, Any] = {"scenes": SCENES, "occupancy": POSTED, "combining": venues.lead_by_order("abc")}
    return venues.row(3, **{**members, **more})


def hall(**more: Any) -> Driver:
    return Driver(data(**more))


def at(minutes: float) -> float:
    """The stamp so many minutes after the first."""
    return FIRST_STAMP + 60.0 * minutes


def key(minutes: float) -> str:
    return key_of(at(minutes))


def wish(zones: str, start: float, end: float, *, every: float | None = None, dates: int = 1, **more: Any) -> Wish:
    """A wish for zones such as ``ab`` from minute to minute; ``dates`` times, ``every`` so many minutes."""
    starts = tuple(at(start + n * (every or 0.0)) for n in range(dates))
    members: dict[str, Any] = {"uid": f"u{next(_numbers)}", "title": "Gala", **more}
    return Wish(start=at(start), end=at(end), zones=tuple(zones), starts=starts, **members)


def book(
    driver: Driver, zones: str, start: float, end: float, *, name: str = "", accept_free: bool = False, **more: Any
) -> Decision:
    """Book; the booking is called ``name``, or its uid."""
    one = wish(zones, start, end, **more)
    return driver.do(CreateBooking(PLAIN, name or one.uid, one, accept_free))


def change(driver: Driver, name: str, zones: str, start: float, end: float, **more: Any) -> Decision:
    """Replace a booking, whatever its version."""
    accept_free = more.pop("accept_free", False)
    return driver.do(ChangeBooking(PLAIN, name, wish(zones, start, end, **more), ("*",), accept_free))


def change_one(driver: Driver, name: str, date: str, **members: Any) -> Decision:
    return driver.do(ChangeOccurrence(PLAIN, name, date, OneWish(**members), ("*",)))


def cancel(driver: Driver, name: str) -> Decision:
    return driver.do(CancelBooking(PLAIN, name, ("*",)))


def phases(driver: Driver, name: str) -> list[str]:
    return [driver.state.occurrences[name, key].phase for key in driver.state.dates.get(name, ())]


def taken(state: State, zone: str) -> list[tuple[float, float]]:
    """When a zone is taken, from the dates themselves, not from the index. In stamps."""
    return sorted((o.begins, o.over) for o in state.occurrences.values() if zone in o.zones and o.counts)


def overlaps(state: State) -> list[tuple[str, tuple[float, float], tuple[float, float]]]:
    """Every pair of times that takes a zone twice: each compared with each."""
    found = []
    for zone in state.spec.zones:
        times = taken(state, zone)
        for i, one in enumerate(times):
            found += [(zone, one, other) for other in times[i + 1 :] if one[0] < other[1] and other[0] < one[1]]
    return found
