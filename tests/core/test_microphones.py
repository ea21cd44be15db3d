"""Microphones are heard in the group of their zone, and nothing that moves a wall lets one out."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import microphones, travel_view, view
from roomlink.core.commands import (
    AssignMicrophone,
    RecallScene,
    ReportControl,
    ReportOverride,
    SaveScene,
    StartOverflow,
)
from roomlink.core.travel_events import MicrophoneAssigned
from roomlink.errors import Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver

SOUND = {"section": "sound"}
SECTION = {"volume": venues.level(), "mute": venues.switch(start=True)}
HANDHELD = {"handheld-level": venues.level(start=-20.0, **SOUND), "handheld-mute": venues.switch(start=True, **SOUND)}
LECTERN = {"lectern-level": venues.level(start=-10.0, **SOUND), "lectern-mute": venues.switch(start=True, **SOUND)}


def data(count: int = 3, *, others: str = "mirror", zones: str = "abc") -> dict[str, Any]:
    names = venues.names(count)
    controls = {zone: {**SECTION, **HANDHELD, **(LECTERN if zone == "a" else {})} for zone in names}
    rules = venues.lead_by_order(names, others=others, on_combine={"mute": "lead"}, on_separate={"mute": "restore"})
    found: dict[str, Any] = venues.row(count, controls=SECTION, zone_controls=controls, combining=rules)
    found["microphones"] = {
        "lectern": {"name": "Lectern", "zone": "a", "at": [0, 0], "level": "lectern-level", "mute": "lectern-mute"},
        "handheld": {
            "name": "Handheld", "zone": "a", "at": None, "radio": True, "zones": list(zones),
            "level": "handheld-level", "mute": "handheld-mute",
        },
        "ceiling": {"name": "Ceiling", "zone": "b", "at": [1, 1]},
    }  # fmt: skip
    fire = {"kind": "life-safety", "zones": None, "values": {"mute": True, "lectern-mute": True, "handheld-mute": True}}
    found["overrides"] = {"fire": fire}
    return found


def make(count: int = 3, **members: Any) -> Driver:
    return Driver(data(count, **members))


def assign(driver: Driver, zone: str, microphone: str = "handheld") -> Any:
    return driver.do(AssignMicrophone(FINGER, microphone, zone))


def heard(driver: Driver, microphone: str) -> tuple[str, ...]:
    return microphones.heard(driver.state)[microphone]


def test_a_microphone_is_heard_in_every_zone_of_its_group() -> None:
    """While it is open."""
    driver = make()
    assert heard(driver, "lectern") == ()
    driver.set("a", "lectern-mute", False)
    assert heard(driver, "lectern") == ("a",)
    driver.wall("a-b", "open")
    assert heard(driver, "lectern") == ("a", "b")
    assert travel_view.places(driver.state)["lectern"]["heard_in"] == ["a", "b"]


def test_the_groups_lead_has_its_level_and_mute() -> None:
    """From another zone of the group, as they follow links by combining; and no longer once the walls part."""
    driver = make()
    driver.wall("a-b", "open")
    driver.set("b-panel", "lectern-mute", False)
    driver.set("b-panel", "lectern-level", -15.0)
    assert (driver.value("a", "lectern-mute"), driver.value("a", "lectern-level")) == (False, -15.0)
    driver.wall("a-b", "closed")
    with pytest.raises(UnknownName):
        driver.set("b-panel", "lectern-mute", True)


def test_at_separation_it_is_heard_in_its_own_zone_alone() -> None:
    """And its level and mute are as they were: nothing gets louder or is let out."""
    driver = make()
    driver.wall("a-b", "open")
    driver.set("a", "lectern-mute", False)
    driver.set("a", "lectern-level", -40.0)
    driver.wall("a-b", "closed")
    assert heard(driver, "lectern") == ("a",)
    assert (driver.value("a", "lectern-level"), driver.value("a", "lectern-mute")) == (-40.0, False)


def test_one_without_a_mute_is_always_open() -> None:
    """As the plan of gains has to assume."""
    assert heard(make(), "ceiling") == ("b",)


def test_a_radio_microphone_goes_to_another_zone_muted() -> None:
    """Muted where it was and where it is, until somebody opens it there."""
    driver = make()
    driver.set("a", "handheld-mute", False)
    decision = assign(driver, "b")
    assert decision.reply["zones"] == ["a", "b"]
    assert heard(driver, "handheld") == ()
    assert driver.state.controls["a", "handheld-mute"].value is True  # type: ignore[union-attr]  # a Switch
    driver.set("b", "handheld-mute", False)
    assert heard(driver, "handheld") == ("b",)


def test_its_controls_are_those_of_its_zone() -> None:
    """Elsewhere they are neither shown nor worked."""
    driver = make()
    assign(driver, "b")
    assert "handheld-level" not in view.zone(driver.state, "a", driver.now)["controls"]
    assert "handheld-level" in view.zone(driver.state, "b", driver.now)["controls"]
    assert "handheld-mute" not in view.face(driver.state, "a-panel", driver.now)["controls"]
    assert "handheld-mute" in view.face(driver.state, "b-panel", driver.now)["controls"]
    with pytest.raises(Refused, match="is in b"):
        driver.set("a", "handheld-mute", False)
    driver.set("b-panel", "handheld-level", -5.0)
    assert driver.value("b", "handheld-level") == -5.0


def test_whoever_holds_its_level_lets_go_when_it_goes() -> None:
    """The level stops where it is."""
    driver = make()
    driver.act("a-panel", "handheld-level", "raise")
    driver.advance(1.0)
    assign(driver, "b")
    assert list(driver.state.holds.live()) == []
    assert driver.state.controls["a", "handheld-level"].at(driver.now + 9.0) == -10.0  # type: ignore[union-attr]  # a Level


def test_it_is_muted_when_its_group_loses_a_zone() -> None:
    """Whoever carries it may be on the other side; a zone that joins does not mute it."""
    driver = make()
    driver.set("a", "handheld-mute", False)
    driver.wall("a-b", "open")
    assert heard(driver, "handheld") == ("a", "b")
    driver.wall("b-c", "open")
    assert heard(driver, "handheld") == ("a", "b", "c")
    decision = driver.wall("b-c", "closed")
    assert decision.events
    assert heard(driver, "handheld") == ()
    driver.set("a", "handheld-mute", False)
    driver.wall("a-b", "closed")
    assert driver.value("a", "handheld-mute") is True


def test_walls_elsewhere_do_not_mute_it() -> None:
    """Those of a group that is not its own."""
    driver = make(4)
    driver.set("a", "handheld-mute", False)
    driver.wall("c-d", "open")
    driver.wall("c-d", "closed")
    assert heard(driver, "handheld") == ("a",)


def test_a_scene_opens_it_in_its_own_zone_alone() -> None:
    """However many zones the scene is for; nor does a device that reports so."""
    driver = make()
    values = {zone: {"handheld-mute": False} for zone in "abc"}
    driver.do(SaveScene(FINGER, "talk", {"zones": values}))
    assign(driver, "b")
    driver.do(RecallScene(FINGER, "talk"))
    driver.do(ReportControl(FINGER, "c", "handheld-mute", False))
    muted = [driver.state.controls[zone, "handheld-mute"].value for zone in "abc"]  # type: ignore[union-attr]  # Switches
    assert muted == [True, False, True]


def test_it_stays_where_it_was_over_a_restart() -> None:
    """With its mute."""
    driver = make()
    assign(driver, "c")
    driver.set("c", "handheld-mute", False)
    driver.restart(60.0)
    assert heard(driver, "handheld") == ("c",)


def test_only_a_radio_microphone_goes_and_only_where_it_may() -> None:
    """With what would be right."""
    driver = make(zones="ab")
    with pytest.raises(Refused, match="cable"):
        assign(driver, "b", "lectern")
    with pytest.raises(Refused, match="may be used in a, b"):
        assign(driver, "c")
    with pytest.raises(UnknownName):
        assign(driver, "attic")
    with pytest.raises(UnknownName):
        assign(driver, "b", "trumpet")


def test_assigning_it_where_it_is_is_no_entry() -> None:
    """And so mutes nobody."""
    driver = make()
    driver.set("a", "handheld-mute", False)
    assert assign(driver, "a").events == ()
    assert heard(driver, "handheld") == ("a",)


def test_under_life_safety_no_microphone_is_heard_or_goes_anywhere() -> None:
    """And when it clears all of them stay muted until a person opens them."""
    driver = make()
    driver.set("a", "lectern-mute", False)
    driver.set("a", "handheld-mute", False)
    driver.do(ReportOverride(FINGER, "fire", True, "contact"))
    assert set(microphones.heard(driver.state).values()) == {()}
    with pytest.raises(Refused):
        assign(driver, "b")
    driver.do(ReportOverride(FINGER, "fire", False))
    assert (heard(driver, "lectern"), heard(driver, "handheld")) == ((), ())


def test_an_overflow_carries_the_microphones_of_where_it_comes_from() -> None:
    """Not those of where it goes to, and none where it carries only pictures."""
    driver = make()
    driver.set("a", "lectern-mute", False)
    driver.do(StartOverflow(FINGER, "foyer", "a", "b"))
    assert (heard(driver, "lectern"), heard(driver, "ceiling")) == (("a", "b"), ("b",))
    driver.do(StartOverflow(FINGER, "foyer", "a", "b", ("picture",)))
    assert heard(driver, "lectern") == ("a",)


def test_one_whose_new_configuration_forbids_its_zone_goes_home_muted() -> None:
    """As if somebody had assigned it."""
    driver = make()
    assign(driver, "c")
    driver.set("c", "handheld-mute", False)
    decision = driver.configure(data(zones="ab"))
    assert MicrophoneAssigned("handheld", None) in decision.events
    assert (microphones.zone_of(driver.state, "handheld"), heard(driver, "handheld")) == ("a", ())
