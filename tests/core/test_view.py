"""Views: what people and programs see, as plain data."""

from __future__ import annotations

import json

import pytest

from roomlink.core import view, wall_view
from roomlink.testing import venues
from roomlink.testing.driver import Driver


@pytest.fixture
def driver() -> Driver:
    return Driver(venues.row(3, combining=venues.lead_by_order("abc", others="lock")))


def test_a_stamp_is_rfc3339_in_utc_to_the_millisecond() -> None:
    """With a Z."""
    assert view.rfc3339(1_700_000_000.1234) == "2023-11-14T22:13:20.123Z"


def test_a_zone_shows_its_group_its_links_and_its_controls(driver: Driver) -> None:
    """Each control by its kind."""
    driver.wall("a-b", "open")
    driver.set("a", "program", "laptop")
    zone = view.zone(driver.state, "a", driver.now)
    assert (zone["zone"], zone["group"], zone["linked_by"]) == ("a", ["a", "b"], ["a-panel"])
    assert zone["controls"]["volume"] == {"kind": "level", "value": -30.0, "moving": None, "by": "start"}
    assert zone["controls"]["program"]["value"] == "laptop"
    assert zone["controls"]["program"]["pending"] is None
    assert zone["controls"]["mute"]["value"] is False
    assert zone["controls"]["talkback"]["kind"] == "momentary"


def test_a_controller_shows_its_links_its_part_and_its_feedback(driver: Driver) -> None:
    """``by`` of a link is the reason that tells most."""
    driver.wall("a-b", "open")
    driver.link("a-panel", "c")
    face = view.face(driver.state, "a-panel", driver.now)
    assert [(link["zone"], link["by"]) for link in face["links"]] == [
        ("a", "combining"),
        ("b", "combining"),
        ("c", "hand"),
    ]
    assert (face["lead"], face["locked"]) == (True, None)
    assert {"value", "decided", "mixed", "outliers"} <= set(face["controls"]["volume"])
    locked = view.face(driver.state, "b-panel", driver.now)
    assert (locked["lead"], locked["locked"]) == (False, {"by": "a-panel"})


def test_a_partition_shows_its_position_and_how_far_it_is_trusted(driver: Driver) -> None:
    """And whether it is flagged."""
    driver.wall("a-b", "open", pin=60.0)
    seen = wall_view.partitions(driver.state)
    assert list(seen) == ["a-b", "b-c"]
    assert (seen["a-b"]["position"], seen["a-b"]["trust"], seen["a-b"]["flagged"]) == ("open", "pinned", False)
    assert seen["a-b"]["pinned_until"] == view.rfc3339(driver.now + 60.0)
    assert (seen["b-c"]["position"], seen["b-c"]["pinned_until"]) == ("unknown", None)


def test_the_whole_state_is_plain_json(driver: Driver) -> None:
    """With everything that GET /state promises."""
    driver.join("graduation", "a", "c")
    driver.wall("a-b", "moving")
    driver.advance(3600.0)
    whole = view.whole(driver.state, 812, driver.now)
    assert json.loads(json.dumps(whole)) == whole
    assert {"at", "seq", "zones", "controllers", "partitions", "groups", "overflows", "alarms"} <= set(whole)
    assert whole["groups"] == [["a", "c"], ["b"]]
    assert list(whole["alarms"]) == ["wall-late/a-b"]


def test_a_panel_sees_its_face_and_the_plan(driver: Driver) -> None:
    """Zones without their controls, and groups told once for all of them."""
    seen = view.panel(driver.state, "b-panel", driver.now)
    assert seen["controller"]["controller"] == "b-panel"
    assert seen["groups"] == [["a"], ["b"], ["c"]]
    assert seen["zones"]["a"] == {"linked_by": ["a-panel"], "in_use": None}


def test_the_venue_is_told_from_its_configuration(driver: Driver) -> None:
    """Levels with their range, types with their zones."""
    seen = view.venue(driver.state)
    assert json.loads(json.dumps(seen)) == seen
    assert seen["zones"]["a"]["controls"]["volume"]["range"] == [-60.0, 0.0]
    assert seen["zone_types"] == {"section": ["a", "b", "c"]}


def test_values_are_rounded_and_ends_are_exact(driver: Driver) -> None:
    """Four places: nobody hears the fifth."""
    driver.set("a", "volume", -10.0, over=3.0)
    driver.advance(1.0)
    assert driver.value("a", "volume") == -23.3333
    driver.advance(2.0)
    assert driver.value("a", "volume") == -10.0


def test_a_scene_shows_its_scope_and_entity_tag() -> None:
    """And a name for people, made up from its own if it has none."""
    driver = Driver(venues.row(2, scenes={"late-dinner": {"type": "section", "values": {"volume": -38.0}}}))
    seen = view.scenes_of(driver.state)["late-dinner"]
    assert (seen["name"], seen["zones"], seen["values"]) == ("Late dinner", ["a", "b"], {"volume": -38.0})
    assert seen["etag"]


def moving_of(driver: Driver, controller: str = "a-panel") -> object:
    return driver.shown(controller, "volume")["moving"]


def test_zones_that_start_at_different_times_show_the_move_from_now_on() -> None:
    """From the value shown now; a controller never shows one that has gone on meanwhile."""
    driver = Driver(venues.row(3, controls={"volume": venues.level(tolerance=60.0)}))
    driver.link("a-panel", "b", "c")
    driver.set("a", "volume", -10.0, over=4.0)
    driver.advance(1.0)
    driver.set("b", "volume", -10.0, over=4.0)
    driver.set("c", "volume", -10.0, over=4.0)
    driver.advance(1.0)
    seen = driver.shown("a-panel", "volume")
    assert seen["moving"]["from"] == seen["value"] == -25.0
    assert (seen["moving"]["start"], seen["moving"]["seconds"]) == (view.rfc3339(driver.now), 3.0)


def test_zones_that_pass_each_other_show_no_move() -> None:
    """Undecided on the way: there is no one value to draw."""
    driver = Driver(venues.row(2))
    driver.link("a-panel", "b")
    driver.set("a", "volume", -10.0, over=4.0)
    driver.advance(1.0)
    driver.set("b", "volume", -10.0, over=4.0)
    assert moving_of(driver) is None


def test_zones_that_move_alike_show_their_one_move() -> None:
    """Also in the middle of it."""
    driver = Driver(venues.row(2))
    driver.link("a-panel", "b")
    start = driver.now
    driver.set("a-panel", "volume", -10.0, over=4.0)
    driver.advance(1.0)
    assert moving_of(driver) == {
        "from": -30.0, "to": -10.0, "start": view.rfc3339(start), "seconds": 4.0, "curve": "linear",
    }  # fmt: skip


def test_the_zone_linked_last_alone_says_what_moves_where_it_alone_is_shown() -> None:
    """Another one's move is no move of the value."""
    data = venues.row(2)
    data["controllers"]["a-panel"]["feedback"] = "last-linked"
    driver = Driver(data)
    driver.link("a-panel", "b")
    driver.set("a", "volume", -10.0, over=9.0)
    assert moving_of(driver) is None
    driver.advance(1.0)
    driver.set("b", "volume", -20.0, over=2.0)
    seen = moving_of(driver)
    assert isinstance(seen, dict)
    assert (seen["from"], seen["to"], seen["start"], seen["seconds"]) == (-30.0, -20.0, view.rfc3339(driver.now), 2.0)


def test_a_value_that_stays_shows_no_move_though_a_zone_moves() -> None:
    """The majority stands."""
    data = venues.row(3)
    data["controllers"]["a-panel"]["feedback"] = "majority"
    driver = Driver(data)
    driver.link("a-panel", "b", "c")
    driver.set("c", "volume", -10.0, over=4.0)
    driver.advance(1.0)
    assert moving_of(driver) is None
