"""No double booking, judged by a library of intervals: ``intervaltree``, half-open like the times of bookings."""

from __future__ import annotations

import asyncio
import os
import random
from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Any

import httpx
from intervaltree import IntervalTree

from roomlink.core.instants import rfc3339
from roomlink.testing.clock import VirtualClock
from tests.api.harness import Running

BOOKINGS = int(os.environ.get("ROOMLINK_BOOKINGS", "600"))
"""How many are asked for; 10,000 on request."""
WRITERS = 50
ZONES = ("heron", "plover", "tern", "foyer")
Start = Callable[..., Awaitable[Running]]


def stamp(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def asked(chance: random.Random, first: float) -> dict[str, Any]:
    """A booking of a quarter of an hour to four hours, with or without set-up, once or each week, somewhere."""
    start = first + 900.0 * chance.randrange(BOOKINGS * 8)
    more = {"rrule": f"FREQ=WEEKLY;COUNT={chance.randint(2, 4)}"} if chance.random() < 0.1 else {}
    return {
        "title": "At random",
        "zones": chance.sample(ZONES, chance.choice((1, 1, 1, 2, 3))),
        "start": rfc3339(start),
        "end": rfc3339(start + 900.0 * chance.randint(1, 16)),
        "set_up": chance.choice((0, 0, 30)),
        "clear_down": chance.choice((0, 0, 15)),
        **more,
    }


async def test_fifty_writers_book_at_random_and_nothing_is_booked_twice(start: Start, clock: VirtualClock) -> None:
    """ASVS 5.0 requirement 2.3.4, under concurrency: no two dates overlap, and every refusal names a real clash."""
    seed = random.randrange(10**6)
    service = await start(clock=clock)
    first = clock.stamp() + 86400.0
    refused: list[tuple[dict[str, Any], dict[str, Any]]] = []

    async def write(number: int) -> int:
        chance, done = random.Random(seed * WRITERS + number), 0
        async with httpx.AsyncClient(base_url=service.url + "/api/v1", timeout=60.0) as http:
            for _ in range(BOOKINGS // WRITERS):
                body = asked(chance, first)
                answer = await http.post("/bookings", json=body)
                if answer.status_code == 409:
                    refused.append((body, answer.json()))
                else:
                    assert answer.status_code == 200, answer.text
                    done += 1
        return done

    done = sum(await asyncio.gather(*(write(number) for number in range(WRITERS))))
    assert len(refused) > BOOKINGS // 20, f"hardly anything clashed; seed {seed}"
    assert done > BOOKINGS // 20, f"hardly anything was booked; seed {seed}"
    trees = {zone: IntervalTree() for zone in ZONES}
    for (booking, key), one in service.writer.state.occurrences.items():
        for zone in one.zones:
            trees[zone].addi(one.begins, one.over, (booking, key))
    for zone, tree in trees.items():
        for interval in tree:
            assert tree.overlap(interval.begin, interval.end) == {interval}, f"{zone} is taken twice; seed {seed}"
    for body, problem in refused:
        assert problem["type"] == "/problems/clash"
        assert problem["clashes"]
        for clash in problem["clashes"]:
            begins = stamp(clash["wanted"]["start"]) - 60.0 * body["set_up"]
            over = stamp(clash["wanted"]["end"]) + 60.0 * body["clear_down"]
            for zone in clash["zones"]:
                assert zone in body["zones"]
                held = {interval.data for interval in trees[zone].overlap(begins, over)}
                assert (clash["booking"], clash["occurrence"]) in held, f"no such clash; seed {seed}"
