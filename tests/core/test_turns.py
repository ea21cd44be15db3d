"""The turn list: as few moves as can be, held against the dates themselves; ticks; and what the crews can make."""

from __future__ import annotations

import random
from datetime import date
from itertools import product
from typing import Any

import pytest

from roomlink import limits
from roomlink.core import turn_view
from roomlink.core.bookings import MoveTicked, Occurrence, TickDropped
from roomlink.core.commands import Actor, Configure, ForgetBookings, TickMove
from roomlink.core.crew_days import Days
from roomlink.core.crews import Job, Shift
from roomlink.core.instants import clock, day_of, of_day, rfc3339
from roomlink.core.state import State
from roomlink.core.turns import Move, day_turns
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FIRST_STAMP, PLAIN, Driver
from tests.core.booked import at, book, cancel, change, change_one, data, hall, key
from tests.core.test_crews import can_be_done

MINUTE = 60.0
HOUR = 3600.0
DAY = 1440.0
"""In minutes, as the times of ``booked``."""
TODAY = day_of("UTC", FIRST_STAMP)
KIM = Actor("kim", "http")


def crews(**hours: tuple[int, int]) -> dict[str, Any]:
    return {name: {"name": name.capitalize(), "start": start, "end": end} for name, (start, end) in hours.items()}


def crewed(policy: str = "flag", minutes: float = 12.0, **hours: tuple[int, int]) -> Driver:
    """a, b and c in a row, crews, and walls that take so long."""
    venue = data(crews=crews(**hours), bookings={"infeasible": policy}, wall={"move_minutes": minutes})
    return Driver(venue)


def moves(driver: Driver, day: int = TODAY) -> list[Move]:
    return [move for turn in day_turns(driver.state, day, driver.now) for move in turn.moves]


def short(driver: Driver, day: int = TODAY) -> list[tuple[str, str, str]]:
    return [(move.partition, move.start, move.to) for move in moves(driver, day)]


def shown(driver: Driver, day: int = TODAY, zone: str | None = None) -> dict[str, Any]:
    return turn_view.day(driver.state, day, driver.now, zone)


def move_shown(driver: Driver, partition: str) -> dict[str, Any]:
    found = [m for turn in shown(driver)["turns"] for m in turn["moves"] if m["partition"] == partition]
    assert len(found) == 1
    one: dict[str, Any] = found[0]
    return one


# Which moves


def test_a_wall_is_moved_where_what_is_asked_of_it_changes() -> None:
    """Between the guests of one date and those of the next, and listed with the date that asks."""
    driver = hall()
    book(driver, "ab", 60, 120, name="gala", set_up=600.0, clear_down=600.0)
    book(driver, "ab", 200, 260, name="ball")
    book(driver, "a", 300, 360, name="tea")
    assert short(driver) == [("a-b", "closed", "open"), ("a-b", "open", "closed")]
    first, second = moves(driver)
    assert (first.booking, first.not_before, first.not_after, first.key) == ("gala", None, at(60), key(60))
    assert (second.booking, second.not_before, second.not_after) == ("tea", at(260), at(300))
    assert [turn.booking for turn in day_turns(driver.state, TODAY, driver.now)] == ["gala", "ball", "tea"]


def test_of_neighbours_the_first_to_come_asks_for_the_wall_between() -> None:
    """And the guests before on either side must be gone."""
    driver = hall()
    book(driver, "ab", 60, 120, name="gala")
    book(driver, "b", 200, 300, name="second")
    book(driver, "a", 190, 290, name="first")
    book(driver, "ab", 320, 380, name="last")
    found = [(move.booking, move.to, move.not_before, move.not_after) for move in moves(driver)]
    assert found == [
        ("gala", "open", None, at(60)),
        ("first", "closed", at(120), at(190)),
        ("last", "open", at(300), at(320)),
    ]


def test_a_wall_begins_where_it_stands() -> None:
    """One that nobody has reported counts as closed."""
    driver = hall()
    book(driver, "ab", 60, 120)
    assert short(driver) == [("a-b", "closed", "open")]
    driver.wall("a-b", "open")
    driver.wall("b-c", "open")
    assert short(driver) == [("b-c", "open", "closed")]


def test_a_wall_that_was_moved_by_hand_between_two_dates_is_to_be_moved_back() -> None:
    """It was left as the next one wants it, but does not stand so."""
    driver = hall()
    driver.wall("a-b", "open")
    book(driver, "ab", 30, 60)
    book(driver, "ab", 120, 180, name="next")
    driver.advance_to(at(90))
    assert moves(driver) == []
    driver.wall("a-b", "closed")
    move = moves(driver)[-1]
    assert (move.booking, move.start, move.to, move.not_before) == ("next", "closed", "open", at(60))


def test_of_a_day_that_is_past_nothing_is_known_before_the_first_date() -> None:
    """It is listed nevertheless."""
    driver = hall()
    book(driver, "ab", 60, 120)
    driver.advance_to(at(2 * DAY))
    assert short(driver) == [("a-b", "unknown", "open"), ("b-c", "unknown", "closed")]


@pytest.mark.parametrize("how", [{"status": "tentative"}, {"transparent": True}])
def test_what_does_not_act_asks_no_wall(how: dict[str, Any]) -> None:
    """Tentative and transparent bookings move nothing, and nor does a cancelled one."""
    driver = hall()
    book(driver, "ab", 60, 120, **how)
    book(driver, "ab", 200, 260, name="off")
    cancel(driver, "off")
    assert shown(driver)["turns"] == []


def test_a_turn_without_moves_is_listed() -> None:
    """The room is reset all the same; of what is private only the time is told."""
    driver = hall()
    book(driver, "a", 60, 120, private=True, title="Secret", set_up=600.0)
    (turn,) = shown(driver)["turns"]
    assert (turn["title"], turn["moves"], turn["zones"]) == ("in use", [], ["a"])
    assert (turn["begins"], turn["people_from"]) == (rfc3339(at(50)), rfc3339(at(60)))
    assert shown(driver, zone="b")["turns"] == []


def test_a_day_is_that_of_the_venue_and_an_hour_shorter_or_longer_when_the_clocks_change() -> None:
    """Both nights of New York in 2007, which checks §3 names."""
    spring, autumn = date(2007, 3, 11).toordinal(), date(2007, 11, 4).toordinal()
    zone = "America/New_York"
    assert (of_day(zone, spring + 1) - of_day(zone, spring)) / HOUR == 23
    assert (of_day(zone, autumn + 1) - of_day(zone, autumn)) / HOUR == 25
    # 02:30 does not exist and is 07:30Z; 01:30 exists twice and is the first, 05:30Z (RFC 5545 §3.3.5).
    assert rfc3339(of_day(zone, spring, 150)) == "2007-03-11T07:30:00.000Z"
    assert rfc3339(of_day(zone, autumn, 90)) == "2007-11-04T05:30:00.000Z"


# Ticks


def tick(driver: Driver, partition: str = "a-b", when: float = 60, *, done: bool = True, note: str = "") -> None:
    driver.do(TickMove(KIM, partition, key(when), done, note))


def test_a_move_is_ticked_off_and_taken_back() -> None:
    """Both once only, however often they are sent."""
    driver = hall()
    book(driver, "ab", 60, 120)
    for _ in range(2):
        tick(driver, note="stiff")
    assert move_shown(driver, "a-b")["tick"] == {"who": "kim", "at": rfc3339(driver.now), "note": "stiff"}
    assert sum(isinstance(event, MoveTicked) for event in driver.events) == 1
    for _ in range(2):
        tick(driver, done=False)
    assert move_shown(driver, "a-b")["tick"] is None
    assert sum(isinstance(event, TickDropped) for event in driver.events) == 1


def test_tick_and_sensor_are_both_shown_where_they_disagree() -> None:
    """A wall of which nothing is sensed does not disagree; a ticked move stays in the list."""
    driver = hall()
    book(driver, "ab", 60, 120)
    tick(driver)
    seen = move_shown(driver, "a-b")
    assert (seen["now"], seen["met"], seen["disagrees"]) == ("unknown", False, False)
    driver.wall("a-b", "closed")
    seen = move_shown(driver, "a-b")
    assert (seen["now"], seen["met"], seen["disagrees"]) == ("closed", False, True)
    driver.wall("a-b", "open")
    seen = move_shown(driver, "a-b")
    assert (seen["from"], seen["to"], seen["met"], seen["disagrees"]) == ("closed", "open", True, False)


def test_a_move_is_late_once_the_guests_are_there_and_it_is_neither_met_nor_ticked() -> None:
    """Until it is made, or they are gone."""
    driver = hall()
    book(driver, "ab", 60, 120)
    driver.advance_to(at(60))
    assert not move_shown(driver, "a-b")["late"]
    driver.advance_to(at(61))
    assert move_shown(driver, "a-b")["late"]
    tick(driver)
    assert not move_shown(driver, "a-b")["late"]
    tick(driver, done=False)
    driver.advance_to(at(121))
    assert not move_shown(driver, "a-b")["late"]


def test_a_later_move_is_not_met_by_a_wall_that_will_be_needed_otherwise_before() -> None:
    """It stands so now, but there are guests in between."""
    driver = hall()
    driver.wall("a-b", "closed")
    book(driver, "ab", 60, 120)
    book(driver, "a", 200, 260)
    assert [(m["to"], m["met"]) for t in shown(driver)["turns"] for m in t["moves"]] == [
        ("open", False),
        ("closed", False),
    ]


@pytest.mark.parametrize("how", ["cancel", "move", "other zones", "another before"])
def test_a_tick_is_void_when_its_move_changes(how: str) -> None:
    """And does not come back."""
    driver = hall()
    book(driver, "ab", 60, 120, name="gala")
    tick(driver)
    if how == "cancel":
        cancel(driver, "gala")
    elif how == "move":
        change_one(driver, "gala", key(60), start=at(70), end=at(130))
    elif how == "other zones":
        change(driver, "gala", "a", 60, 120)
    else:
        book(driver, "a", 30, 40)
    assert not driver.state.ticks
    assert any(isinstance(event, TickDropped) for event in driver.events)


def test_a_tick_stays_when_something_else_changes() -> None:
    """Another title, another zone far away."""
    driver = hall()
    book(driver, "ab", 60, 120, name="gala")
    tick(driver)
    change_one(driver, "gala", key(60), title="Ball")
    book(driver, "c", 200, 260)
    assert driver.state.ticks


def test_ticks_are_forgotten() -> None:
    """Two days after their move was due; by then it can no longer be ticked off either."""
    driver = hall()
    book(driver, "ab", 60, 120)
    tick(driver)
    driver.advance_to(at(60 + 2 * DAY + 1))
    driver.do(ForgetBookings(PLAIN, 0.0))
    assert not driver.state.ticks
    with pytest.raises(Refused) as refused:
        tick(driver)
    assert refused.value.kind == "is-over"


def test_what_is_no_move_cannot_be_ticked_off() -> None:
    """An unknown wall, a time at which nothing is asked, a note like a novel."""
    driver = hall()
    book(driver, "ab", 60, 120)
    for partition, when in (("x-y", 60), ("a-b", 61), ("b-c", 60)):
        with pytest.raises(UnknownName):
            tick(driver, partition, when)
    with pytest.raises(UnknownName):
        driver.do(TickMove(KIM, "a-b", "soon", True))
    with pytest.raises(BadValue):
        tick(driver, note="x" * 201)


def test_a_wall_that_is_gone_takes_its_ticks_along() -> None:
    """At the next tidying."""
    driver = hall()
    book(driver, "ab", 60, 120)
    tick(driver)
    driver.do(Configure(PLAIN, venues.venue("abc", [("b", "c")]), "less"))
    driver.do(ForgetBookings(PLAIN, 0.0))
    assert not driver.state.ticks


# What crews can make


def test_without_crews_nothing_is_checked_and_that_is_said() -> None:
    """How long a wall takes is a guess where nobody said it, and that is said too."""
    driver = hall()
    book(driver, "ab", 60, 120)
    seen = shown(driver)
    assert (seen["feasible"], seen["checked"], seen["crews"], seen["problems"]) == (None, "no crews", {}, [])
    assert (seen["turns"][0]["moves"][0]["minutes"], seen["turns"][0]["moves"][0]["assumed"]) == (15.0, True)


def test_a_day_that_can_be_made_is_proved_by_a_plan() -> None:
    """One wall after the other, in the crew's hours."""
    driver = crewed(day=(60, 600))
    driver.wall("b-c", "open")
    book(driver, "ab", DAY + 200, DAY + 260)
    seen = shown(driver, TODAY + 1)
    assert (seen["feasible"], seen["checked"]) == (True, "proved")
    start = of_day("UTC", TODAY + 1, 60)
    assert seen["crews"] == {"day": {"name": "Day", "from": rfc3339(start), "until": rfc3339(start + 9 * HOUR)}}
    planned = [(m["partition"], m["planned"]["start"], m["assumed"]) for m in seen["turns"][0]["moves"]]
    assert planned == [("a-b", rfc3339(start), False), ("b-c", rfc3339(start + 12 * MINUTE), False)]


def test_a_move_that_no_crew_can_make_in_the_morning_is_made_the_evening_before() -> None:
    """Hours that run over midnight are of the day on which they begin, and so is the plan."""
    driver = crewed(evening=(17 * 60, 90))
    midnight = (of_day("UTC", TODAY + 3) - FIRST_STAMP) / MINUTE
    book(driver, "ab", midnight + 480, midnight + 540)
    seen = shown(driver, TODAY + 3)
    assert seen["feasible"] is True
    assert seen["turns"][0]["moves"][0]["planned"]["start"] == rfc3339(of_day("UTC", TODAY + 2, 17 * 60))


def test_where_the_morning_is_too_short_for_all_the_evening_before_helps_out() -> None:
    """Only with what its own moves leave of it; what the plans say of either day is one plan."""
    driver = crewed(minutes=30.0, day=(8 * 60, 16 * 60))
    driver.wall("b-c", "open")
    midnight = (of_day("UTC", TODAY + 3) - FIRST_STAMP) / MINUTE
    book(driver, "ab", midnight + 530, midnight + 600)
    seen = shown(driver, TODAY + 3)
    assert seen["feasible"] is True
    planned = sorted(m["planned"]["start"] for m in seen["turns"][0]["moves"])
    assert planned[0] < rfc3339(of_day("UTC", TODAY + 3))


def two_at_once(policy: str) -> Driver:
    """One crew, and two walls to be opened in the same half hour."""
    venue = venues.row(4, crews=crews(day=(0, 1440)), bookings={"infeasible": policy}, wall={"move_minutes": 20.0})
    driver = Driver(venue)
    for zone in "abcd":
        book(driver, zone, DAY, DAY + 60, name=f"early-{zone}")
    book(driver, "ab", DAY + 90, DAY + 180, name="left")
    return driver


def test_a_booking_whose_turns_cannot_be_made_is_refused() -> None:
    """With the moves that stand in each other's way, and ways out that were tried."""
    driver = two_at_once("refuse")
    with pytest.raises(Refused) as refused:
        book(driver, "cd", DAY + 90, DAY + 180, name="right")
    assert refused.value.kind == "turns-infeasible"
    (problem,) = refused.value.members["problems"]
    assert {move["partition"] for move in problem["moves"]} == {"a-b", "c-d"}
    assert len(problem["ways"]) == 3
    assert "right" not in driver.state.bookings
    # Each way does: ten minutes later, as the first one says, and one more crew.
    now, later = (clock("UTC", at(DAY + minutes)) for minutes in (90, 100))
    assert [way.endswith(f"at {later} instead of {now}") for way in problem["ways"]] == [True, True, False]
    with pytest.raises(Refused):
        book(driver, "cd", DAY + 95, DAY + 180, name="right")
    book(driver, "cd", DAY + 100, DAY + 180, name="right")
    assert shown(driver, day_of("UTC", at(DAY)))["feasible"] is True


def test_what_cannot_be_made_is_told_in_the_names_that_people_know() -> None:
    """Walls and rooms by their names, times by the venue's clock; a wall without a name by the rooms at its sides."""
    venue = venues.row(4, crews=crews(day=(0, 1440)), wall={"move_minutes": 20.0})
    for zone, name in zip("abcd", ("Ash", "Birch", "Cedar", "Dogwood"), strict=True):
        venue["zones"][zone]["name"] = name
    venue["partitions"]["a-b"]["name"], venue["partitions"]["c-d"]["name"] = "West wall", ""
    driver = Driver(venue)
    for zone in "abcd":
        book(driver, zone, DAY, DAY + 60, name=f"early-{zone}")
    book(driver, "ab", DAY + 90, DAY + 180, name="left")
    book(driver, "cd", DAY + 90, DAY + 180, name="right")
    (problem,) = shown(driver, day_of("UTC", at(DAY)))["problems"]
    before, due, later = (clock("UTC", at(DAY + minutes)) for minutes in (60, 90, 100))
    assert problem["text"] == (
        f"the crews cannot make these moves in time: open West wall between {before} and {due} (20 minutes), "
        f"for Ash + Birch at {due}; open the wall between Cedar + Dogwood between {before} and {due} (20 minutes), "
        f"for Cedar + Dogwood at {due}"
    )
    assert problem["ways"][0] == f"Ash + Birch at {later} instead of {due}"


def test_one_more_crew_would_do_for_the_time_that_is_told() -> None:
    """Tried by hiring it."""
    driver = two_at_once("flag")
    book(driver, "cd", DAY + 90, DAY + 180, name="right")
    day = day_of("UTC", at(DAY))
    (problem,) = shown(driver, day)["problems"]
    words = problem["ways"][-1].split()
    assert words[:4] == ["one", "more", "crew", "from"]
    start, end = (int(time[:2]) * 60 + int(time[3:]) for time in (words[4], words[6]))
    hired = {**dict(driver.state.spec.data), "crews": crews(day=(0, 1440), more=(start, end + 1))}
    driver.do(Configure(PLAIN, hired, "hired"))
    assert shown(driver, day)["feasible"] is True


def test_where_it_is_only_flagged_the_reply_warns() -> None:
    """And the day says so, with a plan of what can be made."""
    driver = two_at_once("flag")
    done = book(driver, "cd", DAY + 90, DAY + 180, name="right")
    assert any("cannot make these moves in time" in text for text in done.reply["warnings"])
    seen = shown(driver, day_of("UTC", at(DAY)))
    assert (seen["feasible"], seen["checked"], len(seen["problems"])) == (False, "proved", 1)
    planned = [m["planned"] is not None for turn in seen["turns"] for m in turn["moves"]]
    assert sorted(planned) == [False, True]


def test_a_booking_that_makes_nothing_worse_is_not_refused_for_what_was_so_before() -> None:
    """The day could not be made already; a zone without walls to move, another title, are no matter."""
    driver = two_at_once("flag")
    book(driver, "cd", DAY + 90, DAY + 180, name="right")
    strict = {**dict(driver.state.spec.data), "bookings": {"infeasible": "refuse"}}
    driver.do(Configure(PLAIN, strict, "strict"))
    change_one(driver, "right", key(DAY + 90), title="Ball")
    book(driver, "a", DAY + 300, DAY + 360, name="evening")


def test_a_change_of_one_date_is_refused_like_a_booking() -> None:
    """And leaves it as it was."""
    driver = two_at_once("refuse")
    book(driver, "cd", DAY + 100, DAY + 180, name="right")
    with pytest.raises(Refused) as refused:
        change_one(driver, "right", key(DAY + 100), start=at(DAY + 90))
    assert refused.value.kind == "turns-infeasible"
    with pytest.raises(Refused):
        change(driver, "right", "cd", DAY + 90, DAY + 180)
    assert driver.state.occurrences["right", key(DAY + 100)].start == at(DAY + 100)


def test_a_series_may_leave_out_the_dates_whose_turns_cannot_be_made() -> None:
    """Like those that clash; they are told, and not tried again when the series goes on."""
    driver = two_at_once("refuse")
    series: dict[str, Any] = {"every": DAY, "dates": 3}
    with pytest.raises(Refused):
        book(driver, "cd", DAY + 90, DAY + 180, name="right", **series)
    done = book(driver, "cd", DAY + 90, DAY + 180, name="right", accept_free=True, **series)
    assert done.reply["dates"] == 2
    assert [one["wanted"]["start"] for one in done.reply["refused"]] == [rfc3339(at(DAY + 90))]
    assert done.reply["refused"][0]["problems"][0]["moves"]
    with pytest.raises(Refused) as refused:
        book(driver, "cd", DAY + 90, DAY + 95, name="only", accept_free=True)
    assert refused.value.kind == "turns-infeasible"
    assert refused.value.members["problems"][0]["ways"]
    assert driver.state.bookings["right"].exdates == (key(DAY + 90),)


def test_a_booking_for_now_needs_its_walls_from_now_on() -> None:
    """What could have been moved this morning is no help; what stands already needs nobody."""
    driver = crewed("refuse", day=(0, 1440))
    driver.advance_to(at(300))
    with pytest.raises(Refused) as refused:
        book(driver, "ab", 305, 400)
    assert refused.value.kind == "turns-infeasible"
    book(driver, "ab", 312, 400, name="later")
    cancel(driver, "later")
    driver.wall("a-b", "open")
    book(driver, "ab", 305, 400)


def test_what_is_done_needs_no_crew_any_more() -> None:
    """Ticked off, it leaves the time to the other."""
    driver = two_at_once("refuse")
    driver.advance_to(at(DAY + 65))
    tick(driver, "a-b", DAY + 90)
    book(driver, "cd", DAY + 90, DAY + 180)


def test_what_is_not_decided_is_called_neither_and_refuses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The quick plan fails, and the search is not allowed: the day says so, and a booking is warned of it."""
    venue = venues.row(4, crews=crews(short=(0, 60)), bookings={"infeasible": "refuse"}, wall={"move_minutes": 10.0})
    venue["partitions"]["a-b"]["move_minutes"] = 30.0
    driver = Driver(venue)
    midnight = (of_day("UTC", TODAY + 2) - FIRST_STAMP) / MINUTE
    book(driver, "a", midnight - 30, midnight)
    book(driver, "c", midnight - 30, midnight + 5)
    book(driver, "ab", midnight + 100, midnight + 160)
    monkeypatch.setattr(limits, "TURN_JOBS_MAX", 0)
    done = book(driver, "cd", midnight + 15, midnight + 60)
    assert any("was not decided" in text for text in done.reply["warnings"])
    seen = shown(driver, TODAY + 2)
    assert (seen["feasible"], seen["checked"], seen["problems"]) == (None, "too many", [])
    monkeypatch.undo()
    assert shown(driver, TODAY + 2)["feasible"] is True


# Against the dates themselves


def asked(one: Occurrence, wall: tuple[str, str]) -> str | None:
    inside = [zone in one.zones for zone in wall]
    return "open" if all(inside) else "closed" if any(inside) else None


def fewest(demands: list[str], start: str) -> int:
    """Of all ways to move a wall before each date, the least number of moves that serves every one."""
    best = len(demands) + 1
    for way in product(("open", "closed"), repeat=len(demands)):
        if all(stands == wanted for stands, wanted in zip(way, demands, strict=True)):
            best = min(best, sum(a != b for a, b in zip((start, *way), way, strict=False)))
    return best


def expected(state: State) -> dict[tuple[str, str], Job]:
    """The moves of a whole diary with their times, from the dates alone, one wall at a time."""
    found = {}
    for name, spec in state.spec.partitions.items():
        dates = sorted((o.start, b, o) for (b, _), o in state.occurrences.items() if asked(o, spec.between) is not None)
        stands, last_end, before = "closed", float("-inf"), float("-inf")
        made = 0
        for start, _, one in dates:
            wanted = asked(one, spec.between)
            if wanted != stands:
                before, stands, made = last_end, str(wanted), made + 1
                found[name, one.key] = Job((name, one.key), 60.0 * (spec.move_minutes or 0.0), before, start)
            last_end = max(last_end, one.end)
        assert made == fewest([str(asked(o, spec.between)) for _, _, o in dates], "closed")
    return found


def random_day(dice: random.Random) -> Driver:
    """One day of a small place: up to seven bookings, one or two crews, walls that take their time."""
    hours = {f"crew{n}": (dice.randrange(0, 600, 30), dice.randrange(660, 1440, 30)) for n in range(dice.randint(1, 2))}
    venue = venues.row(
        dice.randint(2, 4), crews=crews(**hours), wall={"move_minutes": float(dice.choice((20, 45, 60)))}
    )
    driver = Driver(venue, checked=False)
    midnight = (of_day("UTC", TODAY + 5) - FIRST_STAMP) / MINUTE
    zones = list(driver.state.spec.zones)
    for n in range(dice.randint(2, 7)):
        first = dice.randrange(len(zones))
        start = midnight + dice.randrange(6 * 60, 20 * 60, 15)
        try:
            chosen = "".join(zones[first : first + dice.randint(1, 3)])
            book(driver, chosen, start, start + dice.choice((30, 60, 120)), name=f"b{n}")
        except Refused:
            continue
    return driver


def test_500_random_days_have_the_fewest_moves_and_are_judged_as_by_trying_everything() -> None:
    """The moves, their times and what the crews can make; days with more than six moves are left to the first two."""
    dice, answers = random.Random(7), []
    for _ in range(500):
        driver = random_day(dice)
        day = TODAY + 5
        wanted = expected(driver.state)
        found = {move.name: (move.not_before or float("-inf"), move.not_after) for move in moves(driver, day)}
        assert found == {name: (job.release, job.deadline) for name, job in wanted.items()}
        if len(wanted) > 6:
            continue
        days = Days(driver.state, driver.now)
        hours = [
            Shift(f"{crew}{by}", of_day("UTC", day + by, spec.start), of_day("UTC", day + by, spec.end))
            for crew, spec in driver.state.spec.crews.items() for by in (-1, 0)
        ]  # fmt: skip
        answer = shown(driver, day)["feasible"]
        assert answer is can_be_done(list(wanted.values()), hours)
        if answer is False:
            assert days.problems(day, with_ways=False) or days.problems(day - 1, with_ways=False)
        answers.append(answer)
    assert min(answers.count(True), answers.count(False)) > 50
