"""Partitions: a position counts once it is steady; the unknown is held or closed; a pin holds against the sensor."""

from __future__ import annotations

import pytest

from roomlink.core import wall_view
from roomlink.core.alarms import standing
from roomlink.core.commands import Actor, ReportWall
from roomlink.errors import BadValue, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def make(**wall: object) -> Driver:
    return Driver(venues.row(2, wall={"settle": 2.0, **wall}))


def position(driver: Driver) -> tuple[str, str, bool]:
    """Position, trust, and whether the wall joins its zones."""
    wall = driver.state.walls["a-b"]
    assert driver.groups() == ([["a", "b"]] if wall.joins else [["a"], ["b"]])
    return wall.position, wall.trust, wall.joins


def test_a_wall_that_never_reported_is_unknown_and_counts_as_closed() -> None:
    """Without an alarm: nobody has lost anything."""
    driver = make()
    assert position(driver) == ("unknown", "unknown", False)
    assert standing(driver.state) == []


def test_a_report_counts_after_it_has_been_steady_for_settle() -> None:
    """Not before, and then by itself."""
    driver = make()
    driver.wall("a-b", "open")
    driver.advance(1.9)
    assert position(driver)[2] is False
    driver.advance(0.1)
    assert position(driver) == ("open", "sensed", True)


def test_a_settle_of_zero_counts_inside_the_same_entry() -> None:
    """The position, the groups and all that follows are one decision."""
    driver = make(settle=0.0)
    before = len(driver.decisions)
    driver.wall("a-b", "open")
    assert position(driver) == ("open", "sensed", True)
    assert len(driver.decisions) == before + 1


def test_a_contradicting_report_starts_the_waiting_anew() -> None:
    """A wall that chatters counts for nothing until it is steady."""
    driver = make()
    driver.wall("a-b", "open")
    driver.advance(1.5)
    driver.wall("a-b", "closed")
    driver.advance(1.5)
    driver.wall("a-b", "open")
    driver.advance(1.9)
    assert position(driver)[2] is False
    driver.advance(0.1)
    assert position(driver)[2] is True


def test_a_report_of_what_counts_already_ends_the_waiting() -> None:
    """A short bounce leaves no trace."""
    driver = make()
    driver.wall("a-b", "closed")
    driver.advance(2.0)
    driver.wall("a-b", "open")
    driver.advance(1.0)
    driver.wall("a-b", "closed")
    driver.advance(60.0)
    assert position(driver) == ("closed", "sensed", False)


def test_the_same_report_again_does_not_prolong_the_waiting() -> None:
    """A sensor may repeat itself."""
    driver = make()
    driver.wall("a-b", "open")
    driver.advance(1.0)
    assert driver.wall("a-b", "open").events == ()
    driver.advance(1.0)
    assert position(driver)[2] is True
    assert driver.wall("a-b", "open").events == ()


@pytest.mark.parametrize(
    ("closed", "stacked", "expected"),
    [(True, False, "closed"), (False, True, "open"), (False, False, "moving"), (True, True, "unknown")],
)
def test_two_contacts_tell_four_positions(closed: bool, stacked: bool, expected: str) -> None:
    """One at the closed end, one at the stacked end; neither is moving, both is unknown."""
    driver = make()
    driver.contacts("a-b", closed, stacked)
    driver.advance(2.0)
    assert driver.state.walls["a-b"].position == expected


@pytest.mark.parametrize(
    ("contacts", "expected"),
    [((True, None), "closed"), ((False, None), "open"), ((None, True), "open"), ((None, False), "closed")],
)
def test_one_contact_tells_two_positions(contacts: tuple[bool | None, bool | None], expected: str) -> None:
    """Whether its end is made."""
    driver = make(settle=0.0)
    driver.contacts("a-b", *contacts)
    assert driver.state.walls["a-b"].position == expected


def test_two_contacts_may_report_one_at_a_time() -> None:
    """What the other said last still counts."""
    driver = make(settle=0.0)
    driver.contacts("a-b", True, False)
    driver.contacts("a-b", False)
    assert driver.state.walls["a-b"].position == "moving"
    driver.contacts("a-b", None, True)
    assert driver.state.walls["a-b"].position == "open"


@pytest.mark.parametrize("before", ["closed", "open"])
def test_moving_holds_the_last_known(before: str) -> None:
    """A wall on its way neither joins nor parts."""
    driver = make(settle=0.0)
    driver.wall("a-b", before)
    driver.wall("a-b", "moving")
    assert position(driver) == ("moving", "sensed", before == "open")


def test_a_wall_that_moves_for_too_long_is_an_alarm() -> None:
    """Not before the limit, and only until it arrives."""
    driver = make(settle=0.0, move_limit=60.0)
    driver.wall("a-b", "moving")
    driver.advance(59.9)
    assert standing(driver.state) == []
    driver.advance(0.1)
    assert standing(driver.state) == ["wall-late/a-b"]
    driver.wall("a-b", "open")
    assert standing(driver.state) == []


@pytest.mark.parametrize(("on_unknown", "joins"), [("hold", True), ("closed", False)])
def test_an_unknown_wall_is_held_or_taken_as_closed_with_an_alarm(on_unknown: str, joins: bool) -> None:
    """Either way somebody is told, until it is known again."""
    driver = make(settle=0.0, on_unknown=on_unknown)
    driver.wall("a-b", "open")
    driver.wall("a-b", "unknown")
    assert position(driver) == ("unknown", "unknown", joins)
    assert standing(driver.state) == ["wall-unknown/a-b"]
    driver.wall("a-b", "open")
    assert position(driver) == ("open", "sensed", True)
    assert standing(driver.state) == []


def test_a_pin_counts_at_once_and_holds_against_the_sensor() -> None:
    """However long the sensor insists."""
    driver = make()
    driver.wall("a-b", "open", pin=60.0)
    assert position(driver) == ("open", "pinned", True)
    driver.wall("a-b", "closed")
    driver.advance(30.0)
    assert position(driver) == ("open", "pinned", True)


def test_when_a_pin_expires_the_wall_is_what_was_last_sensed() -> None:
    """Also what the sensor said meanwhile."""
    driver = make()
    driver.wall("a-b", "open")
    driver.advance(2.0)
    driver.wall("a-b", "closed", pin=60.0)
    driver.advance(59.9)
    assert position(driver) == ("closed", "pinned", False)
    driver.advance(0.1)
    assert position(driver) == ("open", "sensed", True)


def test_a_pin_of_zero_takes_the_pin_away() -> None:
    """With or without a position beside it."""
    driver = make()
    driver.wall("a-b", "closed")
    driver.advance(2.0)
    driver.wall("a-b", "open", pin=60.0)
    driver.wall("a-b", None, pin=0.0)
    assert position(driver) == ("closed", "sensed", False)
    driver.advance(120.0)
    assert position(driver) == ("closed", "sensed", False)


def test_a_newer_pin_replaces_the_older() -> None:
    """Its time counts from then on."""
    driver = make()
    driver.wall("a-b", "open", pin=10.0)
    driver.advance(5.0)
    driver.wall("a-b", "closed", pin=10.0)
    driver.advance(6.0)
    assert position(driver) == ("closed", "pinned", False)


def test_an_expired_pin_on_a_wall_never_sensed_leaves_it_unknown() -> None:
    """Held by default, with an alarm."""
    driver = make()
    driver.wall("a-b", "open", pin=10.0)
    driver.advance(10.0)
    assert position(driver) == ("unknown", "unknown", True)
    assert standing(driver.state) == ["wall-unknown/a-b"]


@pytest.mark.parametrize(
    ("position_given", "pin"),
    [
        ("ajar", None),
        (None, None),
        (3, None),
        ("moving", 5.0),
        ("unknown", 5.0),
        ("open", -1.0),
        ("open", 1e9),
        ("open", True),
    ],
)
def test_what_is_no_position_or_no_time_is_refused(position_given: object, pin: object) -> None:
    """A person can state open or closed, for a week at most."""
    with pytest.raises(BadValue):
        make().wall("a-b", position_given, pin=pin)  # type: ignore[arg-type]  # as a client may


def test_an_unknown_wall_name_is_refused() -> None:
    """With the names that there are."""
    with pytest.raises(UnknownName, match="a-b"):
        make().wall("b-c", "open")


def test_a_closed_wall_in_a_loop_that_is_joined_anyway_is_flagged_and_splits_nothing() -> None:
    """A ring of three with one wall closed is one group still."""
    driver = Driver(venues.ring(3))
    for wall in ("a-b", "b-c"):
        driver.wall(wall, "open")
    driver.wall("a-c", "closed")
    assert driver.groups() == [["a", "b", "c"]]
    assert [name for name, wall in driver.state.walls.items() if wall.flagged] == ["a-c"]
    driver.wall("b-c", "closed")
    assert driver.groups() == [["a", "b"], ["c"]]
    assert not any(wall.flagged for wall in driver.state.walls.values())


def test_walls_that_settle_at_one_time_regroup_in_one_entry() -> None:
    """Nobody sees half of it."""
    driver = Driver(venues.row(4, wall={"settle": 2.0}))
    for wall in ("a-b", "b-c", "c-d"):
        driver.wall(wall, "open")
    before = len(driver.decisions)
    driver.advance(2.0)
    assert driver.groups() == [["a", "b", "c", "d"]]
    assert len(driver.decisions) == before + 1


def sensed(**wall: object) -> Driver:
    """A wall with a contact at either end, each on its own device."""
    contacts = {"closed": {"device": "east"}, "stacked": {"device": "west"}}
    return Driver(venues.row(2, wall={"settle": 0.0, "sensed": True, "contacts": contacts, **wall}))


def lost(driver: Driver, *ends: str) -> None:
    driver.do(ReportWall(Actor("east", "device"), "a-b", lost=ends))


def test_a_lost_contact_makes_the_position_unknown_whatever_the_other_repeats() -> None:
    """Until it can be read again."""
    driver = sensed()
    driver.contacts("a-b", True, False)
    lost(driver, "closed")
    driver.contacts("a-b", None, False)
    assert position(driver) == ("unknown", "unknown", False)
    assert standing(driver.state) == ["wall-unknown/a-b"]
    driver.contacts("a-b", True)
    assert position(driver) == ("closed", "sensed", False)
    assert standing(driver.state) == []


def test_a_lost_contact_withdraws_the_report_that_waits() -> None:
    """What it said counts no more, not even soon."""
    driver = sensed(settle=2.0)
    driver.contacts("a-b", False, True)
    driver.advance(1.0)
    lost(driver, "closed", "stacked")
    driver.advance(60.0)
    assert position(driver) == ("unknown", "unknown", False)


def test_a_contact_that_is_fitted_but_has_not_spoken_leaves_the_position_unknown() -> None:
    """After a restart, one contact alone does not stand for two."""
    driver = sensed()
    driver.contacts("a-b", False, True)
    driver.restart(1.0)
    driver.contacts("a-b", None, False)
    assert position(driver) == ("unknown", "unknown", True)
    driver.advance(60.0)
    assert standing(driver.state) == ["wall-unknown/a-b"]


def test_an_end_that_no_wall_has_is_refused() -> None:
    """With the ends that there are."""
    with pytest.raises(BadValue, match="closed, stacked"):
        lost(sensed(), "left")


@pytest.mark.parametrize("ends_by", ["settle", "pin"])
def test_walls_that_change_in_one_entry_treat_zones_once(ends_by: str) -> None:
    """No zone is treated for an arrangement that never was: here, the middle one leading the last."""
    rules = venues.lead_by_order("abc", on_combine={"volume": "lead"})
    driver = Driver(venues.row(3, wall={"settle": 2.0}, combining=rules))
    for wall in ("a-b", "b-c"):
        driver.wall(wall, "closed" if ends_by == "pin" else "open")
    driver.advance(2.0)
    for wall in ("a-b", "b-c"):
        if ends_by == "pin":
            driver.wall(wall, "open", pin=9.0)
        else:
            driver.wall(wall, "closed")
    for zone, value in zip("abc", (-60.0, -20.0, 0.0), strict=True):
        driver.set(zone, "volume", value)
    driver.advance(9.0)
    assert driver.groups() == [["a"], ["b"], ["c"]]
    assert driver.values("volume", "abc") == [-60.0, -20.0, 0.0]


def test_what_a_sensor_says_beneath_a_pin_is_seen() -> None:
    """As what contradicts it; the pin is told as the person's who set it."""
    driver = make(settle=0.0)
    driver.do(ReportWall(Actor("kim", "http"), "a-b", "open", pin=60.0))
    driver.wall("a-b", "closed")
    seen = wall_view.partition(driver.state, "a-b")
    assert (seen["position"], seen["by"], seen["source"]) == ("open", "kim", "http")
    assert (seen["sensed"], seen["reported"]) == ("closed", "closed")
    driver.advance(60.0)
    seen = wall_view.partition(driver.state, "a-b")
    assert (seen["position"], seen["by"], seen["source"]) == ("closed", "wall", "contact")
    assert (seen["sensed"], seen["reported"]) == ("closed", None)


def test_a_sensor_that_says_the_same_takes_over_from_who_told_it() -> None:
    """What was told over HTTP is sensed from then on."""
    driver = make(settle=0.0)
    driver.do(ReportWall(Actor("kim", "http"), "a-b", "open"))
    assert wall_view.partition(driver.state, "a-b")["source"] == "http"
    driver.wall("a-b", "open")
    assert wall_view.partition(driver.state, "a-b")["source"] == "contact"
