"""Groups and votes against reference libraries and known counts.

Marks: [V] the value was reproduced with the named library or read in the primary text; [M] from memory.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator
from itertools import product
from typing import Any

import networkx
import pytest
from scipy.cluster.hierarchy import DisjointSet

from roomlink.core import groups
from roomlink.core.feedback import of_levels, of_states
from roomlink.core.records import Wall
from roomlink.core.spec import Spec, from_data
from roomlink.core.state import State
from roomlink.testing import venues
from roomlink.testing.driver import Driver

SHAPES: list[tuple[str, dict[str, Any], int, int]] = [
    *((f"row of {n}", venues.row(n), 2 ** (n - 1), 2 ** (n - 1)) for n in range(1, 9)),
    ("ring of 3", venues.ring(3), 5, 8),
    ("ring of 4", venues.ring(4), 12, 16),
    ("ring of 5", venues.ring(5), 27, 32),
    ("ring of 6", venues.ring(6), 58, 64),
    ("grid of 2 by 2", venues.grid(2, 2), 12, 16),
    ("grid of 2 by 3", venues.grid(2, 3), 74, 128),
    ("four all adjacent", venues.complete(4), 15, 64),
]
"""Name, venue, distinct groupings, wall positions. [V] with networkx: rows 2^(n-1) of 2^(n-1), rings 2^n - n of 2^n."""

BY_NAME = pytest.mark.parametrize(
    ("data", "groupings", "positions"), [s[1:] for s in SHAPES], ids=[s[0] for s in SHAPES]
)

OPEN, CLOSED = Wall("open", True, "sensed"), Wall("closed", False, "sensed")


def arrangements(data: dict[str, Any]) -> Iterator[tuple[State, list[tuple[str, str]]]]:
    """Every arrangement of a venue as a state, with the pairs of zones that its open walls tie."""
    spec = from_data(data)
    for positions in product((False, True), repeat=len(spec.partitions)):
        yield arranged(spec, positions)


def arranged(spec: Spec, positions: tuple[bool, ...]) -> tuple[State, list[tuple[str, str]]]:
    state = State()
    state.spec = spec
    state.walls.update({w: OPEN if up else CLOSED for w, up in zip(spec.partitions, positions, strict=True)})
    return state, [spec.partitions[w].between for w, up in zip(spec.partitions, positions, strict=True) if up]


def by_core(state: State) -> list[tuple[str, ...]]:
    return groups.regrouped(state, state.spec.zones)


def as_sets(found: Any) -> set[frozenset[str]]:
    return {frozenset(group) for group in found}


@BY_NAME
def test_groups_are_the_connected_components(data: dict[str, Any], groupings: int, positions: int) -> None:
    """Oracle: ``networkx.connected_components``, over every arrangement. [V]"""
    for state, ties in arrangements(data):
        graph = networkx.Graph(ties)
        graph.add_nodes_from(state.spec.zones)
        assert as_sets(by_core(state)) == as_sets(networkx.connected_components(graph))


@BY_NAME
def test_groups_are_the_disjoint_sets(data: dict[str, Any], groupings: int, positions: int) -> None:
    """Oracle: ``scipy.cluster.hierarchy.DisjointSet``, over every arrangement. [V]"""
    for state, ties in arrangements(data):
        sets = DisjointSet(state.spec.zones)
        for a, b in ties:
            sets.merge(a, b)
        assert as_sets(by_core(state)) == as_sets(sets.subsets())


@BY_NAME
def test_so_many_distinct_groupings_come_of_so_many_positions(
    data: dict[str, Any], groupings: int, positions: int
) -> None:
    """Counts: n zones in a row 2^(n-1); a ring of n 2^n - n of 2^n; grids and complete graphs as counted. [V]"""
    found = [tuple(by_core(state)) for state, _ in arrangements(data)]
    assert (len(set(found)), len(found)) == (groupings, positions)


@pytest.mark.parametrize(
    "data", [venues.ring(4), venues.grid(2, 3), venues.complete(4)], ids=["ring", "grid", "complete"]
)
def test_walls_that_move_one_by_one_come_to_the_same_groups(data: dict[str, Any]) -> None:
    """Regrouping looks at the neighbourhood alone; the oracle, ``networkx``, at everything each time. [V]

    The walk visits every arrangement by moving one wall at a time (a Gray code).
    """
    driver = Driver(data, checked=False)
    walls = list(driver.state.spec.partitions)
    graph = networkx.Graph()
    graph.add_nodes_from(driver.state.spec.zones)
    for step in range(1, 2 ** len(walls)):
        wall = walls[(step & -step).bit_length() - 1]
        tie = driver.state.spec.partitions[wall].between
        opens = not graph.has_edge(*tie)
        driver.wall(wall, "open" if opens else "closed")
        (graph.add_edge if opens else graph.remove_edge)(*tie)
        assert as_sets(driver.groups()) == as_sets(networkx.connected_components(graph))


def test_independent_walls_need_as_many_moves_as_positions_differ() -> None:
    """The Hamming distance: ``networkx.hypercube_graph(3)``, from 000 to 111 is 3 moves. [V]"""
    cube = networkx.hypercube_graph(3)
    for a, b in product(cube.nodes, repeat=2):
        moves = sum(x != y for x, y in zip(a, b, strict=True))
        assert networkx.shortest_path_length(cube, a, b) == moves
    assert networkx.shortest_path_length(cube, (0, 0, 0), (1, 1, 1)) == 3


def majority(values: Any) -> tuple[Any, bool]:
    seen = of_states("majority", [(str(number), value) for number, value in enumerate(values)])
    return seen.value, seen.decided


@pytest.mark.parametrize(
    ("values", "expected"),
    [("AAACCBBCCCBCC", ("C", True)), ([1, 2, 3], (None, False)), ([1, 1, 2, 2], (None, False))],
)
def test_the_majority_is_what_more_than_half_hold(values: Any, expected: tuple[Any, bool]) -> None:
    """Boyer and Moore's example AAACCBBCCCBCC gives C; [1, 2, 3] yields a candidate, not a majority. [V]"""
    assert majority(values) == expected


def test_a_tie_is_no_majority_although_the_mode_gives_its_first() -> None:
    """``statistics.mode([1, 1, 2, 2])`` is 1 without a word; ``multimode`` names both. [V]"""
    assert statistics.mode([1, 1, 2, 2]) == 1
    assert statistics.multimode([1, 1, 2, 2]) == [1, 2]
    assert majority([1, 1, 2, 2]) == (None, False)
    assert statistics.multimode("aabbbbccddddeeffffgg") == ["b", "d", "f"]
    assert majority("aabbbbccddddeeffffgg") == (None, False)


def test_without_votes_there_is_no_mode_and_no_majority() -> None:
    """``statistics.multimode('')`` is empty. [V]"""
    assert statistics.multimode("") == []
    assert majority("") == (None, False)


def test_every_vote_of_five_agrees_with_the_library() -> None:
    """A majority is the only mode, and more than half hold it: ``statistics.multimode`` as the oracle. [V]"""
    for values in product("xyz", repeat=5):
        modes = statistics.multimode(values)
        expected = (modes[0], True) if len(modes) == 1 and values.count(modes[0]) > 2 else (None, False)
        assert majority(values) == expected


def test_the_level_shown_is_the_median() -> None:
    """Of an even count the mean of the middle two: ``statistics.median``. [V]"""
    for values in product((-30.0, -29.5, -29.0), repeat=4):
        seen = of_levels("majority", [(str(n), v) for n, v in enumerate(values)], 1.0)
        assert seen.value == statistics.median(values)
