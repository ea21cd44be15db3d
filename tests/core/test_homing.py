"""Links by hand end when the wall between closes and when a booking clears down, unless they are to be kept."""

from __future__ import annotations

from typing import Any

from roomlink.core.events import LinkEnded, Regrouped
from roomlink.testing import venues
from roomlink.testing.driver import Driver
from tests.core.booked import book, hall


def make(keep: str = "end") -> Driver:
    rules = venues.lead_by_order("abc")
    controllers: dict[str, Any] = {**venues.panels("abc"), "rover": {"home": "a", "hand_links_on_close": keep}}
    return Driver(venues.row(3, controllers=controllers, combining=rules))


def test_links_by_hand_across_a_wall_end_with_the_regrouping_when_it_closes() -> None:
    """In the same entry, also for a panel that does not lead; links beyond other walls stay."""
    driver = make()
    driver.wall("a-b", "open")
    driver.link("b-panel", "a", "c")
    decision = driver.wall("a-b", "closed")
    kinds = [type(event) for event in decision.events]
    assert LinkEnded in kinds
    assert Regrouped in kinds
    assert driver.linked("b-panel") == ["b", "c"]


def test_a_roving_panel_keeps_them() -> None:
    """Where its controller says so."""
    for keep, linked in (("end", ["a"]), ("keep", ["a", "b"])):
        driver = make(keep)
        driver.wall("a-b", "open")
        driver.link("rover", "b")
        driver.wall("a-b", "closed")
        assert driver.linked("rover") == linked


def test_a_link_that_other_reasons_hold_stays_for_them() -> None:
    """A booking's, say: only the hand's part of it ends."""
    driver = hall(combining=venues.lead_by_order("abc"))
    driver.wall("a-b", "open")
    book(driver, "ab", 0, 60)
    driver.advance(60.0)
    driver.link("a-panel", "b")
    assert driver.reasons("a-panel", "b") == ("hand", "booking", "combining")
    driver.wall("a-b", "closed")
    assert "hand" not in driver.reasons("a-panel", "b")


def test_a_link_across_a_wall_that_was_closed_all_the_time_stays() -> None:
    """Somebody meant it so, and no wall between them moved."""
    driver = make()
    driver.link("a-panel", "c")
    driver.wall("a-b", "open")
    driver.wall("a-b", "closed")
    assert driver.linked("a-panel") == ["a", "c"]


def test_at_clear_down_the_controllers_of_the_zones_go_home() -> None:
    """Their links by hand to other zones end, and home is linked again if it was not; others' links stay."""
    driver = hall(combining=venues.lead_by_order("abc"))
    book(driver, "a", 0, 60, clear_down=600.0)
    driver.link("a-panel", "b", "c")
    driver.unlink("a-panel", "a")
    driver.link("b-panel", "a")
    driver.advance(3600.0)
    assert driver.linked("a-panel") == ["a"]
    assert driver.reasons("a-panel", "a") == ("home",)
    assert driver.linked("b-panel") == ["b", "a"]


def test_at_clear_down_a_roving_panel_stays_where_it_is() -> None:
    """As when walls close."""
    panel = {"hand_links_on_close": "keep"}
    driver = hall(combining=venues.lead_by_order("abc"), panel=panel)
    book(driver, "a", 0, 60)
    driver.link("a-panel", "c")
    driver.advance(3600.0)
    assert "c" in driver.linked("a-panel")
