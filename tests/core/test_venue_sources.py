"""Sources that belong to no zone survive walls; each choice travels and falls back by itself."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import sources
from roomlink.core.commands import RecallScene, SaveScene
from roomlink.errors import BadValue
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver

SOURCES = {
    "music": {"name": "Background music", "carries": ["sound"]},
    "roof-camera": {"name": "Roof camera", "carries": ["picture"]},
}


def make(count: int = 2, *, combining: dict[str, Any] | None = None, found: Any = SOURCES, **members: Any) -> Driver:
    controls = {
        "program": venues.choice("laptop", "camera", sources=True, carries=["sound"], **members),
        "screen-left": venues.choice("laptop", sources=True, carries=["picture"]),
        "screen-right": venues.choice("signage", sources=True),
        "own": venues.choice("laptop"),
    }
    data = venues.row(count, controls=controls, combining=venues.lead_by_order(venues.names(count), **combining or {}))
    return Driver({**data, "venue_sources": found})


def test_a_choice_offers_what_of_the_venue_it_takes() -> None:
    """In every zone whatever the walls; one whose sources do not travel offers none."""
    driver = make()
    assert driver.control("a", "program")["options"] == ["laptop", "camera", "venue/music"]
    assert driver.control("b", "screen-left")["options"] == ["laptop", "venue/roof-camera"]
    assert driver.control("b", "screen-right")["options"] == ["signage", "venue/music", "venue/roof-camera"]
    assert sources.offered(driver.state, "a", "own") == ("laptop",)


def test_through_a_controller_it_is_the_same_source_everywhere() -> None:
    """Also in zones of other groups, and shown under one name."""
    driver = make()
    driver.link("a-panel", "b")
    driver.set("a-panel", "program", "venue/music")
    assert driver.values("program", "ab") == ["venue/music", "venue/music"]
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["mixed"]) == ("venue/music", False)
    assert shown["options"] == ["laptop", "camera", "venue/music"]


def test_walls_do_not_touch_it() -> None:
    """While a source of the next zone is lost when they part."""
    driver = make()
    driver.wall("a-b", "open")
    driver.set("b", "program", "venue/music")
    driver.set("b", "screen-left", "a/laptop")
    driver.wall("a-b", "closed")
    assert (driver.value("b", "program"), driver.value("b", "screen-left")) == ("venue/music", None)


def test_the_leads_venue_source_goes_to_the_group() -> None:
    """By ``on_combine: lead``, under its own name."""
    driver = make(combining={"on_combine": {"program": "lead"}})
    driver.set("a", "program", "venue/music")
    driver.wall("a-b", "open")
    assert driver.values("program", "ab") == ["venue/music", "venue/music"]


def test_it_may_be_the_fallback() -> None:
    """Of what is lost to a wall."""
    driver = make(fallback="venue/music")
    driver.wall("a-b", "open")
    driver.set("b", "program", "a/camera")
    driver.wall("a-b", "closed")
    assert driver.value("b", "program") == "venue/music"


def test_an_option_is_one_of_its_own_choice() -> None:
    """``a/laptop`` of one display is not that of another, which may have none of that name."""
    driver = make()
    driver.wall("a-b", "open")
    assert "a/laptop" in driver.control("b", "screen-left")["options"]
    assert "a/laptop" not in driver.control("b", "screen-right")["options"]
    with pytest.raises(BadValue):
        driver.set("b", "screen-right", "a/laptop")
    driver.set("b", "screen-left", "a/laptop")
    assert driver.value("b", "program") is None


def test_a_scene_may_hold_it() -> None:
    """Given by hand, and recalled where walls are closed."""
    driver = make()
    driver.do(SaveScene(FINGER, "quiet", {"type": "section", "values": {"program": "venue/music"}}))
    driver.do(RecallScene(FINGER, "quiet"))
    assert driver.values("program", "ab") == ["venue/music", "venue/music"]


def test_one_that_is_no_longer_configured_falls_back() -> None:
    """With the configuration that has it no more."""
    driver = make()
    driver.set("a", "program", "venue/music")
    driver.configure({**driver.state.spec.data, "venue_sources": {}})
    assert driver.value("a", "program") is None
    with pytest.raises(BadValue):
        driver.set("a", "program", "venue/music")
