"""What devices tell, and the arming of power and motion."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.commands import SERVICE, Actor, Arm, Configure, Disarm, ReportControl, ReportDevice
from roomlink.core.records import Choice, Switch
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import Driver

DESK = Actor("desk-1", "device")


def data(digest: str = "d1") -> dict[str, Any]:
    controls = {**venues.section(), "screen": {"kind": "motion", "travel": 10.0, "max_run": 13.0}}
    found = venues.row(2, controls=controls)
    found["devices"] = {"desk-1": {"driver": "simulated"}, "relays-1": {"driver": "simulated"}}
    found["bindings"] = [
        {"name": "a.volume", "control": "a.volume", "device": "desk-1"},
        {"name": "a.mute", "control": "a.mute", "device": "relays-1", "class": "power", "digest": digest},
        {"name": "a.screen", "control": "a.screen", "device": "relays-1", "class": "motion", "digest": digest},
    ]
    return found


@pytest.fixture
def driver() -> Driver:
    return Driver(data())


def test_a_value_set_at_the_device_is_taken(driver: Driver) -> None:
    """A level, a switch and a choice follow, with the device as who did it."""
    driver.do(ReportControl(DESK, "a", "volume", -12.0))
    driver.do(ReportControl(DESK, "a", "mute", True))
    driver.do(ReportControl(DESK, "a", "program", "laptop"))
    assert driver.value("a", "volume") == -12.0
    assert driver.state.controls["a", "mute"] == Switch(True, driver.now, by="desk-1")
    assert driver.state.controls["a", "program"] == Choice("laptop", by="desk-1")


def test_a_report_within_the_tolerance_is_no_news() -> None:
    """A device that rounds does not chatter into the journal."""
    driver = Driver(venues.row(1, controls={"volume": venues.level(tolerance=0.5)}))
    before = len(driver.events)
    driver.do(ReportControl(DESK, "a", "volume", -30.2))
    assert len(driver.events) == before


def test_a_report_that_the_control_cannot_hold_is_refused(driver: Driver) -> None:
    """Nothing outside the range gets in from a device either."""
    with pytest.raises(BadValue, match="from -60 to 0 dB"):
        driver.do(ReportControl(DESK, "a", "volume", 7.0))


def test_a_lost_device_is_one_alarm_until_it_is_back(driver: Driver) -> None:
    """However often it is said."""
    driver.do(ReportDevice(DESK, "desk-1", False, "no answer"))
    driver.do(ReportDevice(DESK, "desk-1", False, "no answer"))
    assert list(driver.state.alarms.live()) == ["device-lost/desk-1"]
    driver.do(ReportDevice(DESK, "desk-1", True))
    assert not list(driver.state.alarms.live())


def test_a_lost_device_stops_what_it_moves(driver: Driver) -> None:
    """And only that."""
    driver.act("a", "screen", "open")
    driver.do(ReportDevice(DESK, "desk-1", False))
    assert driver.state.controls["a", "screen"].running == "open"  # type: ignore[union-attr]
    driver.do(ReportDevice(DESK, "relays-1", False))
    assert driver.state.controls["a", "screen"].running is None  # type: ignore[union-attr]


def test_arming_names_who_checked_and_when(driver: Driver) -> None:
    """The commissioning record is state, with the digest of what was checked."""
    driver.do(Arm(SERVICE, "a.screen", " R. Okafor ", "limits seen"))
    arming = driver.state.armed["a.screen"]
    assert (arming.who, arming.at, arming.digest, arming.note) == ("R. Okafor", driver.now, "d1", "limits seen")


def test_arming_needs_a_person_and_a_binding_of_power_or_motion(driver: Driver) -> None:
    """Who, and something to arm."""
    with pytest.raises(BadValue, match="name the person"):
        driver.do(Arm(SERVICE, "a.screen", "  "))
    with pytest.raises(Refused, match="needs no arming"):
        driver.do(Arm(SERVICE, "a.volume", "R. Okafor"))
    with pytest.raises(UnknownName):
        driver.do(Arm(SERVICE, "a.nothing", "R. Okafor"))


def test_arming_starts_nothing_that_is_held_already(driver: Driver) -> None:
    """A finger on the key does not make a screen run the moment it is armed."""
    driver.act("a", "screen", "open")
    driver.do(Arm(SERVICE, "a.screen", "R. Okafor"))
    assert driver.state.controls["a", "screen"].running is None  # type: ignore[union-attr]


def test_any_change_of_a_binding_disarms_it(driver: Driver) -> None:
    """The digest of the configuration no longer is the one that was checked."""
    driver.do(Arm(SERVICE, "a.screen", "R. Okafor"))
    driver.do(Arm(SERVICE, "a.mute", "R. Okafor"))
    changed = data()
    changed["bindings"][2]["digest"] = "d2"
    driver.do(Configure(SERVICE, changed, "c2"))
    assert list(driver.state.armed.live()) == ["a.mute"]


def test_disarming_stops_what_moves(driver: Driver) -> None:
    """And takes the record away; twice does no harm."""
    driver.do(Arm(SERVICE, "a.screen", "R. Okafor"))
    driver.act("a", "screen", "open")
    driver.do(Disarm(SERVICE, "a.screen", "under repair"))
    driver.do(Disarm(SERVICE, "a.screen"))
    assert not list(driver.state.armed.live())
    assert driver.state.controls["a", "screen"].running is None  # type: ignore[union-attr]
