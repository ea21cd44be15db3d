"""Overrides mask outputs until they clear; nothing moves by itself when they do."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.commands import Actor, ReportOverride
from roomlink.errors import Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import Driver

PANEL = Actor("fire panel", "contact")
CONTROLS = {
    **venues.section(),
    "house": venues.level(unit="%", lo=0.0, hi=100.0, start=70.0),
    "screen": venues.motion(),
}
FIRE = {"kind": "life-safety", "values": {"mute": True, "house": 100.0, "volume": -60.0, "program": None}, "blend": 4.0}


@pytest.fixture
def driver() -> Driver:
    return Driver(venues.row(2, controls=CONTROLS, combining=venues.lead_by_order("ab"), overrides={"fire": FIRE}))


def fire(driver: Driver, active: bool, override: str = "fire") -> Any:
    return driver.do(ReportOverride(PANEL, override, active, "its circuit is open"))


def masked(driver: Driver, zone: str) -> dict[str, Any]:
    return {control: mask.value for (z, control), mask in driver.state.masks.items() if z == zone}


def test_an_override_masks_the_controls_that_it_names(driver: Driver) -> None:
    """In every zone; the controls beneath stay as they were."""
    driver.set("a", "program", "laptop")
    fire(driver, True)
    assert masked(driver, "a") == masked(driver, "b") == FIRE["values"]
    record: Any = driver.state.controls["a", "program"]
    assert record.value == "laptop"


def test_an_override_lets_go_and_stops_motion_at_once(driver: Driver) -> None:
    """Whoever holds what."""
    driver.act("a", "talkback", "press")
    driver.act("b", "screen", "open")
    fire(driver, True)
    assert driver.state.holds == {}
    screen: Any = driver.state.controls["b", "screen"]
    assert screen.running is None
    assert driver.value("a", "talkback") is False


def test_orders_are_refused_with_the_reason_while_it_stands(driver: Driver) -> None:
    """But release and stop never are."""
    fire(driver, True)
    for surface in ("a", "a-panel"):
        with pytest.raises(Refused, match="circuit is open") as caught:
            driver.set(surface, "volume", -10.0)
        assert caught.value.kind == "overridden"
        driver.act(surface, "screen", "stop")
        driver.act(surface, "talkback", "release")


def test_saying_so_again_changes_nothing(driver: Driver) -> None:
    """Neither active nor clear."""
    assert fire(driver, False).events == ()
    fire(driver, True)
    assert fire(driver, True).events == ()


def test_when_it_clears_light_returns_slowly_and_sound_not_at_all(driver: Driver) -> None:
    """House lights blend back; programme stays muted until a person lets it out."""
    driver.set("a", "mute", False)
    driver.set("a", "program", "laptop")
    fire(driver, True)
    fire(driver, False)
    assert driver.state.masks == {}
    assert driver.value("a", "house") == 100.0
    driver.advance(2.0)
    assert driver.value("a", "house") == 85.0
    driver.advance(2.0)
    assert driver.value("a", "house") == 70.0
    assert (driver.value("a", "mute"), driver.value("a", "volume"), driver.value("a", "program")) == (True, -60.0, None)
    driver.set("a", "mute", False)
    assert driver.value("a", "mute") is False


def test_regrouping_goes_on_beneath_the_mask(driver: Driver) -> None:
    """The mask stays; the groups are as the walls are."""
    fire(driver, True)
    driver.wall("a-b", "open")
    assert driver.groups() == [["a", "b"]]
    assert masked(driver, "b") == FIRE["values"]


def test_an_override_outlives_a_restart(driver: Driver) -> None:
    """Its input clears it, nothing else does."""
    fire(driver, True)
    driver.restart(60.0)
    assert masked(driver, "a") == FIRE["values"]


def test_of_two_overrides_life_safety_counts() -> None:
    """When it clears the lockout still stands."""
    lockout = {"kind": "lockout", "zones": ["a"], "values": {"house": 10.0}}
    driver = Driver(venues.row(2, controls=CONTROLS, overrides={"lockout": lockout, "fire": FIRE}))
    fire(driver, True, "lockout")
    assert (masked(driver, "a"), masked(driver, "b")) == ({"house": 10.0}, {})
    fire(driver, True)
    assert masked(driver, "a")["house"] == 100.0
    fire(driver, False)
    assert masked(driver, "a") == {"house": 10.0}
    with pytest.raises(Refused):
        driver.set("a", "volume", -10.0)
    driver.set("b", "volume", -10.0)


def test_an_override_that_is_no_longer_configured_ends(driver: Driver) -> None:
    """With its masks."""
    fire(driver, True)
    driver.configure(venues.row(2, controls=CONTROLS, combining=venues.lead_by_order("ab")))
    assert driver.state.overrides == {}
    assert driver.state.masks == {}
    driver.set("a", "volume", -10.0)


def test_an_unknown_override_is_refused(driver: Driver) -> None:
    """With those that there are."""
    with pytest.raises(UnknownName, match="fire"):
        fire(driver, True, "flood")


def locked_out(**panel: Any) -> Driver:
    """A panel linked to ``a`` and ``b``; a lockout stands over ``b``."""
    lockout = {"kind": "lockout", "values": {}, "zones": ["b"]}
    driver = Driver(venues.row(2, controls=CONTROLS, panel=panel, overrides={"works": lockout, "fire": FIRE}))
    driver.link("a-panel", "b")
    fire(driver, True, "works")
    return driver


@pytest.mark.parametrize("mode", ["same", "offset"])
def test_the_zones_that_are_free_act_and_the_others_are_named(mode: str) -> None:
    """Whatever is ordered."""
    driver = locked_out(level_mode=mode)
    told = {"zones": ["a"], "overridden": ["b"]}
    assert driver.set("a-panel", "volume", -10.0).reply == told
    assert driver.values("volume", "ab") == [-10.0, -30.0]
    assert driver.align("a-panel", "volume", -20.0).reply == told
    assert driver.set("a-panel", "program", "laptop").reply == told
    assert driver.set("a-panel", "mute", True).reply == told
    for control, do in (("volume", "raise"), ("talkback", "press"), ("screen", "open")):
        assert driver.act("a-panel", control, do).reply == told
    driver.advance(1.0)
    assert (driver.value("b", "volume"), driver.value("b", "talkback")) == (-30.0, False)


def test_an_order_is_refused_if_no_zone_is_free() -> None:
    """By whichever kind of override."""
    driver = locked_out()
    fire(driver, True)
    with pytest.raises(Refused) as caught:
        driver.set("a-panel", "volume", -10.0)
    assert caught.value.kind == "overridden"
