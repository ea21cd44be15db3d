"""The main job as the trade does it.

Source of every check here: common practice, no source. Where a check rests on a published text, it says so.
"""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.errors import Refused
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def make(count: int = 3, *, controls: dict[str, Any] | None = None, **panel: Any) -> Driver:
    return Driver(venues.row(count, controls=controls, panel=panel))


def test_a_full_range_ramp_takes_its_travel_and_half_the_range_half_of_it() -> None:
    """3 s for the full range is usual; half a range then takes 1.5 s. Common practice, no source."""
    driver = make(1, controls={"volume": venues.level(travel=3.0, start=-60.0)})
    driver.act("a-panel", "volume", "raise")
    driver.advance(1.5)
    assert driver.value("a", "volume") == -30.0
    driver.advance(1.49)
    assert driver.value("a", "volume") < 0.0
    driver.advance(0.01)
    assert driver.value("a", "volume") == 0.0


def test_one_controller_linked_in_turn_to_three_zones_reaches_all_three() -> None:
    """Linking a further zone keeps the earlier ones. Common practice, no source."""
    driver = make()
    driver.unlink("a-panel")
    for zone, expected in (("a", ["a"]), ("b", ["a", "b"]), ("c", ["a", "b", "c"])):
        driver.link("a-panel", zone)
        assert driver.set("a-panel", "program", "laptop").reply["zones"] == expected
    assert driver.values("program", "abc") == ["laptop"] * 3


def test_zones_set_differently_show_the_one_linked_last_and_then_track_alike() -> None:
    """After that a new press makes all linked zones alike. Common practice, no source."""
    driver = make(feedback="last-linked")
    driver.unlink("a-panel")
    for zone, option in (("a", "lectern"), ("b", "laptop"), ("c", "camera")):
        driver.set(zone, "program", option)
        driver.link("a-panel", zone)
        assert driver.shown("a-panel", "program")["value"] == option
    driver.set("a-panel", "program", "lectern")
    assert driver.values("program", "abc") == ["lectern"] * 3
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["mixed"]) == ("lectern", False)


def test_levels_persist_on_a_controller_and_go_to_a_newly_linked_zone() -> None:
    """Choices do not, they are read back: with ``carry``. Common practice, no source."""
    driver = make(on_link="carry", feedback="last-linked")
    driver.set("a-panel", "volume", -12.0)
    driver.set("a-panel", "program", "laptop")
    driver.set("b", "program", "camera")
    driver.link("a-panel", "b")
    driver.advance(60.0)
    assert driver.value("b", "volume") == -12.0
    assert driver.value("b", "program") == "camera"
    assert driver.shown("a-panel", "program")["value"] == "camera"


def test_a_controller_without_links_has_no_effect() -> None:
    """Common practice, no source."""
    driver = make()
    driver.unlink("a-panel")
    with pytest.raises(Refused):
        driver.set("a-panel", "program", "laptop")
    assert driver.values("program", "abc") == [None] * 3


def test_a_zone_keeps_its_state_after_unlinking() -> None:
    """Common practice, no source."""
    driver = make()
    driver.set("a-panel", "program", "laptop")
    driver.unlink("a-panel")
    driver.advance(60.0)
    assert driver.value("a", "program") == "laptop"


def test_a_zone_shows_that_it_is_in_use() -> None:
    """By whom, in fact. Common practice, no source."""
    driver = make()
    driver.link("b-panel", "c")
    assert driver.state.linked_by["c"] == ("c-panel", "b-panel")


def test_minimum_off_time_lets_a_discharge_lamp_cool() -> None:
    """Common practice, no source."""
    driver = make(1, controls={"lamp": venues.switch(start=True, min_off=300.0)})
    driver.set("a", "lamp", False)
    driver.advance(10.0)
    driver.set("a", "lamp", True)
    assert driver.value("a", "lamp") is False
    driver.advance(290.0)
    assert driver.value("a", "lamp") is True


SCREEN = {"screen": venues.motion()}
"""A maximum run of 1.3 times the measured travel, a dead time of 1 s."""


def test_a_motion_rests_before_it_reverses_and_runs_one_way_at_a_time() -> None:
    """Reversing dead time of 0.5 to 2 s. Common practice, no source."""
    driver = make(1, controls=SCREEN)
    running = [("open", None)]
    driver.act("a-panel", "screen", "open")
    driver.advance(5.0)
    driver.act("a-panel", "screen", "close")
    for _ in range(4):
        record: Any = driver.state.controls["a", "screen"]
        running.append((record.running, record.pending))
        driver.advance(0.4)
    assert running == [("open", None), (None, "close"), (None, "close"), (None, "close"), ("close", None)]


def test_a_motion_runs_at_most_its_longest_run_and_never_starts_again_by_itself() -> None:
    """1.2 to 1.5 times measured travel; no automatic retry. Common practice, no source."""
    driver = make(1, controls=SCREEN)
    driver.act("a-panel", "screen", "open")
    driver.advance(25.9)
    assert driver.state.controls["a", "screen"].running == "open"  # type: ignore[union-attr]  # a Motion
    driver.advance(0.1)
    assert driver.state.controls["a", "screen"].running is None  # type: ignore[union-attr]
    driver.advance(3600.0)
    assert driver.state.controls["a", "screen"].running is None  # type: ignore[union-attr]


def test_a_wall_needs_seconds_to_settle() -> None:
    """A contact that bounces for 50 ms joins nothing. Common practice, no source."""
    driver = Driver(venues.row(2, wall={"settle": 2.0}))
    for position in ("open", "closed", "open", "closed"):
        driver.wall("a-b", position)
        driver.advance(0.05)
    driver.advance(60.0)
    assert driver.groups() == [["a"], ["b"]]


@pytest.mark.parametrize("over", [0.0, 0.5, 3.0, 5.0])
def test_a_fade_ends_exactly_on_its_target_and_a_new_one_starts_from_the_present_level(over: float) -> None:
    """Scene fades of 0 to 5 s. Common practice, no source."""
    driver = make(1)
    driver.set("a", "volume", -17.3, over=over)
    driver.advance(over / 2)
    here = driver.state.controls["a", "volume"].at(driver.now)  # type: ignore[union-attr]  # a Level
    driver.set("a", "volume", -3.7, over=over)
    record: Any = driver.state.controls["a", "volume"]
    assert record.origin == (here if over else -3.7)
    driver.advance(over)
    assert driver.state.controls["a", "volume"].at(driver.now) == -3.7  # type: ignore[union-attr]
