"""What a zone gets back when it parts: what it had for a while or in the same booking, else idle; never louder."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import idle
from roomlink.core.commands import SaveScene
from roomlink.core.events import Remembered
from roomlink.core.spec import from_data
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver
from tests.core.booked import book, hall

RESTORE = {"on_separate": {"volume": "restore", "mute": "restore", "program": "restore"}}
SCENES = {
    "clear": {"name": "Clear", "type": "section", "values": {"volume": -50.0, "mute": True}},
    "own": {"name": "Own", "zone": "b", "values": {"volume": -55.0}},
}


def make(count: int = 2, *, data: dict[str, Any] | None = None, **rules: Any) -> Driver:
    combining = venues.lead_by_order(venues.names(count), **{**RESTORE, **rules})
    return Driver({**venues.row(count, combining=combining, scenes=SCENES), **(data or {})})


def joined(driver: Driver, hours: float) -> None:
    """``a`` and ``b``, at -20 and -40 dB, are one room for so long, and louder than either was."""
    driver.set("a", "volume", -20.0)
    driver.set("b", "volume", -40.0)
    driver.wall("a-b", "open")
    for zone in "ab":
        driver.set(zone, "volume", -10.0)
    driver.advance(hours * 3600.0)
    driver.wall("a-b", "closed")


def test_within_an_hour_a_zone_gets_back_what_it_had() -> None:
    """Unless the venue says otherwise."""
    driver = make()
    joined(driver, 0.9)
    assert driver.values("volume", "ab") == [-20.0, -40.0]


def test_later_it_takes_its_idle_values() -> None:
    """Where its controls start, if it has no idle scene."""
    driver = make()
    joined(driver, 1.1)
    assert driver.values("volume", "ab") == [-30.0, -30.0]


@pytest.mark.parametrize(("restore_for", "expected"), [(7200.0, -20.0), (0.0, -30.0)])
def test_how_long_is_configured(restore_for: float, expected: float) -> None:
    """``restore_for`` of the section combining."""
    driver = make(restore_for=restore_for)
    joined(driver, 1.1)
    assert driver.value("a", "volume") == expected


def test_an_idle_scene_is_a_zone_s_own_or_its_type_s_and_a_saved_one_counts() -> None:
    """Where it says nothing, the control's start does."""
    data = venues.row(2, scenes=SCENES, combining=venues.lead_by_order("ab", **RESTORE))
    data["zones"]["a"]["idle"], data["zones"]["b"]["idle"] = "clear", "own"
    driver = Driver(data)
    assert idle.values(driver.state, "a") == {"program": None, "volume": -50.0, "mute": True}
    assert idle.values(driver.state, "b") == {"program": None, "volume": -55.0, "mute": False}
    joined(driver, 2.0)
    assert driver.values("volume", "ab") == [-50.0, -55.0]
    assert driver.values("mute", "ab") == [True, False]
    driver.do(SaveScene(PLAIN, "own", {"values": {"volume": -58.0}}, if_match=("*",)))
    assert idle.values(driver.state, "b")["volume"] == -58.0


def test_in_the_same_booking_it_gets_back_what_it_had_however_long_ago() -> None:
    """A break-out after lunch is as it was before."""
    driver = hall(combining=venues.lead_by_order("abc", **RESTORE))
    book(driver, "ab", 0, 600)
    driver.advance(60.0)
    joined(driver, 3.0)
    assert driver.values("volume", "ab") == [-20.0, -40.0]


def test_in_the_midst_of_a_booking_that_it_remembers_nothing_of_it_stays_as_it_is() -> None:
    """Guests are not put to idle."""
    driver = hall(combining=venues.lead_by_order("abc", **RESTORE))
    driver.wall("a-b", "open")
    book(driver, "a", 0, 600)
    driver.advance(7200.0)
    driver.set("a", "volume", -12.0)
    driver.set("b", "volume", -12.0)
    driver.wall("a-b", "closed")
    assert driver.values("volume", "ab") == [-12.0, -30.0]


def test_separating_never_unmutes_or_raises_sound_unasked() -> None:
    """Whatever was before, and whatever idle is; the same for what is left of a larger room."""
    driver = make()
    driver.set("a", "volume", -20.0)
    driver.wall("a-b", "open")
    driver.set("a-panel", "volume", -45.0)
    driver.set("a-panel", "mute", True)
    driver.wall("a-b", "closed")
    assert (driver.values("volume", "ab"), driver.values("mute", "ab")) == ([-45.0, -45.0], [True, True])
    driver = make(3, on_combine={"volume": "loudest", "mute": "lead"})
    driver.join("hall", "a", "b", "c")
    driver.set("b", "volume", -5.0)
    driver.set("c", "volume", -25.0)
    driver.set("c", "mute", True)
    driver.wall("b-c", "open")
    driver.join("hall")
    assert driver.groups() == [["a"], ["b", "c"]]
    assert (driver.values("volume", "bc"), driver.values("mute", "bc")) == ([-5.0, -25.0], [False, True])


def test_a_level_on_its_way_up_is_held_to_where_it_goes_and_one_on_its_way_down_too() -> None:
    """A fade out that is under way goes on."""
    driver = make()
    driver.wall("a-b", "open")
    driver.set("a", "volume", -50.0, over=10.0)
    driver.advance(1.0)
    driver.wall("a-b", "closed")
    driver.advance(10.0)
    assert driver.value("a", "volume") == -50.0


def test_a_value_that_the_configuration_names_is_asked_for() -> None:
    """That is what ``on_separate`` with a value means."""
    driver = make(on_separate={"volume": -25.0, "mute": False})
    driver.set("a", "mute", True)
    driver.wall("a-b", "open")
    driver.set("a-panel", "volume", -45.0)
    driver.wall("a-b", "closed")
    assert (driver.value("a", "volume"), driver.value("a", "mute")) == (-25.0, False)


def test_what_sounds_and_what_mutes_can_be_said_and_is_guessed_from_unit_and_name() -> None:
    """A level in percent may be loud, a switch of any name may mute; light comes up as it was."""
    controls = {
        "gain": venues.level(unit="%", lo=0.0, hi=100.0, start=50.0, sound=True),
        "glow": venues.level(unit="%", lo=0.0, hi=100.0, start=50.0),
        "trim": venues.level(sound=False),
        "hush": venues.switch(mutes=True),
        "pulpit-mute": venues.switch(),
    }
    rules = {"on_separate": dict.fromkeys(controls, "restore")}
    driver = Driver(venues.row(2, controls=controls, combining=venues.lead_by_order("ab", **rules)))
    driver.wall("a-b", "open")
    low = {"gain": 10.0, "glow": 10.0, "trim": -50.0, "hush": True, "pulpit-mute": True}
    for name, value in low.items():
        driver.set("a", name, value)
    driver.wall("a-b", "closed")
    after = {name: driver.value("a", name) for name in controls}
    assert after == {**low, "glow": 50.0, "trim": -30.0}


def test_a_memory_of_before_ages_were_kept_counts_as_it_did() -> None:
    """An older journal and an older configuration read the same."""
    driver = make()
    driver.wall("a-b", "open")
    driver.events.clear()
    for event in (Remembered("a", {"volume": -44.0}), Remembered("b", {"volume": -45.0})):
        driver.state.alone[event.zone], driver.state.alone_since[event.zone] = dict(event.values), (None, None)
    driver.checked = False
    driver.advance(1e6)
    driver.wall("a-b", "closed")
    assert driver.values("volume", "ab") == [-44.0, -45.0]
    data = venues.row(1, combining={"lead_order": []})
    spec = from_data(data)
    assert spec.combining is not None
    assert (spec.combining.restore_for, spec.controllers["a-panel"].hand_links_on_close) == (3600.0, "end")
