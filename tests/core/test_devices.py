"""What devices tell is taken; what feeds power or motion is driven only once a person has checked it."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.alarms import standing
from roomlink.core.commands import Actor, Arm, Disarm, ReportControl, ReportDevice
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver

DEVICE = Actor("relays", "device")


def hall(digest: str = "as checked") -> dict[str, Any]:
    return venues.row(
        1,
        controls={**venues.section(), "screen": venues.motion(hold=False)},
        devices={"relays": {"driver": "modbus"}},
        bindings=[
            {"control": "a.screen", "device": "relays", "class": "motion", "digest": digest},
            {"control": "a.volume", "device": "relays", "class": "signal", "digest": digest},
        ],
    )


@pytest.fixture
def driver() -> Driver:
    return Driver(hall())


def report(driver: Driver, control: str, value: Any) -> Any:
    return driver.do(ReportControl(DEVICE, "a", control, value))


def screen(driver: Driver) -> Any:
    record: Any = driver.state.controls["a", "screen"]
    return record.running


def arm(driver: Driver, binding: str = "a.screen", who: str = "A. Technician") -> Any:
    return driver.do(Arm(FINGER, binding, who))


def test_a_control_changed_at_the_device_is_taken_as_it_is(driver: Driver) -> None:
    """And the view says where."""
    report(driver, "volume", -12.0)
    report(driver, "mute", True)
    report(driver, "program", "camera")
    assert (driver.value("a", "volume"), driver.value("a", "mute"), driver.value("a", "program")) == (
        -12.0,
        True,
        "camera",
    )
    assert driver.control("a", "volume")["by"] == "relays"


def test_a_report_ends_what_is_held_and_what_moves(driver: Driver) -> None:
    """A hand at the device is a newer order."""
    driver.act("a", "volume", "raise")
    driver.advance(1.0)
    report(driver, "volume", -50.0)
    driver.advance(1.0)
    assert driver.value("a", "volume") == -50.0


def test_a_report_of_what_is_so_already_changes_nothing(driver: Driver) -> None:
    """Devices repeat themselves."""
    assert report(driver, "volume", -30.0).events == ()
    assert report(driver, "mute", False).events == ()


@pytest.mark.parametrize(("control", "value"), [("volume", 99.0), ("program", "gramophone"), ("screen", "open")])
def test_a_report_that_makes_no_sense_is_refused(driver: Driver, control: str, value: Any) -> None:
    """Nothing changes."""
    with pytest.raises(BadValue):
        report(driver, control, value)


def test_a_lost_device_is_one_alarm_and_stops_the_motions_that_it_drives(driver: Driver) -> None:
    """They stay stopped when it is back."""
    driver.act("a", "screen", "open")
    driver.do(ReportDevice(DEVICE, "relays", False, "no answer"))
    assert standing(driver.state) == ["device-lost/relays"]
    assert screen(driver) is None
    assert driver.do(ReportDevice(DEVICE, "relays", False, "no answer")).events == ()
    driver.do(ReportDevice(DEVICE, "relays", True))
    driver.advance(60.0)
    assert standing(driver.state) == []
    assert screen(driver) is None


def test_arming_needs_a_name_and_a_binding_that_needs_it(driver: Driver) -> None:
    """A signal needs none."""
    arm(driver)
    assert driver.state.armed["a.screen"].who == "A. Technician"
    with pytest.raises(BadValue, match="name the person"):
        arm(driver, who=" ")
    with pytest.raises(Refused, match="signal"):
        arm(driver, "a.volume")
    with pytest.raises(UnknownName):
        arm(driver, "b.screen")


def test_nothing_starts_to_move_because_it_is_armed(driver: Driver) -> None:
    """What ran unseen is stopped first."""
    driver.act("a", "screen", "open")
    arm(driver)
    assert screen(driver) is None


def test_disarming_stops_the_motion(driver: Driver) -> None:
    """Disarming twice is no fault."""
    arm(driver)
    driver.act("a", "screen", "open")
    driver.do(Disarm(FINGER, "a.screen"))
    assert screen(driver) is None
    assert driver.state.armed == {}
    assert driver.do(Disarm(FINGER, "a.screen")).events == ()


def test_a_changed_binding_is_disarmed_and_stopped(driver: Driver) -> None:
    """One that stayed as it was checked is not."""
    arm(driver)
    driver.act("a", "screen", "open")
    driver.configure(hall())
    assert list(driver.state.armed) == ["a.screen"]
    assert screen(driver) == "open"
    driver.configure(hall("rewired"))
    assert driver.state.armed == {}
    assert screen(driver) is None


def test_a_motion_stops_when_its_binding_is_gone() -> None:
    """Or drives another one from now on: neither runs."""
    gone, elsewhere = hall(), hall()
    gone["bindings"] = gone["bindings"][1:]
    elsewhere["zones"]["a"]["controls"] = {**elsewhere["zones"]["a"]["controls"], "shade": venues.motion(hold=False)}
    elsewhere["bindings"][0] |= {"name": "a.screen", "control": "a.shade", "digest": "rewired"}
    for changed in (gone, elsewhere):
        driver = Driver(hall())
        arm(driver)
        driver.act("a", "screen", "open")
        driver.configure(changed)
        assert (screen(driver), driver.state.armed) == (None, {})


def test_a_binding_that_goes_with_its_zone_is_disarmed() -> None:
    """There is nothing left to stop."""
    driver = Driver(hall())
    arm(driver)
    driver.act("a", "screen", "open")
    driver.configure(venues.venue(["b"]))
    assert driver.state.armed == {}
