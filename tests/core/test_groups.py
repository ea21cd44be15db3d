"""Groups are the connected components over open partitions and overflows, in venue order."""

from __future__ import annotations

import pytest

from roomlink.core import groups
from roomlink.errors import BadValue, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def test_at_first_every_zone_stands_alone() -> None:
    """No wall has reported yet."""
    assert Driver(venues.row(3)).groups() == [["a"], ["b"], ["c"]]


def test_an_open_wall_joins_its_zones() -> None:
    """And no others."""
    driver = Driver(venues.row(3))
    driver.wall("b-c", "open")
    assert driver.groups() == [["a"], ["b", "c"]]


def test_groups_and_the_zones_in_them_are_in_venue_order() -> None:
    """Whatever the order in which the walls moved."""
    driver = Driver(venues.venue(["d", "c", "b", "a"], [("b", "a"), ("d", "b"), ("c", "a")]))
    driver.wall("d-b", "open")
    driver.wall("b-a", "open")
    assert driver.groups() == [["d", "b", "a"], ["c"]]


def test_an_overflow_joins_zones_that_no_wall_ties() -> None:
    """Until it ends."""
    driver = Driver(venues.row(4))
    driver.join("graduation", "a", "d")
    assert driver.groups() == [["a", "d"], ["b"], ["c"]]
    driver.join("graduation", "a", "c", "d")
    assert driver.groups() == [["a", "c", "d"], ["b"]]
    driver.join("graduation")
    assert driver.groups() == [["a"], ["b"], ["c"], ["d"]]


def test_an_overflow_joins_whole_groups() -> None:
    """What an open wall ties comes along."""
    driver = Driver(venues.row(4))
    driver.wall("a-b", "open")
    driver.wall("c-d", "open")
    driver.join("graduation", "a", "d")
    assert driver.groups() == [["a", "b", "c", "d"]]
    driver.wall("a-b", "closed")
    assert driver.groups() == [["a", "c", "d"], ["b"]]


def test_two_overflows_that_share_a_zone_make_one_group() -> None:
    """When one ends the other stands."""
    driver = Driver(venues.row(3))
    driver.join("one", "a", "b")
    driver.join("two", "b", "c")
    assert driver.groups() == [["a", "b", "c"]]
    driver.join("one")
    assert driver.groups() == [["a"], ["b", "c"]]


def test_an_overflow_flags_a_closed_wall_between_its_zones() -> None:
    """The wall is closed although its zones are one."""
    driver = Driver(venues.row(2))
    driver.wall("a-b", "closed")
    driver.join("graduation", "a", "b")
    assert driver.state.walls["a-b"].flagged
    driver.join("graduation")
    assert not driver.state.walls["a-b"].flagged


def test_an_overflow_takes_at_least_two_zones_that_exist() -> None:
    """One zone cannot be joined to itself."""
    driver = Driver(venues.row(2))
    with pytest.raises(BadValue, match="two zones"):
        driver.join("graduation", "a", "a")
    with pytest.raises(UnknownName, match="nowhere"):
        driver.join("graduation", "a", "nowhere")


def test_an_overflow_that_does_not_change_is_no_entry() -> None:
    """Nor is ending one that there is not."""
    driver = Driver(venues.row(2))
    driver.join("graduation", "a", "b")
    assert driver.join("graduation", "a", "b").events == ()
    assert driver.join("reunion").events == ()


def test_a_regrouping_looks_at_its_neighbourhood_alone() -> None:
    """The groups given are those that the seeds belong or belonged to."""
    driver = Driver(venues.row(6))
    driver.wall("a-b", "open")
    driver.wall("d-e", "open")
    assert groups.regrouped(driver.state, ["d"]) == [("d", "e")]


def test_components_come_in_the_order_of_the_zones_asked_for() -> None:
    """Each zone is in exactly one."""
    ties = {"a": ["b"], "b": ["a"], "c": []}
    assert groups.components("cab", ties.__getitem__) == [["c"], ["a", "b"]]
