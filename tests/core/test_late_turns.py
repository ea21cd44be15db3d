"""What crews need to know of walls: late turns, walls that are not to be moved, walls in order, and pass doors."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import turn_view, wall_view
from roomlink.core.commands import MarkWall, ReportPassDoor, TickMove, UnmarkWall
from roomlink.core.instants import day_of
from roomlink.errors import BadValue, Refused
from roomlink.testing.driver import FIRST_STAMP, PLAIN, Driver
from tests.core.booked import at, book, cancel, data, key

CREW = {"crews": {"day": {"name": "Day", "start": 0, "end": 1440}}, "wall": {"move_minutes": 10.0}}
ALARM = "turn-late/a-b"


def hall(**more: Any) -> Driver:
    return Driver(data(**{**CREW, **more}))


def alarm(driver: Driver) -> bool:
    record = driver.state.alarms.get(ALARM)
    return record is not None and record.stands


def shown(driver: Driver) -> dict[str, Any]:
    return turn_view.day(driver.state, day_of("UTC", FIRST_STAMP), driver.now)


def move(driver: Driver, wall: str = "a-b") -> dict[str, Any]:
    found: dict[str, Any] = next(m for t in shown(driver)["turns"] for m in t["moves"] if m["partition"] == wall)
    return found


def test_a_wall_that_is_not_moved_when_the_guests_come_is_an_alarm() -> None:
    """Not before, and it is over once the wall stands right."""
    driver = hall()
    book(driver, "ab", 60, 120, set_up=1800.0)
    driver.advance_to(at(60) - 0.001)
    assert not alarm(driver)
    driver.advance_to(at(60))
    assert alarm(driver)
    assert "a-b should be open since 01:16 for a + b" in driver.state.alarms[ALARM].text
    assert (move(driver)["late"], move(driver)["alarm"]) == (False, ALARM), "late is what is past its time"
    driver.advance(60.0)
    assert move(driver)["late"] is True
    driver.wall("a-b", "open")
    assert not alarm(driver)


def test_a_wall_that_was_moved_or_ticked_off_in_time_is_none() -> None:
    """A tick that is taken back afterwards is one after all."""
    driver = hall()
    book(driver, "ab", 60, 120, set_up=1800.0)
    driver.advance_to(at(50))
    driver.do(TickMove(PLAIN, "a-b", key(60), True))
    driver.advance_to(at(70))
    assert not alarm(driver)
    driver.do(TickMove(PLAIN, "a-b", key(60), False))
    assert alarm(driver)
    driver.do(TickMove(PLAIN, "a-b", key(60), True))
    assert not alarm(driver)


def test_when_nobody_asks_any_more_the_alarm_is_over() -> None:
    """The booking ends, or is cancelled."""
    for end in (lambda d: d.advance_to(at(121)), lambda d: cancel(d, "gala")):
        driver = hall()
        book(driver, "ab", 60, 120, name="gala")
        driver.advance_to(at(61))
        assert alarm(driver)
        end(driver)
        assert not alarm(driver)


def test_what_is_booked_on_the_spot_gets_the_time_that_a_move_takes() -> None:
    """Nobody can have moved the wall before."""
    driver = hall()
    driver.advance_to(at(30))
    book(driver, "ab", 30, 120)
    driver.advance_to(at(39))
    assert not alarm(driver)
    driver.advance_to(at(40))
    assert alarm(driver)


def test_a_turn_that_needs_a_marked_wall_cannot_be_made_and_says_why() -> None:
    """It is shown wherever the wall is; unmarked, the day is as it was."""
    driver = hall()
    book(driver, "ab", 60, 120)
    assert shown(driver)["feasible"] is True
    driver.do(MarkWall(PLAIN, "a-b", " the track is bent "))
    told = shown(driver)
    assert (told["feasible"], len(told["problems"])) == (False, 1)
    assert told["problems"][0]["text"].startswith("a-b is not to be moved, says program: the track is bent; asked for")
    assert told["problems"][0]["moves"] == [{"partition": "a-b", "key": key(60)}]
    assert move(driver)["do_not_move"]["why"] == "the track is bent"
    assert move(driver)["planned"] is None
    assert wall_view.partition(driver.state, "a-b")["do_not_move"]["by"] == "program"
    driver.do(UnmarkWall(PLAIN, "a-b"))
    driver.do(UnmarkWall(PLAIN, "a-b"))
    assert shown(driver)["feasible"] is True


def test_other_turns_are_planned_beside_a_marked_wall() -> None:
    """One wall less does not leave the crew without a plan."""
    driver = hall()
    book(driver, "ab", 60, 120)
    driver.wall("b-c", "open")
    driver.do(MarkWall(PLAIN, "a-b", "bent"))
    assert move(driver, "b-c")["planned"]["crew"] == "day"


def test_a_booking_that_needs_a_marked_wall_is_refused_where_that_is_the_policy() -> None:
    """What was booked before stays."""
    driver = hall(bookings={"infeasible": "refuse"})
    book(driver, "ab", 60, 120)
    driver.do(MarkWall(PLAIN, "b-c", "bent"))
    with pytest.raises(Refused, match="b-c is not to be moved, says program: bent"):
        book(driver, "bc", 300, 360)
    book(driver, "c", 300, 360)


def test_a_mark_says_why() -> None:
    """In so many characters; marked again it says the newer reason."""
    driver = hall()
    for why in ("", "  ", "x" * 201):
        with pytest.raises(BadValue, match="say why it is not to be moved"):
            driver.do(MarkWall(PLAIN, "a-b", why))
    driver.do(MarkWall(PLAIN, "a-b", "bent"))
    driver.do(MarkWall(PLAIN, "a-b", "guests sit against it"))
    assert driver.state.wall_marks["a-b"].why == "guests sit against it"


def test_walls_on_one_track_are_planned_in_their_order() -> None:
    """Both for one date; two crews change nothing about it."""
    crews = {name: {"name": name, "start": 0, "end": 1440} for name in ("one", "two")}
    venue = data(crews=crews, wall={"move_minutes": 10.0})
    venue["partitions"]["a-b"]["after"] = ["b-c"]
    driver = Driver(venue)
    book(driver, "abc", 60, 120)
    first, second = move(driver, "b-c"), move(driver, "a-b")
    assert second["after"] == ["b-c"]
    assert first["planned"]["end"] <= second["planned"]["start"]
    tight = Driver(venue)
    tight.advance_to(at(45))
    book(tight, "abc", 60, 120)
    assert shown(tight)["feasible"] is False
    del venue["partitions"]["a-b"]["after"]
    free = Driver(venue)
    free.advance_to(at(45))
    book(free, "abc", 60, 120)
    assert shown(free)["feasible"] is True


def test_walls_in_order_that_only_the_day_before_can_move_go_there_together() -> None:
    """What comes first is not left to the day that is too late for what comes after it."""
    venue = data(crews={"day": {"name": "Day", "start": 0, "end": 480}}, wall={"move_minutes": 30.0})
    venue["partitions"]["a-b"] |= {"after": ["b-c"], "move_minutes": 60.0}
    driver = Driver(venue)
    book(driver, "abc", 1440 + 480 - 16 - 450, 3000)  # at 00:30 of the next day
    found = turn_view.day(driver.state, day_of("UTC", FIRST_STAMP) + 1, driver.now)
    planned = {m["partition"]: m["planned"] for t in found["turns"] for m in t["moves"]}
    assert found["feasible"] is True
    assert planned["b-c"]["end"] <= planned["a-b"]["start"]


def test_a_pass_door_is_shown_and_joins_nothing() -> None:
    """After a restart nobody knows until its contact speaks."""
    driver = hall()
    assert wall_view.partition(driver.state, "a-b")["pass_door"] is None
    driver.do(ReportPassDoor(PLAIN, "a-b", True))
    assert wall_view.partition(driver.state, "a-b")["pass_door"] == "open"
    assert wall_view.groups(driver.state) == [["a"], ["b"], ["c"]]
    driver.do(ReportPassDoor(PLAIN, "a-b", False))
    assert wall_view.partition(driver.state, "a-b")["pass_door"] == "closed"
    driver.restart()
    assert wall_view.partition(driver.state, "a-b")["pass_door"] is None
