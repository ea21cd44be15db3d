"""A diary of 20,000 dates: making a booking, the clash check, and 10,000 bookings at random without an overlap.

Figures are ratios to a floor of the same run: the same command in a diary that is empty.
"""

from __future__ import annotations

import random
import statistics
import time
from typing import Any

from roomlink.core.apply import apply
from roomlink.core.bookings import Wish
from roomlink.core.clashes import alternatives
from roomlink.core.commands import Actor, Command, Configure, CreateBooking
from roomlink.core.decide import decide
from roomlink.core.diary import dates_of
from roomlink.core.state import State
from roomlink.errors import Refused
from roomlink.testing import venues

BY = Actor("bench", "http")
START = 1_800_000_000.0
HOUR = 3600.0
ZONES = venues.names(10)


class Diary:
    """A venue of ten zones in a row, without journal or clock."""

    def __init__(self) -> None:
        self.state = State()
        self.do(Configure(BY, venues.row(len(ZONES)), "bench"))

    def do(self, command: Command) -> Any:
        decision = decide(self.state, command, START)
        for event in decision.events:
            apply(self.state, event)
        return decision

    def book(self, name: str, zones: tuple[str, ...], start: float, length: float = HOUR, **more: Any) -> Any:
        starts = tuple(start + n * 24 * HOUR for n in range(more.pop("days", 1)))
        wish = Wish(name, "Bench", start, start + length, zones, set_up=0.0, clear_down=0.0, starts=starts, **more)
        return self.do(CreateBooking(BY, name, wish))


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


def main() -> None:
    floor = statistics.median(timed(Diary(), 300))
    diary = full(20_000)
    dates = len(diary.state.occurrences)
    seconds = statistics.median(timed(diary, 300))
    print(f"  a booking among {dates:,} dates: {seconds * 1e3:.3f} ms median, {seconds / floor:.1f} x an empty diary")
    begun = time.perf_counter()
    diary.book("long", ("j",), START, days=400)
    print(f"  a series of 400 dates: {(time.perf_counter() - begun) * 1e3:.1f} ms")
    begun = time.perf_counter()
    found = alternatives(diary.state, "x", dates_of(diary.state, "s0"), None, START, ())
    print(f"  {len(found)} alternatives for a series of 400: {(time.perf_counter() - begun) * 1e3:.1f} ms")
    begun = time.perf_counter()
    made, refused, twice = at_random(10_000)
    took = time.perf_counter() - begun
    print(f"  10,000 at random: {made:,} made, {refused:,} refused, {twice} overlaps, in {took:.1f} s")
    assert seconds < 0.005
    assert twice == 0
