"""Every arrangement of a venue, and its groupings, against a reference library and known counts.

Marks: [V] the value was reproduced with the named library.
"""

from __future__ import annotations

from itertools import combinations
from typing import Any

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomlink.core.spec import from_data
from roomlink.rehearsal.arrangements import DivisibleRoom, divisible_rooms
from roomlink.testing import venues

COUNTS: list[tuple[str, dict[str, Any], int, int]] = [
    *((f"row of {n}", venues.row(n), 2 ** (n - 1), 2 ** (n - 1)) for n in range(2, 14)),
    *((f"ring of {n}", venues.ring(n), 2**n - n, 2**n) for n in range(3, 13)),
    ("grid of 2 by 2", venues.grid(2, 2), 12, 16),
    ("grid of 2 by 3", venues.grid(2, 3), 74, 128),
    ("four all adjacent", venues.complete(4), 15, 64),
]
"""Name, venue, distinct groupings, wall positions. [V] with networkx: rows 2^(n-1) of 2^(n-1), rings 2^n - n of 2^n."""


def the_room(data: dict[str, Any]) -> DivisibleRoom:
    (room,) = divisible_rooms(from_data(data))
    return room


@pytest.mark.parametrize(("data", "groupings", "positions"), [c[1:] for c in COUNTS], ids=[c[0] for c in COUNTS])
def test_so_many_distinct_groupings_come_of_so_many_positions(
    data: dict[str, Any], groupings: int, positions: int
) -> None:
    """Rows, rings, grids and all pairwise adjacent, as counted with ``networkx``. [V]"""
    room = the_room(data)
    assert (len(room.groupings), len(room.looked_at)) == (groupings, positions)
    assert room.possible == positions
    assert sum(grouping.arrangements for grouping in room.groupings) == positions


def test_all_pairwise_adjacent_zones_are_grouped_in_as_many_ways_as_a_set_is() -> None:
    """Bell numbers, the partitions of a set: 2, 5, 15, 52 (``networkx`` over every arrangement agrees). [V]"""
    assert [len(the_room(venues.complete(n)).groupings) for n in (2, 3, 4, 5)] == [2, 5, 15, 52]


@st.composite
def anywhere(draw: st.DrawFn) -> dict[str, Any]:
    """Up to eight zones with up to seven walls anywhere between them, several between two zones included."""
    zones = venues.names(draw(st.integers(1, 8)))
    pairs = list(combinations(zones, 2))
    between = draw(st.lists(st.sampled_from(pairs), max_size=7)) if pairs else []
    data = venues.venue(zones)
    data["partitions"] = {f"wall-{n}": {"between": list(pair)} for n, pair in enumerate(between)}
    return data


@settings(max_examples=60, deadline=None)
@given(anywhere())
def test_every_arrangement_of_any_venue_makes_the_connected_components(data: dict[str, Any]) -> None:
    """Oracle: ``networkx.connected_components`` of the open walls, and of all walls for the divisible rooms. [V]"""
    spec = from_data(data)
    rooms = divisible_rooms(spec)
    graph = networkx.Graph(spec.partitions[wall].between for wall in spec.partitions)
    assert {frozenset(room.zones) for room in rooms} == {frozenset(c) for c in networkx.connected_components(graph)}
    for room in rooms:
        assert list(room.looked_at) == list(range(2 ** len(room.walls)))
        for arrangement in room.looked_at:
            opened = networkx.Graph(spec.partitions[wall].between for wall in room.open(arrangement))
            opened.add_nodes_from(room.zones)
            expected = {frozenset(group) for group in networkx.connected_components(opened)}
            assert {frozenset(group) for group in room.grouping(arrangement).groups} == expected


@settings(max_examples=60, deadline=None)
@given(anywhere())
def test_a_wall_may_stand_closed_inside_a_room_where_it_is_no_bridge(data: dict[str, Any]) -> None:
    """Oracle: ``networkx.bridges`` of a grouping's open walls; several walls between two zones are none. [V]"""
    spec = from_data(data)
    for room in divisible_rooms(spec):
        for grouping in room.groupings:
            between = {wall: frozenset(spec.partitions[wall].between) for wall in grouping.open}
            pairs = list(between.values())
            bridges = {frozenset(pair) for pair in networkx.bridges(networkx.Graph(map(tuple, pairs)))}
            single = {wall for wall, pair in between.items() if pair in bridges and pairs.count(pair) == 1}
            assert set(grouping.loops) == set(grouping.open) - single
