"""Open walls that do not combine by themselves: asked about, combined by hand, kept apart on purpose."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import snapshot
from roomlink.core.commands import SERVICE, CombineWall, Configure, Recover
from roomlink.core.divisions import Division, DivisionEnded, DivisionSet
from roomlink.core.events import Regrouped
from roomlink.errors import Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver


def make(combine: str = "ask", count: int = 3, **wall: Any) -> Driver:
    rules = venues.lead_by_order(venues.names(count))
    return Driver(venues.row(count, combining=rules, wall={"combine": combine, **wall}))


def say(driver: Driver, combine: bool, wall: str = "a-b", controller: str | None = None) -> Any:
    return driver.do(CombineWall(PLAIN, wall, combine, controller))


def why(driver: Driver, wall: str = "a-b") -> str | None:
    found = driver.state.divisions.get(wall)
    return None if found is None else found.why


def test_a_wall_that_asks_combines_nothing_until_somebody_says_yes() -> None:
    """No answer changes nothing, however long; yes combines in one entry."""
    driver = make()
    driver.wall("a-b", "open")
    assert (driver.groups(), why(driver)) == ([["a"], ["b"], ["c"]], "ask")
    driver.advance(86400.0)
    assert (driver.groups(), why(driver)) == ([["a"], ["b"], ["c"]], "ask")
    decision = say(driver, True)
    assert {type(event) for event in decision.events} >= {DivisionEnded, Regrouped}
    assert (driver.groups(), why(driver)) == ([["a", "b"], ["c"]], None)


def test_no_keeps_it_apart_and_may_be_thought_better_of_while_it_is_open() -> None:
    """What people decided is kept with who decided it."""
    driver = make()
    driver.wall("a-b", "open")
    say(driver, False)
    assert driver.state.divisions["a-b"] == Division("apart", driver.now, PLAIN.who)
    assert say(driver, False).events == ()
    say(driver, True)
    assert driver.groups() == [["a", "b"], ["c"]]


def test_closing_withdraws_the_question_and_opening_asks_again() -> None:
    """Whether or not it was answered before."""
    driver = make()
    driver.wall("a-b", "open")
    driver.wall("a-b", "closed")
    assert why(driver) is None
    driver.wall("a-b", "open")
    say(driver, True)
    driver.wall("a-b", "closed")
    driver.wall("a-b", "open")
    assert (driver.groups(), why(driver)) == ([["a"], ["b"], ["c"]], "ask")


def test_a_wall_by_hand_waits_for_a_hand() -> None:
    """It never asks."""
    driver = make("hand")
    driver.wall("a-b", "open")
    assert (driver.groups(), why(driver)) == ([["a"], ["b"], ["c"]], "hand")
    say(driver, True)
    assert driver.groups() == [["a", "b"], ["c"]]


def test_an_open_wall_is_kept_apart_on_purpose_and_parts_the_group_in_one_entry() -> None:
    """The inverse of an overflow; links by combining go with it."""
    driver = make("auto")
    driver.wall("a-b", "open")
    decision = say(driver, False)
    assert any(isinstance(event, DivisionSet) for event in decision.events)
    assert (driver.groups(), why(driver), driver.linked("a-panel")) == ([["a"], ["b"], ["c"]], "apart", ["a"])


def test_what_was_said_outlasts_a_restart_and_a_wall_that_nothing_is_known_of() -> None:
    """It ends when the wall is known to be closed, not when its sensor is silent."""
    driver = make("auto", sensed=True, on_unknown="closed")
    driver.wall("a-b", "open")
    say(driver, False)
    restored = snapshot.restored(snapshot.snapshot(driver.state))
    assert snapshot.same(restored, driver.state)
    driver.do(Recover(SERVICE, driver.now))
    assert not driver.state.walls["a-b"].joins
    driver.wall("a-b", "open")
    assert (driver.groups(), why(driver)) == ([["a"], ["b"], ["c"]], "apart")
    driver.do(Recover(SERVICE, driver.now))
    driver.wall("a-b", "closed")
    assert why(driver) is None


def test_a_wall_kept_apart_in_a_loop_that_is_joined_anyway_is_flagged() -> None:
    """Like a closed one: it parts nothing."""
    driver = Driver(venues.ring(3, combining=venues.lead_by_order("abc")))
    for wall in ("a-b", "b-c", "a-c"):
        driver.wall(wall, "open")
    say(driver, False)
    assert (driver.groups(), driver.state.walls["a-b"].flagged) == ([["a", "b", "c"]], True)


def test_only_an_open_wall_has_anything_to_decide() -> None:
    """Closed ones are refused, unknown names are told."""
    driver = make()
    with pytest.raises(Refused) as refusal:
        say(driver, True)
    assert refusal.value.kind == "not-open"
    with pytest.raises(UnknownName):
        say(driver, True, "x-y")


def test_a_panel_speaks_for_its_own_group_if_it_leads_it() -> None:
    """Of either side; nobody else's panel, and none that another leads or locks out."""
    driver = make("auto")
    driver.wall("a-b", "open")
    for controller, kind in (("c-panel", "out-of-reach"), ("b-panel", "not-the-lead")):
        with pytest.raises(Refused) as refusal:
            say(driver, False, controller=controller)
        assert refusal.value.kind == kind
    say(driver, False, controller="a-panel")
    say(driver, True, controller="b-panel")
    assert driver.groups() == [["a", "b"], ["c"]]


def test_where_nobody_leads_any_panel_at_the_wall_speaks() -> None:
    """Somebody has to."""
    driver = Driver(venues.row(2, combining=venues.lead_by_order(""), wall={"combine": "ask"}))
    driver.wall("a-b", "open")
    say(driver, True, controller="b-panel")
    assert driver.groups() == [["a", "b"]]


def test_a_wall_that_is_no_longer_configured_takes_its_question_along() -> None:
    """Nothing is kept about what is gone."""
    driver = make()
    driver.wall("a-b", "open")
    data = venues.row(1, combining=venues.lead_by_order("a"))
    driver.do(Configure(SERVICE, data, "smaller"))
    assert list(driver.state.divisions.live()) == []
