"""A diary of 20,000 dates: making a booking, the clash check, and 10,000 bookings at random without an overlap.

With crews, a booking is held against the moves of the days that it touches; a year of twelve zones is made for that.

Figures are ratios to a floor of the same run: the same command in a diary that is empty.
"""

from __future__ import annotations

import contextlib
import random
import time
from datetime import date
from typing import Any

from roomlink.core import turn_view
from roomlink.core.apply import apply
from roomlink.core.bookings import Wish
from roomlink.core.clashes import alternatives, between
from roomlink.core.commands import Actor, Command, Configure, CreateBooking
from roomlink.core.decide import decide
from roomlink.core.diary import dates_of
from roomlink.core.instants import day_of
from roomlink.core.state import State
from roomlink.diary.day_chart import chart
from roomlink.errors import Refused
from roomlink.testing import venues
from tests.bench._figures import Figure, Found, quick

BY = Actor("bench", "http")
START = 1_800_000_000.0
HOUR = 3600.0
ZONES = venues.names(10)


class Diary:
    """A venue of zones in a row, without journal or clock."""

    def __init__(self, data: dict[str, Any] | None = None) -> None:
        self.state = State()
        self.do(Configure(BY, data or venues.row(len(ZONES)), "bench"))

    def do(self, command: Command) -> Any:
        decision = decide(self.state, command, START)
        for event in decision.events:
            apply(self.state, event)
        return decision

    def book(self, name: str, zones: tuple[str, ...], start: float, length: float = HOUR, **more: Any) -> Any:
        starts = tuple(start + n * 24 * HOUR for n in range(more.pop("days", 1)))
        accept_free = more.pop("accept_free", False)
        wish = Wish(name, "Bench", start, start + length, zones, set_up=0.0, clear_down=0.0, starts=starts, **more)
        return self.do(CreateBooking(BY, name, wish, accept_free))


def overlaps(state: State) -> int:
    """Pairs that take a zone twice, found by sweeping over begins and ends: not by the index."""
    found = 0
    for zone in state.spec.zones:
        edges = sorted(
            edge for o in state.occurrences.values() if o.counts and zone in o.zones
            for edge in ((o.begins, 1), (o.over, -1))
        )  # fmt: skip
        depth = 0
        # An end sorts before a begin at the same time: times are half-open.
        for _, step in edges:
            found += step == 1 and depth > 0
            depth += step
    return found


def full(dates: int) -> Diary:
    """One zone that holds nearly all: an hour taken, an hour free."""
    diary = Diary()
    series = dates // 400
    for n in range(series):
        zone = ZONES[n % 4]
        diary.book(f"s{n}", (zone,), START + (2 * (n // 4) % 24) * HOUR + (n // 48) * 400 * 24 * HOUR, days=400)
    return diary


def timed(diary: Diary, count: int) -> list[float]:
    """Seconds of each of so many bookings: decided, and folded twice as the service does (ahead and durable)."""
    other, found = diary.state.copy(), []
    for n in range(count):
        begun = time.perf_counter()
        decision = diary.book(f"t{n}", (ZONES[n % 4],), START + (2 * n + 1) * HOUR)
        for event in decision.events:
            apply(other, event)
        found.append(time.perf_counter() - begun)
    return found


def at_random(count: int, seed: int = 1) -> tuple[int, int, int]:
    """Bookings made and refused, and overlaps; each refusal is held against the diary."""
    dice, diary, made = random.Random(seed), Diary(), 0
    for n in range(count):
        first = dice.randrange(len(ZONES))
        zones = tuple(ZONES[first : first + dice.randint(1, 3)])
        start = START + dice.randrange(365 * 24 * 4) * 900.0
        length = dice.randint(1, 32) * 900.0
        try:
            diary.book(f"r{n}", zones, start, length)
            made += 1
        except Refused as refused:
            prove(diary.state, refused, zones, start, start + length)
    return made, count - made, overlaps(diary.state)


def prove(state: State, refused: Refused, zones: tuple[str, ...], start: float, end: float) -> None:
    """Each clash that is named truly stands: at that time, in zones that both want."""
    assert refused.kind == "clash"
    assert refused.members["clashes"]
    for told in refused.members["clashes"]:
        other = state.occurrences[told["booking"], told["occurrence"]]
        assert max(other.begins, start) < min(other.over, end)
        assert {*told["zones"]} <= {*other.zones} & {*zones}


CREWS = {
    "early": {"name": "Early", "start": 300, "end": 840},
    "late": {"name": "Late", "start": 840, "end": 1380},
    "night": {"name": "Night", "start": 1320, "end": 360},
}
TWELVE = venues.names(12)


def year_of_twelve(dates: int) -> Diary:
    """Twelve zones in a row for a year, 20,000 dates, now and then two together; then crews come."""
    venue = venues.row(12, wall={"move_minutes": 10.0})
    diary, day = Diary(venue), START - START % (24 * HOUR) + 24 * HOUR
    dice, n = random.Random(3), 0
    while len(diary.state.occurrences) < dates:
        first, wide, n = dice.randrange(12), 1 + (dice.random() < 0.1), n + 1
        zones, start = tuple(TWELVE[first : first + wide]), day + dice.randrange(6, 22) * HOUR
        with contextlib.suppress(Refused):
            diary.book(f"y{n}", zones, start, dice.choice((0.5, 0.75)) * HOUR, days=365, accept_free=True)
    diary.do(Configure(BY, {**venue, "crews": CREWS, "bookings": {"infeasible": "refuse"}}, "crews"))
    return diary


def turns_of_a_year(dates: int, tries: int) -> list[Found]:
    """A booking held against the moves of its day, in a full year; and a day's turn list. Times are of the CPU."""
    diary = year_of_twelve(dates)
    day, dice = START - START % (24 * HOUR) + 24 * HOUR, random.Random(5)
    took: list[float] = []
    for n in range(tries):
        start = day + dice.randrange(364) * 24 * HOUR + dice.randrange(6 * 4, 23 * 4) * 900.0
        first = dice.randrange(11)
        begun = time.process_time()
        try:
            diary.book(f"t{n}", tuple(TWELVE[first : first + 2]), start, 0.5 * HOUR)
        except Refused as refused:
            if refused.kind == "clash":
                continue
        took.append(time.process_time() - begun)
    begun = time.process_time()
    with contextlib.suppress(Refused):
        diary.book("series", ("a", "b"), day + 4 * HOUR, 0.5 * HOUR, days=300, accept_free=True)
    series = time.process_time() - begun
    lists = []
    for n in range(50):
        begun = time.process_time()
        turn_view.day(diary.state, day_of("UTC", day + n * 24 * HOUR), START)
        lists.append(time.process_time() - begun)
    among = f"in twelve zones with crews and {len(diary.state.occurrences):,} dates"
    return [
        Figure(f"A booking {among}", "ms", took, bound=0.005),
        Figure(f"A series of 300 dates {among}", "s", [series]),
        Figure("A day's turn list", "ms", lists, bound=0.05),
        drawing_of_a_day(diary, day),
    ]


def drawing_of_a_day(diary: Diary, first: float) -> Figure:
    """``/day``: the turn list and the drawing; the floor is a diary that has the dates of that day alone."""
    found: list[float] = []
    floors: list[float] = []
    drawn = 0
    for n in range(30):
        day = date.fromordinal(day_of("UTC", first) + n)
        alone = Diary({**diary.state.spec.data, "bookings": {"infeasible": "flag"}})
        for booking, one in between(diary.state, first + n * 24 * HOUR, first + (n + 1) * 24 * HOUR):
            alone.book(booking, one.zones, one.start, one.end - one.start)
            drawn += 1
        for of, took in ((diary, found), (alone, floors)):
            begun = time.perf_counter()
            chart(of.state, day, START, turn_view.day(of.state, day.toordinal(), START))
            took.append(time.perf_counter() - begun)
    return Figure(
        f"A day's drawing of {drawn / 30:.0f} dates", "ms", found, "of a diary of that day alone", floors, bound=0.05
    )


def main() -> list[Found]:
    dates, tries = (800, 40) if quick() else (20_000, 400)
    floor = timed(Diary(), tries)
    diary = full(dates)
    among = f"among {len(diary.state.occurrences):,} dates"
    seconds = timed(diary, tries)
    begun = time.perf_counter()
    diary.book("long", ("j",), START, days=400)
    series = time.perf_counter() - begun
    begun = time.perf_counter()
    alternatives(diary.state, "x", dates_of(diary.state, "s0"), None, START, ())
    others = time.perf_counter() - begun
    _, _, twice = at_random(dates // 2)
    return [
        Figure(f"A booking {among}", "ms", seconds, "in an empty diary", floor, bound=0.005, paired=False),
        Figure("A series of 400 dates", "ms", [series]),
        Figure("Alternatives for a series of 400 dates", "ms", [others]),
        Figure(f"Overlaps after {dates // 2:,} bookings at random", "", [float(twice)], bound=0.0),
        *turns_of_a_year(dates, tries),
    ]
