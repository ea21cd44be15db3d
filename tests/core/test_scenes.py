"""Scenes: stored values recalled together, and saved by people over the configured ones."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import scenes
from roomlink.core.commands import RecallScene, SaveScene
from roomlink.core.decide import Decision
from roomlink.errors import BadValue, Precondition, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, Driver

SCENES: dict[str, Any] = {
    "dinner": {"name": "Dinner", "type": "section", "values": {"volume": -38.0, "program": "laptop"}},
    "stage": {"zone": "b", "values": {"mute": True}},
    "party": {"zones": {"a": {"volume": -5.0}, "b": {"volume": -20.0}}},
}


@pytest.fixture
def driver() -> Driver:
    return Driver(venues.row(3, scenes=SCENES, combining=venues.lead_by_order("abc")))


def recall(driver: Driver, scene: str, **where: Any) -> list[str]:
    zones: list[str] = driver.do(RecallScene(FINGER, scene, **where)).reply["zones"]
    return zones


def save(driver: Driver, scene: str, **members: Any) -> Decision:
    return driver.do(SaveScene(FINGER, scene, **members))


def test_a_scene_of_a_type_is_for_every_zone_of_that_type(driver: Driver) -> None:
    """All its values at once, in one entry."""
    before = len(driver.decisions)
    assert recall(driver, "dinner") == ["a", "b", "c"]
    assert driver.values("volume", "abc") == [-38.0] * 3
    assert driver.values("program", "abc") == ["laptop"] * 3
    assert len(driver.decisions) == before + 1


def test_a_scene_of_a_zone_is_for_that_zone(driver: Driver) -> None:
    """And no other."""
    assert recall(driver, "stage") == ["b"]
    assert driver.values("mute", "abc") == [False, True, False]


def test_a_scene_of_several_zones_has_values_for_each(driver: Driver) -> None:
    """Their own."""
    assert recall(driver, "party") == ["a", "b"]
    assert driver.values("volume", "abc") == [-5.0, -20.0, -30.0]


def test_a_scene_is_recalled_over_a_time(driver: Driver) -> None:
    """Levels ramp together; the rest changes at once."""
    recall(driver, "party", over=2.0)
    driver.advance(1.0)
    assert driver.values("volume", "abc") == [-17.5, -25.0, -30.0]
    driver.advance(1.0)
    assert driver.values("volume", "abc") == [-5.0, -20.0, -30.0]


def test_through_a_controller_a_scene_reaches_its_linked_zones(driver: Driver) -> None:
    """With none of them in the scene it is refused."""
    driver.link("a-panel", "c")
    assert recall(driver, "dinner", controller="a-panel") == ["a", "c"]
    driver.unlink("a-panel")
    with pytest.raises(Refused) as caught:
        recall(driver, "dinner", controller="a-panel")
    assert caught.value.kind == "nothing-linked"


def test_in_a_group_a_scene_reaches_the_zones_joined_now(driver: Driver) -> None:
    """Named by any zone of it."""
    driver.wall("b-c", "open")
    assert recall(driver, "dinner", group="c") == ["b", "c"]


def test_in_given_zones_a_scene_reaches_those(driver: Driver) -> None:
    """Names that there are not are refused."""
    assert recall(driver, "dinner", zones=("c",)) == ["c"]
    with pytest.raises(UnknownName, match="nowhere"):
        recall(driver, "dinner", zones=("nowhere",))
    with pytest.raises(Refused, match="stage is for b"):
        recall(driver, "stage", zones=("c",))


def test_a_locked_controller_recalls_nothing() -> None:
    """A scene is an order."""
    rules = venues.lead_by_order("ab", others="lock")
    driver = Driver(venues.row(2, scenes=SCENES, combining=rules))
    driver.wall("a-b", "open")
    with pytest.raises(Refused, match="locked"):
        recall(driver, "dinner", controller="b-panel")


def test_an_unknown_scene_is_refused_with_those_that_there_are(driver: Driver) -> None:
    """All of them."""
    with pytest.raises(UnknownName, match="dinner, party, stage"):
        recall(driver, "breakfast")


def test_a_scene_is_in_the_view_as_who_acted(driver: Driver) -> None:
    """``by`` names it."""
    recall(driver, "dinner")
    assert driver.control("a", "volume")["by"] == "scene dinner"


def test_a_scene_breaks_a_choice_before_it_makes() -> None:
    """Like any order."""
    driver = Driver(venues.row(1, scenes=SCENES, controls={"program": venues.choice(gap=0.3)}))
    driver.set("a", "program", "camera")
    recall(driver, "dinner", zones=("a",))
    assert driver.control("a", "program")["pending"] == "laptop"


# Saving


def test_a_new_scene_is_saved_and_recalled(driver: Driver) -> None:
    """The reply has its entity tag."""
    reply = save(driver, "quiet", content={"type": "section", "values": {"volume": -55.0}}, only_new=True).reply
    assert reply["zones"] == ["a", "b", "c"]
    assert scenes.find(driver.state, "quiet")[1] == reply["etag"]
    recall(driver, "quiet")
    assert driver.values("volume", "abc") == [-55.0] * 3


def test_a_saved_scene_wins_over_the_configured_one(driver: Driver) -> None:
    """Its scope and name stay where none are given."""
    save(driver, "dinner", content={"values": {"volume": -20.0}}, if_match=("*",))
    recall(driver, "dinner")
    assert driver.value("a", "volume") == -20.0
    assert scenes.find(driver.state, "dinner")[0].name == "Dinner"


def test_replacing_a_scene_needs_its_entity_tag(driver: Driver) -> None:
    """428 without one, 412 with one that is old; nothing is lost."""
    content = {"values": {"volume": -20.0}}
    etag = scenes.find(driver.state, "dinner")[1]
    with pytest.raises(Precondition) as caught:
        save(driver, "dinner", content=content)
    assert caught.value.status == 428
    newer = save(driver, "dinner", content=content, if_match=(etag,)).reply["etag"]
    with pytest.raises(Precondition) as caught:
        save(driver, "dinner", content={"values": {"volume": -1.0}}, if_match=(etag,))
    assert (caught.value.status, caught.value.members["etag"]) == (412, newer)


def test_only_new_replaces_nothing_and_if_match_creates_nothing(driver: Driver) -> None:
    """Both are 412."""
    content = {"type": "section", "values": {"volume": -20.0}}
    with pytest.raises(Precondition) as caught:
        save(driver, "dinner", content=content, only_new=True)
    assert caught.value.status == 412
    with pytest.raises(Precondition) as caught:
        save(driver, "breakfast", content=content, if_match=("*",))
    assert caught.value.status == 412


def test_saving_the_same_again_is_no_entry(driver: Driver) -> None:
    """The entity tag stays."""
    first = save(driver, "quiet", content={"zone": "a", "values": {"volume": -55.0}})
    second = save(driver, "quiet", content={"zone": "a", "values": {"volume": -55.0}}, if_match=("*",))
    assert second.events == ()
    assert second.reply["etag"] == first.reply["etag"]


@pytest.mark.parametrize(
    ("content", "error"),
    [
        ({"type": "section", "values": {"volume": 5.0}}, BadValue),
        ({"type": "section", "values": {"talkback": True}}, BadValue),
        ({"type": "section", "values": {}}, BadValue),
        ({"values": {"volume": -5.0}}, BadValue),
        ({"type": "section", "values": {"organ": 1}}, UnknownName),
        ({"type": "cellar", "values": {"volume": -5.0}}, UnknownName),
        ({"zone": "nowhere", "values": {"volume": -5.0}}, UnknownName),
        ({"zones": {"a": {"program": "gramophone"}}}, BadValue),
    ],
)
def test_a_scene_that_could_not_be_recalled_is_not_saved(driver: Driver, content: Any, error: type[Exception]) -> None:
    """The refusal says what would be right."""
    with pytest.raises(error):
        save(driver, "quiet", content=content)


def test_capture_takes_what_the_zones_have_now(driver: Driver) -> None:
    """For the controls that the scene holds already; a ramp by where it goes."""
    driver.set("b", "volume", -12.0, over=5.0)
    driver.set("b", "mute", True)
    save(driver, "dinner", capture=("b",), if_match=("*",))
    recall(driver, "dinner")
    assert driver.values("volume", "abc") == [-12.0] * 3
    assert driver.values("mute", "abc") == [False, True, False]


def test_capture_of_a_new_scene_takes_all_that_can_be_set(driver: Driver) -> None:
    """Zone by zone."""
    driver.set("a", "volume", -12.0)
    driver.set("b", "program", "camera")
    save(driver, "evening", capture=("a", "b"))
    driver.set("a", "volume", -50.0)
    driver.set("b", "program", None)
    assert recall(driver, "evening") == ["a", "b"]
    assert driver.value("a", "volume") == -12.0
    assert driver.value("b", "program") == "camera"


def test_a_saved_scene_counts_until_that_scene_changes_in_the_configuration(driver: Driver) -> None:
    """A change elsewhere leaves it alone."""
    save(driver, "dinner", content={"values": {"volume": -20.0}}, if_match=("*",))
    rules = venues.lead_by_order("abc")
    driver.configure(
        venues.row(3, scenes={**SCENES, "stage": {"zone": "b", "values": {"mute": False}}}, combining=rules)
    )
    assert scenes.find(driver.state, "dinner")[0].values == {"volume": -20.0}
    changed = {**SCENES, "dinner": {"type": "section", "values": {"volume": -44.0}}}
    driver.configure(venues.row(3, scenes=changed, combining=rules))
    assert scenes.find(driver.state, "dinner")[0].values == {"volume": -44.0}


def test_what_a_saved_scene_holds_for_things_that_are_gone_is_skipped(driver: Driver) -> None:
    """Zones, controls, options and kinds may change in a reload; the rest is recalled."""
    zones = {z: {"volume": -5.0, "program": "camera", "mute": True} for z in "abc"}
    save(driver, "evening", content={"zones": zones})
    fewer = {"program": venues.choice("lectern"), "volume": venues.switch(), "mute": venues.switch()}
    driver.configure(venues.row(2, controls=fewer))
    assert recall(driver, "evening") == ["a", "b"]
    assert (driver.value("a", "program"), driver.value("a", "volume"), driver.value("a", "mute")) == (None, False, True)


def test_in_a_group_a_scenes_source_is_the_leads_for_all() -> None:
    """Each zone showing its own laptop is not what a scene for the hall means."""
    rules = venues.lead_by_order("ab")
    driver = Driver(venues.row(2, scenes=SCENES, combining=rules, controls={"program": venues.choice(sources=True)}))
    driver.wall("a-b", "open")
    recall(driver, "dinner", group="b")
    assert driver.values("program", "ab") == ["laptop", "a/laptop"]
    driver.wall("a-b", "closed")
    recall(driver, "dinner")
    assert driver.values("program", "ab") == ["laptop", "laptop"]
