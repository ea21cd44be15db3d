"""A configuration is taken as a change like any other; a restart lets go and asks the sensors anew."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.alarms import standing
from roomlink.core.commands import SERVICE, ReportDevice
from roomlink.core.events import ControlSet, Noticed
from roomlink.core.records import Choice
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def controls(**changed: Any) -> dict[str, Any]:
    return {**venues.section(), **changed}


def notices(driver: Driver) -> list[str]:
    return [e.text for e in driver.events if isinstance(e, Noticed)]


def test_a_reload_of_the_same_keeps_all_state() -> None:
    """Nothing but the configuration event itself."""
    driver = Driver(venues.row(3, combining=venues.lead_by_order("abc", others="mirror")))
    driver.wall("a-b", "open")
    driver.link("a-panel", "c")
    driver.set("a-panel", "volume", -10.0, over=5.0)
    decision = driver.configure(venues.row(3, combining=venues.lead_by_order("abc", others="mirror")))
    assert [type(e).__name__ for e in decision.events] == ["Configured"]


def test_a_reload_does_not_relink_what_a_hand_has_unlinked() -> None:
    """Neither home nor a zone of the group: links are state like any other."""
    driver = Driver(venues.row(3, combining=venues.lead_by_order("abc")))
    driver.wall("a-b", "open")
    driver.unlink("a-panel", "b")
    driver.unlink("c-panel")
    driver.configure(venues.row(3, combining=venues.lead_by_order("abc"), controls=controls(spot=venues.switch())))
    assert (driver.linked("a-panel"), driver.linked("c-panel")) == (["a"], [])


def test_what_is_new_starts() -> None:
    """A zone, a control, a wall, a controller."""
    driver = Driver(venues.row(2))
    driver.configure(venues.row(3, controls=controls(spot=venues.switch(start=True))))
    assert driver.value("c", "volume") == -30.0
    assert driver.values("spot", "abc") == [True] * 3
    assert driver.linked("c-panel") == ["c"]
    assert driver.groups() == [["a"], ["b"], ["c"]]
    driver.wall("b-c", "open")
    assert driver.groups() == [["a"], ["b", "c"]]


def test_what_is_gone_is_dropped_with_a_notice() -> None:
    """With its links, holds, walls, memories and overflows; nothing dangles."""
    driver = Driver(venues.row(3, combining=venues.lead_by_order("abc"), panel={"on_link": "carry"}))
    driver.wall("b-c", "open")
    driver.join("graduation", "a", "c")
    driver.link("a-panel", "c")
    driver.link("c-panel", "b")
    driver.set("c-panel", "volume", -10.0)
    driver.act("a-panel", "talkback", "press")
    driver.act("c-panel", "volume", "raise")
    driver.configure(venues.row(2, combining=venues.lead_by_order("ab")))
    assert driver.groups() == [["a"], ["b"]]
    assert driver.linked("a-panel") == ["a"]
    assert {"zone c is no longer configured", "controller c-panel is no longer configured"} <= set(notices(driver))
    for table in (
        "controls",
        "links",
        "linked",
        "linked_by",
        "held",
        "holds",
        "walls",
        "group_of",
        "roles",
        "alone",
        "hands",
    ):
        names = {name for key in getattr(driver.state, table) for name in ((key,) if isinstance(key, str) else key)}
        assert names.isdisjoint({"c", "c-panel", "b-c"}), table
    for index in ("linked", "linked_by", "group_of"):
        assert {name for names in getattr(driver.state, index).values() for name in names}.isdisjoint({"c", "c-panel"})
    assert driver.state.overflows == {}
    driver.advance(60.0)
    driver.act("a-panel", "talkback", "release")
    assert driver.value("a", "talkback") is False


def test_what_changed_kind_starts_afresh() -> None:
    """A level cannot become a switch with its state."""
    driver = Driver(venues.row(1))
    driver.act("a", "volume", "raise")
    driver.configure(venues.row(1, controls=controls(volume=venues.switch(start=True))))
    assert driver.value("a", "volume") is True
    assert driver.state.holds == {}
    driver.advance(60.0)


def test_what_a_zone_remembers_of_another_kind_is_not_restored() -> None:
    """The remembered option means nothing to a level."""
    rules = venues.lead_by_order("ab", on_separate={"program": "restore", "volume": "restore"})
    driver = Driver(venues.row(2, combining=rules))
    driver.set("b", "program", "camera")
    driver.wall("a-b", "open")
    driver.configure(venues.row(2, combining=rules, controls=controls(program=venues.level(), volume=venues.choice())))
    driver.wall("a-b", "closed")
    assert driver.values("program", "ab") == [-30.0, -30.0]
    assert driver.values("volume", "ab") == [None, None]


@pytest.mark.parametrize(
    ("members", "expected"), [({"hi": -20.0}, -20.0), ({"ceiling": -25.0}, -25.0), ({"lo": -5.0}, -5.0)]
)
def test_a_level_outside_its_new_range_comes_to_the_end_of_it(members: dict[str, float], expected: float) -> None:
    """And rests there."""
    driver = Driver(venues.row(1))
    driver.set("a", "volume", -10.0)
    driver.configure(venues.row(1, controls=controls(volume=venues.level(**members))))
    assert driver.value("a", "volume") == expected
    driver.advance(60.0)


def test_a_ramp_within_the_new_range_runs_on() -> None:
    """A reload is not heard."""
    driver = Driver(venues.row(1))
    driver.set("a", "volume", -40.0, over=2.0)
    driver.advance(1.0)
    driver.configure(venues.row(1, controls=controls(volume=venues.level(hi=-20.0))))
    assert driver.value("a", "volume") == -35.0
    driver.advance(1.0)
    assert driver.value("a", "volume") == -40.0


def test_an_option_that_is_gone_falls_back_with_a_gap() -> None:
    """What was on goes off; the fallback breaks before it makes."""
    driver = Driver(venues.row(1, controls={"program": venues.choice(gap=0.3)}))
    driver.set("a", "program", "camera")
    smaller = venues.choice("lectern", "laptop", gap=0.3, allow_none=False, start="lectern", fallback="lectern")
    decision = driver.configure(venues.row(1, controls={"program": smaller}))
    now = [e.now for e in decision.events if isinstance(e, ControlSet)]
    assert [(c.value, c.pending) for c in now if isinstance(c, Choice)] == [(None, "lectern")]
    driver.advance(0.3)
    assert driver.value("a", "program") == "lectern"


def test_an_option_that_is_gone_is_not_made_from_the_gap() -> None:
    """Pending counts as on."""
    driver = Driver(venues.row(1, controls={"program": venues.choice(gap=0.3)}))
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    driver.configure(venues.row(1, controls={"program": venues.choice("lectern", "laptop", gap=0.3)}))
    driver.advance(1.0)
    assert driver.value("a", "program") is None


def test_a_travelling_source_that_is_gone_falls_back() -> None:
    """Whether the option went, or its zone, or travelling itself."""
    for changed in (
        venues.row(2, controls={"program": venues.choice("lectern", sources=True)}),
        venues.row(1, controls={"program": venues.choice(sources=True)}) | {"partitions": {}},
        venues.row(2, controls={"program": venues.choice()}),
    ):
        driver = Driver(venues.venue(["b", "a"], [("a", "b")], controls={"program": venues.choice(sources=True)}))
        driver.wall("a-b", "open")
        driver.set("a", "program", "b/laptop")
        driver.configure(changed)
        assert driver.value("a", "program") is None


def test_without_allow_none_any_more_something_goes_on() -> None:
    """The fallback."""
    driver = Driver(venues.row(1))
    strict = venues.choice(allow_none=False, start="laptop", fallback="lectern")
    driver.configure(venues.row(1, controls=controls(program=strict)))
    assert driver.value("a", "program") == "lectern"


def test_a_controller_whose_home_moved_is_at_home_there() -> None:
    """Links by hand stay."""
    driver = Driver(venues.row(3))
    driver.link("a-panel", "b")
    driver.configure(venues.row(3, controllers={"a-panel": {"home": "c"}}))
    assert driver.reasons("a-panel", "c") == ("home",)
    assert driver.reasons("a-panel", "b") == ("hand",)
    assert driver.reasons("a-panel", "a") == ()


def test_a_link_by_hand_out_of_a_new_reach_ends() -> None:
    """Home never does."""
    driver = Driver(venues.row(3))
    driver.link("a-panel", "b", "c")
    driver.unlink("a-panel", "a")
    driver.link("a-panel", "a")
    driver.configure(venues.row(3, panel={"reach": ["b"]}))
    assert sorted(driver.linked("a-panel")) == ["a", "b"]


def test_a_wall_between_other_zones_starts_unknown() -> None:
    """Its old position says nothing of the new one."""
    driver = Driver(venues.row(2))
    driver.wall("a-b", "open")
    data = venues.row(3)
    data["partitions"] = {"a-b": {"between": ["a", "c"], "settle": 0.0}}
    driver.configure(data)
    assert driver.groups() == [["a"], ["b"], ["c"]]
    assert driver.state.walls["a-b"].position == "unknown"


def test_a_wall_that_is_gone_takes_its_alarm_along() -> None:
    """And parts its zones."""
    driver = Driver(venues.row(2))
    driver.wall("a-b", "open")
    driver.wall("a-b", "unknown")
    data = venues.row(2)
    data["partitions"] = {}
    driver.configure(data)
    assert driver.groups() == [["a"], ["b"]]
    assert standing(driver.state) == []


def test_a_new_lead_order_counts_at_once() -> None:
    """The old lead's links by combining go, the new one's come."""
    driver = Driver(venues.row(2, combining=venues.lead_by_order("ab")))
    driver.wall("a-b", "open")
    driver.configure(venues.row(2, combining=venues.lead_by_order("ba")))
    assert driver.linked("b-panel") == ["b", "a"]
    assert driver.linked("a-panel") == ["a"]
    assert driver.state.roles["b-panel"].lead
    assert not driver.state.roles["a-panel"].lead


def test_without_combining_any_more_nobody_is_locked_or_linked_by_it() -> None:
    """Groups touch no links from then on."""
    driver = Driver(venues.row(2, combining=venues.lead_by_order("ab", others="lock")))
    driver.wall("a-b", "open")
    driver.configure(venues.row(2))
    assert (driver.linked("a-panel"), driver.linked("b-panel")) == (["a"], ["b"])
    driver.set("b-panel", "volume", -10.0)
    assert not any(role.lead for role in driver.state.roles.values())


def test_differences_outlive_a_reload_that_drops_one_of_their_zones() -> None:
    """A hold that began on three zones ends well on two."""
    driver = Driver(venues.row(3, panel={"level_mode": "offset"}))
    driver.link("a-panel", "b", "c")
    driver.act("a-panel", "volume", "raise")
    driver.advance(1.0)
    driver.configure(venues.row(2, panel={"level_mode": "offset"}))
    driver.advance(1.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "ab") == [-10.0, -10.0]


# Starting again


def test_after_a_restart_nothing_is_held_as_of_the_last_stamp() -> None:
    """The level stands where it was then, not where a finger might have taken it."""
    driver = Driver(venues.row(2))
    driver.act("a", "volume", "raise")
    driver.act("b", "talkback", "press")
    driver.advance(1.0)
    driver.restart(600.0)
    assert driver.state.holds == {}
    assert driver.value("a", "volume") == -20.0
    assert driver.value("b", "talkback") is False


def test_after_a_restart_trajectories_gaps_and_waits_go_on() -> None:
    """As if nothing had happened."""
    driver = Driver(venues.row(1, controls=controls(program=venues.choice(gap=0.3))))
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    driver.set("a", "volume", -10.0, over=10.0)
    driver.restart(5.0)
    driver.wake()
    assert (driver.value("a", "program"), driver.value("a", "volume")) == ("camera", -20.0)


@pytest.mark.parametrize(("on_unknown", "groups"), [("hold", [["a", "b"]]), ("closed", [["a"], ["b"]])])
def test_after_a_restart_sensed_walls_are_unknown_until_they_speak(on_unknown: str, groups: list[list[str]]) -> None:
    """So: held, or taken as closed. Silence for too long is an alarm."""
    driver = Driver(venues.row(2, wall={"sensed": True, "on_unknown": on_unknown}))
    driver.contacts("a-b", False)
    driver.restart(60.0)
    assert driver.state.walls["a-b"].position == "unknown"
    assert driver.groups() == groups
    assert standing(driver.state) == []
    driver.advance(60.0)
    assert standing(driver.state) == ["wall-unknown/a-b"]
    driver.contacts("a-b", False)
    assert driver.groups() == [["a", "b"]]
    assert standing(driver.state) == []


def test_a_sensed_wall_that_speaks_in_time_raises_no_alarm() -> None:
    """And one that moved meanwhile is an ordinary regrouping."""
    driver = Driver(venues.row(2, wall={"sensed": True}))
    driver.contacts("a-b", False)
    driver.restart(60.0)
    driver.contacts("a-b", True)
    driver.advance(120.0)
    assert driver.groups() == [["a"], ["b"]]
    assert standing(driver.state) == []


def test_pins_and_positions_that_no_sensor_gave_survive_a_restart() -> None:
    """A pin holds on for its time, then the wall is unknown if its sensor has not spoken."""
    driver = Driver(venues.row(2))
    driver.wall("a-b", "open")
    driver.restart(60.0)
    assert driver.state.walls["a-b"].position == "open"
    driver = Driver(venues.row(2, wall={"sensed": True}))
    driver.contacts("a-b", True)
    driver.wall("a-b", "open", pin=100.0)
    driver.restart(60.0)
    assert (driver.state.walls["a-b"].position, driver.groups()) == ("open", [["a", "b"]])
    driver.advance(40.0)
    assert driver.state.walls["a-b"].position == "unknown"
    assert standing(driver.state) == ["wall-unknown/a-b"]


def test_walls_that_are_unknown_after_a_restart_part_zones_in_one_go() -> None:
    """Where the unknown counts as closed, no zone is led by one that it was never alone with."""
    rules = venues.lead_by_order("abc", on_combine={"volume": "lead"})
    wall = {"settle": 0.0, "sensed": True, "on_unknown": "closed"}
    driver = Driver(venues.row(3, wall=wall, combining=rules))
    for name in ("a-b", "b-c"):
        driver.wall(name, "open")
    for zone, value in zip("abc", (-60.0, -20.0, 0.0), strict=True):
        driver.set(zone, "volume", value)
    driver.restart(1.0)
    assert driver.groups() == [["a"], ["b"], ["c"]]
    assert driver.values("volume", "abc") == [-60.0, -20.0, 0.0]


def test_the_alarm_of_a_device_ends_when_it_is_configured_away() -> None:
    """Nobody could ever clear it; that of another device stands on."""
    driver = Driver(venues.row(1, devices={"rack": {}, "relays": {}}))
    for device in ("rack", "relays"):
        driver.do(ReportDevice(SERVICE, device, False, "no answer"))
    driver.configure(venues.row(1, devices={"relays": {}}))
    assert standing(driver.state) == ["device-lost/relays"]


def test_the_alarms_of_a_wall_end_with_it() -> None:
    """Gone, or between other zones."""
    for changed in (
        venues.row(2) | {"partitions": {}},
        venues.row(3) | {"partitions": {"a-b": {"between": ["b", "c"]}}},
    ):
        driver = Driver(venues.row(2))
        driver.wall("a-b", "open")
        driver.wall("a-b", "unknown")
        driver.configure(changed)
        assert standing(driver.state) == []
