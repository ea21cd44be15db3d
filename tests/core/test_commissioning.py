"""``core.commissioning``: the list of what is to be checked on site, and what somebody found."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import commissioning, view
from roomlink.core.commands import Arm, RecordCheck
from roomlink.errors import BadValue, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver

CONTACT = {"device": "relays", "point": {"input": 1}, "made": "on"}


def hall(**more: Any) -> dict[str, Any]:
    """Two zones with one thing of each kind to check; ``more`` replaces sections."""
    controls = {**venues.section(), "volume": venues.level(ceiling=-6.0), "screen": venues.motion()}
    sections: dict[str, Any] = {
        "devices": {"relays": {"driver": "modbus", "host": "10.0.0.9"}},
        "bindings": [
            {"name": "a.volume", "control": "a.volume", "device": "relays", "class": "signal", "digest": "v"},
            {"name": "lift", "control": "a.screen", "device": "relays", "class": "motion", "digest": "s"},
        ],
        "overrides": {
            "fire": {
                "kind": "life-safety",
                "zones": None,
                "values": {"mute": True},
                "input": {**CONTACT, "active": "open"},
            }
        },
    }
    data = venues.row(2, controls=controls, **{**sections, **more})
    data["partitions"]["a-b"]["contacts"] = {"closed": CONTACT, "stacked": {**CONTACT, "point": {"input": 2}}}
    return data


@pytest.fixture
def driver() -> Driver:
    return Driver(hall())


def put(driver: Driver, item: str, result: str = "pass", **more: Any) -> Any:
    return driver.do(RecordCheck(FINGER, item, result, **{"who": "A. Technician", **more}))


def standings(driver: Driver) -> dict[str, str]:
    return {item["item"]: item["standing"] for item in view.commissioning(driver.state)["items"]}


def test_the_list_is_derived_from_the_configuration(driver: Driver) -> None:
    """Walls, panels, devices, bindings, override inputs, ceilings; a motion also when its device is lost."""
    assert list(standings(driver)) == [
        "wall/a-b/closed", "wall/a-b/open", "wall/a-b/moving", "wall/a-b/unknown",
        "panel/a-panel/links", "panel/a-panel/feedback", "panel/b-panel/links", "panel/b-panel/feedback",
        "device/relays/reachable",
        "binding/a.volume/moves", "binding/lift/moves", "binding/lift/loss",
        "override/fire/open", "override/fire/closed", "override/fire/cable-cut",
        "ceiling/a.volume/highest", "ceiling/b.volume/highest",
    ]  # fmt: skip
    assert set(standings(driver).values()) == {"open"}


def test_a_wall_without_contacts_is_checked_at_its_ends_only() -> None:
    """It cannot be sensed half way, nor lose a sensor."""
    plain = Driver(venues.row(2))
    assert [item for item in standings(plain) if item.startswith("wall/")] == ["wall/a-b/closed", "wall/a-b/open"]


def test_a_record_says_what_was_measured_by_whom_and_when(driver: Driver) -> None:
    """In the item's own unit if none is given."""
    done = put(driver, "wall/a-b/open", measured=2.5, note=" both ends ")
    assert done.reply == {"zones": [], "item": "wall/a-b/open", "standing": "pass"}
    found = next(i for i in view.commissioning(driver.state)["items"] if i["item"] == "wall/a-b/open")
    record = found["record"]
    assert (record["result"], record["measured"], record["unit"], record["note"], record["who"]) == (
        "pass", 2.5, "s", "both ends", "A. Technician",
    )  # fmt: skip
    assert record["at"] == view.rfc3339(driver.now)


def test_records_outlast_a_restart(driver: Driver) -> None:
    """They are state like any other: the driver of these tests proves snapshot and replay at every step."""
    put(driver, "ceiling/a.volume/highest", measured=96, unit="dB(A)")
    driver.restart(3600.0)
    assert standings(driver)["ceiling/a.volume/highest"] == "pass"


def test_the_summary_counts_every_item_once(driver: Driver) -> None:
    """By how it stands."""
    put(driver, "wall/a-b/open")
    put(driver, "wall/a-b/closed", "fail", note="the contact bounces")
    put(driver, "device/relays/reachable", "not-applicable", note="not delivered")
    assert view.commissioning(driver.state)["summary"] == {
        "pass": 1, "fail": 1, "not-applicable": 1, "again": 0, "open": 14,
    }  # fmt: skip


def test_what_was_put_down_by_mistake_can_be_taken_back(driver: Driver) -> None:
    """The item is open again, and who took it back is on record."""
    put(driver, "wall/a-b/open")
    put(driver, "wall/a-b/open", "open", who="B. Chief")
    assert standings(driver)["wall/a-b/open"] == "open"
    assert driver.state.checks["wall/a-b/open"].who == "B. Chief"


def changed(section: str, key: Any, **members: Any) -> dict[str, Any]:
    data = hall()
    data[section][key] = {**data[section][key], **members}
    return data


CHANGES = [
    (
        changed("partitions", "a-b", settle=3.0),
        {"wall/a-b/open", "wall/a-b/closed", "wall/a-b/moving", "wall/a-b/unknown"},
    ),
    (changed("controllers", "a-panel", feedback="majority"), {"panel/a-panel/feedback"}),
    (changed("controllers", "a-panel", reach=["a"]), {"panel/a-panel/links", "panel/a-panel/feedback"}),
    (changed("bindings", 1, digest="other"), {"binding/lift/moves", "binding/lift/loss"}),
    (
        changed("overrides", "fire", values={"mute": False}),
        {"override/fire/open", "override/fire/closed", "override/fire/cable-cut"},
    ),
]


@pytest.mark.parametrize(("data", "void"), CHANGES, ids=lambda value: "-".join(sorted(value))[:40])
def test_a_change_voids_what_was_checked_of_it_and_nothing_else(data: dict[str, Any], void: set[str]) -> None:
    """It is to be done again; put back as it was, the record counts."""
    driver = Driver(hall())
    for item in standings(driver):
        put(driver, item)
    driver.configure(data)
    assert {item for item, standing in standings(driver).items() if standing == "again"} == void
    driver.configure(hall())
    assert set(standings(driver).values()) == {"pass"}


def test_a_device_that_moves_voids_what_is_read_through_it(driver: Driver) -> None:
    """The wall and the override are sensed through it; the panels are not."""
    for item in standings(driver):
        put(driver, item)
    driver.configure(changed("devices", "relays", host="10.0.0.10"))
    again = {item.split("/")[0] for item, standing in standings(driver).items() if standing == "again"}
    assert again == {"wall", "device", "override"}


def test_names_for_people_void_nothing(driver: Driver) -> None:
    """Neither does the drawing of the plan."""
    for item in standings(driver):
        put(driver, item)
    data = changed("partitions", "a-b", name="The wall", line=[[0, 0], [0, 5]])
    data["controllers"]["a-panel"]["name"] = "By the door"
    data["zones"]["a"]["controls"]["volume"]["name"] = "Loudness"
    driver.configure(data)
    assert set(standings(driver).values()) == {"pass"}


def test_an_item_of_something_gone_is_no_longer_listed(driver: Driver) -> None:
    """Its record counts once more if the thing comes back as it was."""
    put(driver, "device/relays/reachable")
    driver.configure(venues.row(2))
    assert "device/relays/reachable" not in standings(driver)
    driver.configure(hall())
    assert standings(driver)["device/relays/reachable"] == "pass"


@pytest.mark.parametrize("item", ["", "wall", "wall/a-b", "wall/a-b/ajar", "wall/z/open", "roof/a/open", "a/b/c/d"])
def test_an_unknown_item_is_told_with_what_there_is(driver: Driver, item: str) -> None:
    """Nothing is put down."""
    with pytest.raises(UnknownName):
        put(driver, item)


BAD = [
    ({"result": "splendid"}, "pass, fail, not-applicable, open"),
    ({"who": "  "}, "name the person"),
    ({"who": "x" * 201}, "200 characters"),
    ({"result": "fail"}, "say what is wrong"),
    ({"result": "not-applicable"}, "say why"),
    ({"note": "x" * 2001}, "2000 characters"),
    ({"measured": float("nan")}, "number"),
    ({"measured": 10**400}, "number"),
    ({"measured": True}, "number"),
    ({"item": "panel/a-panel/links", "measured": 3.0}, "which unit"),
]


@pytest.mark.parametrize(("given", "right"), BAD, ids=lambda value: str(value)[:40])
def test_bad_records_are_refused_with_what_would_be_right(driver: Driver, given: Any, right: str) -> None:
    """And nothing changes."""
    with pytest.raises(BadValue, match=right):
        put(driver, **{"item": "wall/a-b/open", **given})
    assert driver.state.checks == {}


def test_a_check_is_not_an_arming(driver: Driver) -> None:
    """A passed item drives nothing: power and motion are armed on their own."""
    put(driver, "binding/lift/moves", measured=19.5)
    assert "lift" not in driver.state.armed
    driver.do(Arm(FINGER, "lift", "A. Technician"))
    assert "lift" in driver.state.armed


def test_an_input_wired_so_that_a_break_goes_unnoticed_is_said(driver: Driver) -> None:
    """The item for the cut cable asks what else would tell."""
    data = changed("overrides", "fire", input={**CONTACT, "active": "closed"})
    driver.configure(data)
    found = {item.id: item for item in commissioning.items(driver.state.spec)}
    assert "what else tells" in found["override/fire/cable-cut"].how
