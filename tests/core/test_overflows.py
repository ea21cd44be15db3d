"""A one-way overflow lets a zone have what is in another, and sends nothing back."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import sources, travel_view, view
from roomlink.core.bookings import OneWish, Wish
from roomlink.core.commands import (
    SERVICE,
    CancelBooking,
    ChangeOccurrence,
    Configure,
    CreateBooking,
    EndOverflow,
    JoinZones,
    StartOverflow,
)
from roomlink.core.events import ControlSet, Regrouped
from roomlink.core.travel_events import OneWayEnded, OneWaySet
from roomlink.errors import BadValue, CallerFault, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver

CONTROLS = {
    "program": venues.choice("laptop", "camera", sources=True, carries=["sound"]),
    "screen-left": venues.choice("laptop", "signage", sources=True, carries=["picture"], gap=0.3),
    "volume": venues.level(),
    "house": venues.level(unit="%", lo=0.0, hi=100.0, scope="local"),
}


def make(count: int = 3, **members: Any) -> Driver:
    combining = {"on_combine": {"volume": "lead"}, "others": "mirror"}
    rules = venues.lead_by_order(venues.names(count), **combining)
    data = venues.row(count, controls=CONTROLS, combining=rules)
    return Driver({**data, **members})


def start(driver: Driver, name: str = "balcony", source: str | None = "a", to: str | None = "c", *carries: str) -> Any:
    return driver.do(StartOverflow(FINGER, name, source, to, carries or None))


def end(driver: Driver, name: str = "balcony") -> Any:
    return driver.do(EndOverflow(FINGER, name))


def booked(driver: Driver, *zones: str, length: float = 100.0) -> None:
    wish = Wish("gala@test", "Gala", driver.now + 10.0, driver.now + 10.0 + length, zones, set_up=5.0, clear_down=20.0)
    driver.do(CreateBooking(FINGER, "gala", wish))


def test_the_receiving_zone_may_have_what_is_in_the_other() -> None:
    """Named by its zone, as in a group."""
    driver = make()
    start(driver)
    assert driver.control("c", "program")["options"] == ["laptop", "camera", "a/laptop", "a/camera"]
    driver.set("c", "program", "a/laptop")
    driver.set("c-panel", "screen-left", "a/signage")
    driver.advance(0.5)
    assert (driver.value("c", "program"), driver.value("c", "screen-left")) == ("a/laptop", "a/signage")


def test_it_may_have_what_is_in_the_others_whole_group() -> None:
    """Also what joined it later, and no longer once that parts: it falls back in the same entry."""
    driver = make(4)
    start(driver, "balcony", "a", "d")
    driver.wall("a-b", "open")
    driver.set("d", "program", "b/camera")
    assert "b/camera" in driver.shown("d-panel", "program")["options"]
    driver.wall("a-b", "closed")
    assert driver.value("d", "program") is None
    assert driver.value("a", "program") is None


def test_nothing_goes_the_other_way() -> None:
    """Groups, leads and links stay; a level change there reaches nobody, and its sources are on offer nowhere else."""
    driver = make()
    before = (driver.groups(), driver.linked("a-panel"), driver.linked("c-panel"))
    decision = start(driver)
    assert not [e for e in decision.events if isinstance(e, Regrouped)]
    assert (driver.groups(), driver.linked("a-panel"), driver.linked("c-panel")) == before
    assert driver.set("c-panel", "volume", -50.0).reply["zones"] == ["c"]
    assert driver.values("volume", "abc") == [-30.0, -30.0, -50.0]
    assert sources.offered(driver.state, "a", "program") == ("laptop", "camera")
    with pytest.raises(BadValue):
        driver.set("a", "program", "c/laptop")


def test_a_level_in_the_first_zone_stays_there() -> None:
    """The receiving zone keeps its own level and lights."""
    driver = make()
    start(driver)
    driver.set("a-panel", "volume", -5.0)
    driver.set("a-panel", "house", 80.0)
    assert (driver.value("c", "volume"), driver.value("c", "house")) == (-30.0, 0.0)


def test_an_overflow_carries_what_it_says() -> None:
    """Sound alone gives no picture."""
    driver = make()
    start(driver, "balcony", "a", "c", "sound")
    assert "a/laptop" in driver.control("c", "program")["options"]
    assert driver.control("c", "screen-left")["options"] == ["laptop", "signage"]
    with pytest.raises(BadValue):
        driver.set("c", "screen-left", "a/laptop")


def test_each_display_falls_back_by_itself() -> None:
    """What carries on over an overflow that is made narrower stays; the rest is lost."""
    driver = make()
    start(driver)
    driver.set("c", "program", "a/laptop")
    driver.set("c", "screen-left", "a/laptop")
    driver.advance(1.0)
    start(driver, "balcony", "a", "c", "sound")
    assert (driver.value("c", "program"), driver.value("c", "screen-left")) == ("a/laptop", None)


def test_when_it_ends_the_zone_falls_back_before_anything_else() -> None:
    """In the entry that ends it, right after the word that it did."""
    driver = make()
    start(driver)
    driver.set("c", "program", "a/laptop")
    decision = end(driver)
    assert [type(e) for e in decision.events[:2]] == [OneWayEnded, ControlSet]
    assert driver.value("c", "program") is None
    assert driver.control("c", "program")["options"] == ["laptop", "camera"]


def test_it_ends_with_the_booking_that_was_on_when_it_began() -> None:
    """When the guests go, not with the clear-down."""
    driver = make()
    booked(driver, "a")
    driver.advance(7.0)
    start(driver)
    driver.set("c", "program", "a/laptop")
    driver.advance(102.0)
    assert driver.value("c", "program") == "a/laptop"
    driver.advance(1.0)
    assert (driver.value("c", "program"), list(driver.state.one_ways.live())) == (None, [])
    entry = next(d for d in driver.decisions if any(isinstance(e, OneWayEnded) for e in d.events))
    assert [type(e).__name__ for e in entry.events[:3]] == ["PhaseSet", "OneWayEnded", "ControlSet"]


def test_it_ends_with_a_booking_that_is_cancelled() -> None:
    """In the same entry."""
    driver = make()
    booked(driver, "a")
    driver.advance(20.0)
    start(driver)
    driver.do(CancelBooking(FINGER, "gala", ("*",)))
    assert list(driver.state.one_ways.live()) == []


def test_it_ends_with_a_booking_that_goes_to_other_zones() -> None:
    """Whoever comes after it is heard nowhere else."""
    driver = make()
    booked(driver, "a", length=1000.0)
    driver.advance(20.0)
    start(driver)
    driver.set("c", "program", "a/laptop")
    (date,) = driver.state.dates["gala"]
    driver.do(ChangeOccurrence(FINGER, "gala", date, OneWish(zones=("b",)), ("*",)))
    assert (list(driver.state.one_ways.live()), driver.value("c", "program")) == ([], None)


def test_without_a_booking_it_stands_until_somebody_ends_it() -> None:
    """A booking of the receiving zone alone is not its own; but when its guests go, nothing comes over to the next."""
    driver = make()
    booked(driver, "c")
    driver.advance(20.0)
    start(driver)
    driver.advance(30.0)
    assert list(driver.state.one_ways.live()) == ["balcony"]
    assert travel_view.one_ways(driver.state)["balcony"]["ends"] == "hand"
    driver.advance(470.0)
    assert list(driver.state.one_ways.live()) == []


def test_it_outlasts_a_restart() -> None:
    """With what came over it."""
    driver = make()
    start(driver)
    driver.set("c", "program", "a/laptop")
    driver.restart(30.0)
    assert driver.value("c", "program") == "a/laptop"


def test_walls_of_the_receiving_zone_leave_it() -> None:
    """It is the zone that receives, whatever it is joined to; who joined it does not."""
    driver = make(4)
    start(driver, "balcony", "a", "c")
    driver.set("c", "program", "a/laptop")
    driver.wall("c-d", "open")
    assert driver.value("c", "program") == "a/laptop"
    assert "a/laptop" not in sources.offered(driver.state, "d", "program")
    driver.wall("c-d", "closed")
    assert driver.value("c", "program") == "a/laptop"


def test_it_does_not_go_on_from_where_it_goes_to() -> None:
    """Of two in a row the last zone has what is in the middle one alone."""
    driver = make()
    start(driver, "first", "a", "b")
    start(driver, "second", "b", "c")
    assert "a/laptop" not in sources.offered(driver.state, "c", "program")
    assert "b/laptop" in sources.offered(driver.state, "c", "program")


def test_a_configured_one_is_started_by_its_name() -> None:
    """And shown by its words."""
    driver = make(overflows={"balcony": {"name": "To the balcony", "from": "a", "to": "c", "carries": ["sound"]}})
    start(driver, "balcony", None, None)
    assert travel_view.one_ways(driver.state)["balcony"] == {
        "name": "To the balcony",
        "from": "a",
        "to": "c",
        "carries": ["sound"],
        "since": view.rfc3339(driver.now),
        "ends": "hand",
    }


@pytest.mark.parametrize(
    ("source", "to", "carries", "kind"),
    [
        ("a", None, (), BadValue),
        (None, "c", (), BadValue),
        ("a", "a", (), BadValue),
        ("a", "c", ("smell",), BadValue),
        ("attic", "c", (), UnknownName),
        ("a", "b", (), Refused),
    ],
)
def test_what_cannot_flow_is_refused(source: str | None, to: str | None, carries: tuple[str, ...], kind: Any) -> None:
    """With what would be right; zones that are one room need none."""
    driver = make()
    driver.wall("a-b", "open")
    with pytest.raises(kind):
        start(driver, "balcony", source, to, *carries)


def test_what_goes_both_ways_is_a_join() -> None:
    """So it is refused as two overflows."""
    driver = make()
    start(driver)
    with pytest.raises(Refused, match="join"):
        start(driver, "back", "c", "a")


def test_a_join_and_an_overflow_have_no_name_in_common() -> None:
    """One is ended before the other takes its name."""
    driver = make()
    start(driver, "gala")
    with pytest.raises(Refused):
        driver.join("gala", "a", "b")
    end(driver, "gala")
    driver.join("gala", "a", "b")
    with pytest.raises(Refused):
        start(driver, "gala")


def test_saying_it_again_is_no_entry() -> None:
    """Nor does it begin anew."""
    driver = make()
    start(driver)
    driver.advance(10.0)
    assert start(driver).events == ()


def test_ending_what_does_not_stand_is_refused() -> None:
    """By its name."""
    with pytest.raises(CallerFault):
        end(make())


def test_a_zone_that_is_gone_ends_it() -> None:
    """And what came over it falls back."""
    driver = make()
    start(driver, "balcony", "c", "a")
    driver.set("a", "program", "c/laptop")
    data = venues.row(2, controls=CONTROLS, combining=venues.lead_by_order("ab"))
    decision = driver.configure(data)
    assert any(isinstance(e, OneWayEnded) for e in decision.events)
    assert driver.value("a", "program") is None


def test_making_it_another_zones_leaves_the_old_one_without() -> None:
    """One name, one overflow."""
    driver = make()
    start(driver)
    driver.set("c", "program", "a/laptop")
    decision = start(driver, "balcony", "a", "b")
    assert isinstance(decision.events[0], OneWaySet)
    assert driver.value("c", "program") is None


def test_it_ends_with_its_zone_while_the_others_are_joined() -> None:
    """A configuration without the receiving zone, and with another regrouping in the same entry, is taken."""
    driver = make(4)
    start(driver, "balcony", "b", "d")
    driver.do(JoinZones(FINGER, "hall", ("c", "b")))
    combining = {"on_combine": {"volume": "lead"}, "others": "mirror"}
    rules = venues.lead_by_order(venues.names(2), **combining)
    driver.do(Configure(SERVICE, venues.row(2, controls=CONTROLS, combining=rules), "smaller"))
    assert list(driver.state.one_ways) == []
    assert list(driver.state.spec.zones) == ["a", "b"]
