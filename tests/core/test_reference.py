"""Who adopts whom when zones combine: a live booking, else who was used last by hand, else the lead's."""

from __future__ import annotations

from typing import Any

from roomlink.core import snapshot
from roomlink.core.apply import apply
from roomlink.core.commands import CLOCK, SERVICE, Act, Actor, RecallScene, ReportControl
from roomlink.core.divisions import UsedByHand
from roomlink.core.lead_records import ReportPanel
from roomlink.limits import USED_EVERY_S
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver
from tests.core.booked import book, hall

RULES: dict[str, Any] = {"on_combine": {"volume": "lead", "program": "lead"}}
SCENES = {"dinner": {"name": "Dinner", "type": "section", "values": {"volume": -38.0}}}


def make(count: int = 3, **more: Any) -> Driver:
    return Driver(
        venues.row(count, combining=venues.lead_by_order(venues.names(count), **RULES), scenes=SCENES, **more)
    )


def use(driver: Driver, zone: str, volume: float) -> None:
    driver.set(zone, "volume", volume)
    driver.advance(60.0)


def test_without_a_hand_or_a_booking_the_lead_s_part_is_adopted() -> None:
    """As it was set at the start."""
    driver = make()
    driver.do(ReportControl(SERVICE, "b", "volume", -20.0))
    assert "b" not in driver.state.used
    driver.wall("a-b", "open")
    assert driver.values("volume", "ab") == [-30.0, -30.0]


def test_the_part_used_last_by_hand_is_adopted_by_the_others() -> None:
    """Though another leads, also across a group of several."""
    driver = make()
    use(driver, "a", -10.0)
    use(driver, "b", -20.0)
    driver.wall("a-b", "open")
    assert driver.values("volume", "abc") == [-20.0, -20.0, -30.0]
    driver.advance(60.0)
    use(driver, "c", -40.0)
    driver.wall("b-c", "open")
    assert driver.values("volume", "abc") == [-40.0, -40.0, -40.0]


def test_only_the_newcomers_change() -> None:
    """What the adopted part has is left as it is, zone by zone, even where its zones differ."""
    driver = make()
    driver.wall("a-b", "open")
    use(driver, "a", -10.0)
    use(driver, "b", -12.0)
    driver.wall("b-c", "open")
    assert driver.values("volume", "abc") == [-10.0, -12.0, -10.0]


def test_a_source_is_adopted_as_each_zone_names_it() -> None:
    """The one used last has it on."""
    driver = make(2, controls={"program": venues.choice(sources=True)})
    driver.set("b", "program", "laptop")
    driver.wall("a-b", "open")
    assert driver.values("program", "ab") == ["b/laptop", "laptop"]


def test_acts_recalls_and_hands_at_devices_are_uses_and_what_the_clock_does_is_none() -> None:
    """As is a scene that a routine or a booking recalls."""
    driver = make()
    driver.act("a-panel", "talkback", "press")
    assert driver.state.used["a"] == driver.now
    driver.advance(10.0)
    driver.do(RecallScene(CLOCK, "dinner"))
    assert driver.state.used.get("b") is None
    device = driver.do(ReportControl(Actor("mixer", "device"), "b", "volume", -5.0))
    assert device.events[-1] == UsedByHand(("b",), driver.now)


def test_a_finger_on_a_level_is_put_down_once_a_second() -> None:
    """It costs the journal no more."""
    driver = make()
    for step in range(20):
        driver.set("a", "volume", -10.0 - step / 10.0)
        driver.advance(USED_EVERY_S / 10.0)
    assert sum(isinstance(event, UsedByHand) for event in driver.events) == 2


def test_nothing_is_put_down_where_it_can_never_matter() -> None:
    """In a zone without walls, without combining, or by what changes nothing."""
    driver = Driver(venues.row(2))
    driver.set("a", "volume", -10.0)
    assert list(driver.state.used.live()) == []
    driver = make(1)
    driver.set("a", "volume", -10.0)
    assert list(driver.state.used.live()) == []
    driver = make()
    driver.set("a", "volume", -30.0)
    assert list(driver.state.used.live()) == []


def test_what_was_used_outlasts_a_snapshot_and_may_be_folded_out_of_order() -> None:
    """The newest word counts."""
    driver = make()
    use(driver, "a", -10.0)
    restored = snapshot.restored(snapshot.snapshot(driver.state))
    assert snapshot.same(restored, driver.state)
    apply(restored, UsedByHand(("a",), 5.0))
    assert restored.used["a"] == driver.state.used["a"]


def test_all_zones_that_a_controller_reaches_are_used() -> None:
    """Wherever its panel hangs."""
    driver = make()
    driver.link("a-panel", "b")
    driver.do(Act(FINGER, "volume", "set", controller="a-panel", value=-11.0))
    assert set(driver.state.used.live()) == {"a", "b"}


def test_an_idle_zone_that_joined_a_booking_does_not_speak_for_it() -> None:
    """Also where it leads, as the booking's own panel is gone: who comes next adopts what the booking has."""
    driver = hall(combining=venues.lead_by_order("bca", **RULES))
    book(driver, "b", 0, 120)
    driver.advance(600.0)
    driver.wall("b-c", "open")
    driver.set("b", "volume", -38.0)
    driver.set("c", "volume", -6.0)
    driver.do(ReportPanel(SERVICE, "b-panel", False, ("c-panel",)))
    driver.wall("a-b", "open")
    assert driver.values("volume", "abc") == [-38.0, -38.0, -6.0]
