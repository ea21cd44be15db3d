"""Overrides: a mask over the outputs, orders refused, and nothing that moves by itself when it clears."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import view
from roomlink.core.commands import SERVICE, Actor, Configure, RecallScene, ReportOverride
from roomlink.core.records import Level
from roomlink.errors import Refused
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver

BOX = Actor("relays-1", "device")


def data(**overrides: Any) -> dict[str, Any]:
    controls = {
        **venues.section(),
        "house": venues.level(unit="%", lo=0.0, hi=100.0, start=20.0),
        "screen": {"kind": "motion", "travel": 10.0, "max_run": 13.0},
    }
    found = venues.row(
        3, controls=controls, combining=venues.lead_by_order(["a", "b", "c"], on_combine={"house": 60.0})
    )
    found["devices"] = {}
    found["scenes"] = {"dim": {"type": "section", "values": {"house": 5.0}}}
    found["overrides"] = overrides or {
        "fire": {"kind": "life-safety", "values": {"mute": True, "house": 100.0, "volume": -60.0}, "blend": 2.0}
    }
    return found


@pytest.fixture
def driver() -> Driver:
    return Driver(data())


def fire(driver: Driver, active: bool = True, name: str = "fire") -> None:
    driver.do(ReportOverride(BOX, name, active, "its contact is open"))


def output(driver: Driver, zone: str, control: str) -> Any:
    return view.control(driver.state, zone, control, driver.now)["value"]


def test_it_masks_what_it_lists_in_every_zone(driver: Driver) -> None:
    """What is shown is the output: muted, lights up."""
    fire(driver)
    for zone in "abc":
        assert output(driver, zone, "mute") is True
        assert output(driver, zone, "house") == 100.0
    assert view.control(driver.state, "a", "mute", driver.now)["overridden"] == "fire"


def test_saying_so_again_changes_nothing(driver: Driver) -> None:
    """A second report of the same is no event."""
    fire(driver)
    before = len(driver.events)
    fire(driver)
    assert len(driver.events) == before


@pytest.mark.parametrize("do", ["set", "raise"])
def test_orders_by_hand_are_refused_with_the_reason(driver: Driver, do: str) -> None:
    """The refusal names the override and why it stands."""
    fire(driver)
    with pytest.raises(Refused, match=r"fire override stands over a \(its contact is open\)") as caught:
        driver.act("a", "volume", do, value=-20.0 if do == "set" else None)
    assert caught.value.kind == "overridden"


def test_a_scene_recalled_by_hand_is_refused_too(driver: Driver) -> None:
    """Recalling is an order."""
    fire(driver)
    with pytest.raises(Refused, match="overrid"):
        driver.do(RecallScene(PLAIN, "dim"))


def test_what_is_planned_goes_on_beneath_the_mask(driver: Driver) -> None:
    """The diary's scene counts once the mask is gone, and not before."""
    fire(driver)
    driver.do(RecallScene(Actor("diary", "diary"), "dim"))
    assert output(driver, "a", "house") == 100.0
    fire(driver, active=False)
    driver.advance(2.0)
    assert output(driver, "a", "house") == 5.0


def test_regrouping_goes_on_beneath_the_mask(driver: Driver) -> None:
    """Walls are sensed all the time."""
    fire(driver)
    driver.wall("a-b", "open")
    driver.advance(3.0)
    assert driver.state.group_of["a"] == ("a", "b")
    assert output(driver, "a", "house") == 100.0


def test_what_is_held_is_let_go_and_motion_stops(driver: Driver) -> None:
    """A raise ends where it was, a screen stops; both stay so."""
    driver.act("a", "volume", "raise")
    driver.act("b", "screen", "open")
    driver.advance(1.0)
    fire(driver)
    assert not list(driver.state.holds.live())
    assert driver.state.controls["a", "volume"].at(driver.now + 9.0) == -20.0  # type: ignore[union-attr]
    assert driver.state.controls["b", "screen"].running is None  # type: ignore[union-attr]


def test_lights_return_over_the_blend(driver: Driver) -> None:
    """From the mask's value to what the control says."""
    fire(driver)
    fire(driver, active=False)
    assert output(driver, "a", "house") == 100.0
    driver.advance(1.0)
    assert output(driver, "a", "house") == pytest.approx(60.0)
    driver.advance(1.0)
    assert output(driver, "a", "house") == 20.0


def test_sound_stays_muted_and_low_until_a_person_lets_it_out(driver: Driver) -> None:
    """Nothing gets louder by itself."""
    driver.act("a", "volume", "set", value=-20.0)
    fire(driver)
    fire(driver, active=False)
    driver.advance(60.0)
    assert output(driver, "a", "mute") is True
    assert output(driver, "a", "volume") == -60.0
    driver.act("a", "mute", "set", value=False)
    assert output(driver, "a", "mute") is False


def test_stop_and_release_are_never_refused(driver: Driver) -> None:
    """Towards safe nothing is in the way."""
    fire(driver)
    assert driver.act("a", "screen", "stop").reply["zones"] == ["a"]
    assert driver.act("a", "talkback", "release").reply["zones"] == ["a"]


def test_it_covers_only_its_zones() -> None:
    """A lockout of one zone leaves the others alone."""
    driver = Driver(data(service={"kind": "lockout", "zones": ["b"], "values": {"volume": -60.0}}))
    fire(driver, name="service")
    driver.act("a", "volume", "set", value=-10.0)
    with pytest.raises(Refused, match="service override stands over b"):
        driver.act("b", "volume", "set", value=-10.0)


def test_life_safety_counts_over_a_lockout() -> None:
    """Where two stand, the stronger one's values count, and the other's again when it clears."""
    driver = Driver(
        data(
            lock={"kind": "lockout", "values": {"house": 40.0}},
            fire={"kind": "life-safety", "values": {"house": 100.0}},
        )
    )
    fire(driver, name="lock")
    assert output(driver, "a", "house") == 40.0
    fire(driver)
    assert output(driver, "a", "house") == 100.0
    fire(driver, active=False)
    assert output(driver, "a", "house") == 40.0


def test_linking_carries_nothing_into_an_overridden_zone() -> None:
    """``carry`` is an order, too."""
    found = data()
    found["controllers"]["a-panel"]["on_link"] = "carry"
    driver = Driver(found)
    driver.act("a-panel", "volume", "set", value=-5.0, by=FINGER)
    fire(driver)
    driver.link("a-panel", "b")
    record = driver.state.controls["b", "volume"]
    assert isinstance(record, Level)
    assert record.to == -30.0


def test_feedback_shows_the_mask(driver: Driver) -> None:
    """Panels show what is heard and seen, and that it is overridden."""
    fire(driver)
    face = view.face(driver.state, "a-panel", driver.now)["controls"]["mute"]
    assert (face["value"], face["overridden"]) == (True, "fire")


def test_an_override_that_is_configured_away_ends(driver: Driver) -> None:
    """Its masks go with it."""
    fire(driver)
    changed = data()
    changed["overrides"] = {}
    driver.do(Configure(SERVICE, changed, "c2"))
    assert not list(driver.state.masks.live())
    assert not list(driver.state.overrides.live())
