"""Every arrangement of a venue's walls."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.core.spec import Spec, from_data
from roomlink.rehearsal import arrangements
from roomlink.rehearsal.arrangements import SAMPLED_MAX, WALLS_EVERY_MAX, DivisibleRoom, alone, divisible_rooms
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def the_room(data: dict[str, Any], **options: Any) -> DivisibleRoom:
    (room,) = divisible_rooms(from_data(data), **options)
    return room


def two_rooms() -> Spec:
    """A row of three and a ring of three, one after the other zone by zone, and a zone without walls."""
    pairs = [("a", "c"), ("b", "d"), ("c", "e"), ("d", "f"), ("b", "f")]
    return from_data(venues.venue("abcdefg", pairs))


def test_walls_that_never_join_the_same_zones_are_looked_at_apart() -> None:
    """Two rooms of 4 and 8 arrangements, not one of 32."""
    first, second = divisible_rooms(two_rooms())
    assert (first.zones, first.walls, len(first.looked_at)) == (("a", "c", "e"), ("a-c", "c-e"), 4)
    assert (second.zones, second.walls, len(second.looked_at)) == (("b", "d", "f"), ("b-d", "d-f", "b-f"), 8)
    assert alone(two_rooms()) == ("g",)


def test_a_venue_without_walls_has_no_divisible_room() -> None:
    """Each zone is a group of its own for ever."""
    spec = from_data(venues.venue("ab"))
    assert divisible_rooms(spec) == ()
    assert alone(spec) == ("a", "b")


def test_an_arrangement_says_which_walls_are_open_and_what_they_make() -> None:
    """Groups, and zones in them, are in venue order."""
    room = the_room(venues.row(4))
    arrangement = 0b101
    assert room.open(arrangement) == ("a-b", "c-d")
    assert room.grouping(arrangement).groups == (("a", "b"), ("c", "d"))
    assert room.grouping(0).groups == (("a",), ("b",), ("c",), ("d",))


def test_a_grouping_counts_its_arrangements_and_names_its_walls() -> None:
    """A ring of three is one room with all walls open, or with any one of them closed."""
    room = the_room(venues.ring(3))
    whole = room.grouping(0b111)
    assert whole.groups == (("a", "b", "c"),)
    assert whole.arrangements == 4
    assert whole.open == whole.loops == ("a-b", "b-c", "a-c")
    assert room.grouping(0b001).loops == ()


def test_each_group_is_told_once_with_how_often_it_comes() -> None:
    """The smallest first; counted by groupings."""
    room = the_room(venues.row(3))
    assert room.groups == (("a",), ("b",), ("c",), ("a", "b"), ("b", "c"), ("a", "b", "c"))
    assert room.times["a",] == 2
    assert room.times["a", "b", "c"] == 1


@pytest.mark.parametrize("data", [venues.ring(4), venues.grid(2, 3), venues.complete(4)], ids=["ring", "grid", "all"])
def test_the_core_makes_the_same_groups_and_flags_the_same_walls(data: dict[str, Any]) -> None:
    """Oracle: the core itself, moved wall by wall through every arrangement (a Gray code)."""
    room = the_room(data)
    driver = Driver(data, checked=False)
    flagged = {wall: set(room.flagged(wall)) for wall in room.walls}
    arrangement = 0
    for step in range(1, room.possible):
        number = (step & -step).bit_length() - 1
        arrangement ^= 1 << number
        driver.wall(room.walls[number], "open" if arrangement >> number & 1 else "closed")
        assert [tuple(group) for group in driver.groups()] == list(room.grouping(arrangement).groups)
        for wall in room.walls:
            assert driver.state.walls[wall].flagged == (arrangement in flagged[wall])


@pytest.mark.parametrize("walls", [6, 9, 12])
def test_the_work_on_an_arrangement_is_the_same_in_a_small_room_and_a_large_one(
    walls: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Zones are joined less than once for each arrangement, however many walls there are."""
    joins = 0
    join = arrangements._joined

    def counted(part: tuple[int, ...], pair: int) -> tuple[int, ...]:
        nonlocal joins
        joins += 1
        return join(part, pair)

    monkeypatch.setattr(arrangements, "_joined", counted)
    assert len(the_room(venues.row(walls + 1)).looked_at) == 2**walls
    assert joins == 2**walls - 1


MANY = WALLS_EVERY_MAX + 6


def test_a_room_with_too_many_walls_is_sampled() -> None:
    """All closed, all open, each with one wall changed; the others at random, with the seed that they come of."""
    room = the_room(venues.row(MANY + 1), seed=7)
    everything = 2**MANY - 1
    planned = {0, everything, *(1 << n for n in range(MANY)), *(everything ^ 1 << n for n in range(MANY))}
    assert (room.every, room.seed) == (False, 7)
    assert planned == set(room.looked_at[: len(planned)])
    assert len(room.looked_at) == len(set(room.looked_at)) == len(planned) + room.at_random
    assert SAMPLED_MAX * 0.9 < room.at_random <= SAMPLED_MAX
    assert all(0 <= arrangement <= everything for arrangement in room.looked_at)


def test_a_sample_is_repeated_by_its_seed() -> None:
    """And another seed takes others."""
    first, again, other = (the_room(venues.row(MANY + 1), seed=seed) for seed in (1, 1, 2))
    assert first.looked_at == again.looked_at
    assert first.looked_at != other.looked_at


def test_what_is_sampled_is_grouped_by_the_same_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    """A room that is sampled has the groupings, and the walls in loops, of one that is looked at in full."""
    full = the_room(venues.grid(2, 3))
    monkeypatch.setattr(arrangements, "WALLS_EVERY_MAX", 5)
    some = the_room(venues.grid(2, 3))
    assert not some.every
    assert some.possible == full.possible == len(some.looked_at)
    for arrangement in some.looked_at:
        assert some.grouping(arrangement).groups == full.grouping(arrangement).groups
    assert {wall: set(some.flagged(wall)) for wall in some.walls} == {w: set(full.flagged(w)) for w in full.walls}
    assert set(some.groupings) == set(full.groupings)


def test_work_on_a_room_of_very_many_walls_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Then only some walls are changed alone."""
    monkeypatch.setattr(arrangements, "SAMPLED_WALLS_MAX", 40 * MANY)
    room = the_room(venues.row(MANY + 1))
    assert len(room.looked_at) <= 40
    assert {0, 2**MANY - 1} <= set(room.looked_at)


@pytest.mark.parametrize("data", [venues.row(4), venues.row(MANY + 1)], ids=["every", "sampled"])
def test_long_work_tells_how_far_it_is(data: dict[str, Any], tells: tuple[Callable[..., None], list[Any]]) -> None:
    """Up to its end."""
    tell, told = tells
    room = the_room(data, tell=tell)
    done = [told_done for what, told_done, of in told if what == "arrangements" and of == len(room.looked_at)]
    assert done == sorted(done)
    assert done[-1] == len(room.looked_at)


@pytest.fixture
def tells() -> tuple[Callable[..., None], list[Any]]:
    told: list[Any] = []
    return lambda *args: told.append(args), told
