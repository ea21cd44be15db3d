"""Turns against values from outside. Marks: [V] reproduced with the named library; [M] from memory."""

from __future__ import annotations

from itertools import combinations

import networkx

from roomlink.core.crews import Job, Shift, schedule
from roomlink.core.turns import day_turns
from roomlink.testing import venues
from roomlink.testing.driver import Driver
from tests.core.booked import book
from tests.core.test_turns import TODAY


def test_turn_moves_are_the_hamming_distance() -> None:
    """[V] checks §2: `networkx.hypercube_graph(3)`: from 000 to 111 is 3 moves, and so between all pairs of corners.

    Three walls that share no zone, each open (1) or closed (0) for one booking and then for the next.
    """
    cube = networkx.hypercube_graph(3)
    assert networkx.shortest_path_length(cube, (0, 0, 0), (1, 1, 1)) == 3
    walls = [("a", "b"), ("c", "d"), ("e", "f")]
    for before in cube:
        for after in cube:
            driver = Driver(venues.venue("abcdef", walls), checked=False)
            for corner, start in ((before, 60), (after, 200)):
                for (one, other), stands in zip(walls, corner, strict=True):
                    book(driver, one + other if stands else one, start, start + 60)
            turns = day_turns(driver.state, TODAY, driver.now)
            made = [move for turn in turns if turn.one.start > driver.now + 150 * 60 for move in turn.moves]
            assert len(made) == networkx.shortest_path_length(cube, before, after)


def test_activity_selection() -> None:
    """[M] a textbook's example (checks §3): of eleven activities one crew can do 1, 4, 8 and 11, and no five."""
    starts = (1, 3, 0, 5, 3, 5, 6, 7, 8, 2, 12)
    ends = (4, 5, 6, 7, 9, 9, 10, 11, 12, 14, 16)
    jobs = {n: Job((str(n), ""), e - s, s, e) for n, (s, e) in enumerate(zip(starts, ends, strict=True), 1)}
    crew = [Shift("one", 0, 24)]
    # The first activity and the fourth only touch others: they are half-open, as bookings are.
    assert schedule([jobs[n] for n in (1, 4, 8, 11)], crew).feasible is True
    assert not any(schedule(five, crew).feasible for five in combinations(jobs.values(), 5))
