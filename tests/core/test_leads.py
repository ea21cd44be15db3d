"""The lead goes to another controller: by a person, or because the lead's panel is gone."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import wall_view
from roomlink.core.alarms import standing
from roomlink.core.bookings import Wish
from roomlink.core.commands import Actor, CreateBooking, ReportPanel, SetLock, TakeLead
from roomlink.core.events import RoleSet
from roomlink.errors import Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver

PANELS = ("a-panel", "b-panel", "c-panel")
SEEN = Actor("service", "service")


def made(**rules: Any) -> Driver:
    driver = Driver(venues.row(3, combining=venues.lead_by_order("abc", **rules)))
    driver.wall("a-b", "open")
    driver.wall("b-c", "open")
    return driver


@pytest.fixture
def driver() -> Driver:
    return made()


def lead(driver: Driver) -> list[str]:
    return [c for c in driver.state.roles if driver.state.roles[c].lead]


def gone(driver: Driver, controller: str = "a-panel", *others: str) -> None:
    driver.do(ReportPanel(SEEN, controller, False, others or tuple(p for p in PANELS if p != controller)))


def back(driver: Driver, controller: str = "a-panel") -> None:
    driver.do(ReportPanel(SEEN, controller, True))


def test_the_next_of_the_lead_order_that_is_there_leads(driver: Driver) -> None:
    """In one entry with its links, and with one alarm that names it."""
    before = len(driver.decisions)
    gone(driver, "a-panel", "c-panel")
    assert lead(driver) == ["c-panel"]
    assert driver.state.linked["c-panel"] == ("c", "a", "b")
    assert driver.state.linked["a-panel"] == ("a",)
    assert len(driver.decisions) == before + 1
    assert standing(driver.state) == ["panel-lost/a-panel"]
    assert "c-panel leads now" in driver.state.alarms["panel-lost/a-panel"].text


def test_a_panel_that_comes_back_does_not_take_the_lead_again(driver: Driver) -> None:
    """Its alarm is over; the next regrouping goes by the lead order."""
    gone(driver)
    back(driver)
    assert lead(driver) == ["b-panel"]
    assert standing(driver.state) == []
    assert driver.state.alarms["panel-lost/a-panel"].count == 1
    driver.wall("b-c", "closed")
    assert lead(driver) == ["c-panel", "a-panel"] or set(lead(driver)) == {"a-panel", "c-panel"}


def test_while_it_is_gone_a_regrouping_passes_it_over(driver: Driver) -> None:
    """And when it comes back then, who leads goes on."""
    gone(driver)
    driver.wall("b-c", "closed")
    assert set(lead(driver)) == {"b-panel", "c-panel"}
    back(driver)
    assert set(lead(driver)) == {"b-panel", "c-panel"}


def test_where_no_other_panel_is_there_the_lead_stays(driver: Driver) -> None:
    """With the alarm; once another one comes the lead goes there, and the alarm is raised no second time."""
    driver.do(ReportPanel(SEEN, "a-panel", False, ()))
    assert lead(driver) == ["a-panel"]
    assert "no other panel is there" in driver.state.alarms["panel-lost/a-panel"].text
    gone(driver, "a-panel", "b-panel")
    assert lead(driver) == ["b-panel"]
    assert driver.state.alarms["panel-lost/a-panel"].count == 1


def test_a_person_takes_the_lead_and_keeps_it_until_zones_regroup(driver: Driver) -> None:
    """A panel that is back, and saying so again, change nothing."""
    assert driver.do(TakeLead(FINGER, "c-panel")).reply["zones"] == ["a", "b", "c"]
    assert lead(driver) == ["c-panel"]
    back(driver)
    assert driver.do(TakeLead(FINGER, "c-panel")).events == ()
    assert lead(driver) == ["c-panel"]
    driver.wall("b-c", "closed")
    driver.wall("b-c", "open")
    assert lead(driver) == ["a-panel"]


def test_views_tell_who_leads_each_group_of_several_zones(driver: Driver) -> None:
    """By its first zone, so that a panel can say whom it follows; of a zone on its own nothing."""
    assert wall_view.together(driver.state) == {"groups": [["a", "b", "c"]], "leads": {"a": "a-panel"}}
    driver.do(TakeLead(FINGER, "b-panel"))
    assert wall_view.together(driver.state)["leads"] == {"a": "b-panel"}
    gone(driver, "b-panel", "c-panel")
    assert wall_view.together(driver.state)["leads"] == {"a": "c-panel"}
    driver.wall("a-b", "closed")
    assert wall_view.together(driver.state) == {"groups": [["a"], ["b", "c"]], "leads": {"b": "c-panel"}}


def test_with_lock_the_others_are_locked_behind_the_new_lead() -> None:
    """A locked panel may take the lead: that is the way out."""
    driver = made(others="lock")
    driver.do(TakeLead(FINGER, "b-panel"))
    assert {c: driver.state.roles[c].locked for c in PANELS} == {
        "a-panel": "b-panel", "b-panel": None, "c-panel": "b-panel",
    }  # fmt: skip
    driver.set("b-panel", "volume", -12.0)
    assert driver.values("volume", "abc") == [-12.0] * 3


def test_with_mirror_the_others_follow_the_new_lead() -> None:
    """Who led before follows too."""
    driver = made(others="mirror")
    gone(driver)
    assert set(driver.state.linked["a-panel"]) == {"a", "b", "c"}
    assert driver.state.roles["a-panel"].lead is False


def test_what_may_not_lead_is_refused(driver: Driver) -> None:
    """A controller that is not in the lead order, one that is locked by hand, one that there is not."""
    data = venues.row(2, combining={"lead_order": ["a-panel"], "others": "own"})
    small = Driver(data)
    with pytest.raises(Refused, match="not in the lead order"):
        small.do(TakeLead(FINGER, "b-panel"))
    driver.do(SetLock(FINGER, "quiet", controller="b-panel"))
    with pytest.raises(Refused, match="quiet"):
        driver.do(TakeLead(FINGER, "b-panel"))
    with pytest.raises(UnknownName):
        driver.do(TakeLead(FINGER, "x-panel"))


def test_a_bookings_links_follow_the_lead(driver: Driver) -> None:
    """In the same entry."""
    start = driver.now + 60.0
    wish = Wish("gala@test", "Gala", start, start + 3600.0, ("a", "b", "c"))
    driver.do(CreateBooking(FINGER, "gala", wish))
    driver.advance(61.0)
    assert "booking" in driver.state.links["a-panel", "b"].reasons
    gone(driver)
    assert "booking" in driver.state.links["b-panel", "a"].reasons
    assert ("a-panel", "b") not in driver.state.links


def test_a_panel_that_does_not_lead_changes_nobodys_part(driver: Driver) -> None:
    """Only its alarm is raised."""
    gone(driver, "c-panel")
    assert lead(driver) == ["a-panel"]
    back(driver, "c-panel")
    assert not [e for e in driver.decisions[-1].events if isinstance(e, RoleSet)]


def test_a_newer_configuration_forgets_who_may_no_longer_lead(driver: Driver) -> None:
    """And the absence of those that are gone, or have no panel."""
    driver.do(TakeLead(FINGER, "c-panel"))
    gone(driver, "b-panel")
    driver.configure(
        venues.row(3, panel={"panel": "none"}, combining={"lead_order": ["b-panel", "a-panel"], "others": "own"})
    )
    assert lead(driver) == ["b-panel"]
    assert driver.state.absent == {}
    assert standing(driver.state) == []


def test_a_newer_configuration_with_the_same_lead_order_leaves_a_lead_that_was_taken(driver: Driver) -> None:
    """Whatever else of combining it changes."""
    driver.do(TakeLead(FINGER, "b-panel"))
    driver.configure(venues.row(3, combining=venues.lead_by_order("abc", blend=1.0)))
    assert lead(driver) == ["b-panel"]
