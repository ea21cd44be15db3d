"""Sources travel within a group, and never cross a closed wall."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import sources
from roomlink.core.events import ControlSet
from roomlink.errors import BadValue
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def make(count: int = 3, *, gap: float = 0.0, combining: dict[str, Any] | None = None, **members: Any) -> Driver:
    controls = {"program": venues.choice("laptop", "camera", sources=True, gap=gap, **members)}
    rules = venues.lead_by_order(venues.names(count), **(combining or {}))
    return Driver(venues.row(count, controls=controls, combining=rules))


def test_alone_a_zone_offers_its_own_options() -> None:
    """Under their own names."""
    assert sources.offered(make().state, "a", "program") == ("laptop", "camera")


def test_in_a_group_a_zone_offers_every_zones_options() -> None:
    """Its own first, then the others' with their zone before the slash."""
    driver = make()
    driver.wall("a-b", "open")
    assert driver.control("b", "program")["options"] == ["laptop", "camera", "a/laptop", "a/camera"]
    driver.set("b", "program", "a/laptop")
    assert driver.value("b", "program") == "a/laptop"


def test_a_source_across_a_closed_wall_is_refused() -> None:
    """On the zone and through a controller."""
    driver = make()
    driver.wall("a-b", "open")
    for surface in ("a", "a-panel"):
        with pytest.raises(BadValue):
            driver.set(surface, "program", "c/laptop")


def test_through_a_controller_an_option_is_one_source_for_the_whole_group() -> None:
    """Named as at the controller's home, and shown so."""
    driver = make()
    driver.wall("a-b", "open")
    driver.set("a-panel", "program", "laptop")
    assert driver.values("program", "ab") == ["laptop", "a/laptop"]
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["mixed"]) == ("laptop", False)
    assert driver.shown("b-panel", "program")["value"] == "a/laptop"


def test_the_other_rooms_source_reaches_the_whole_group() -> None:
    """``b/laptop`` at home in ``a`` is ``laptop`` in ``b``."""
    driver = make()
    driver.wall("a-b", "open")
    driver.set("a-panel", "program", "b/laptop")
    assert driver.values("program", "ab") == ["b/laptop", "laptop"]


def test_a_zone_linked_by_hand_from_another_group_takes_its_own_source_of_that_name() -> None:
    """Sound does not cross a wall because a panel is linked."""
    driver = make()
    driver.link("a-panel", "b")
    driver.set("a-panel", "program", "laptop")
    assert driver.values("program", "ab") == ["laptop", "laptop"]
    assert driver.shown("a-panel", "program")["mixed"] is False


def test_when_the_group_parts_a_foreign_source_falls_back_before_anything_else() -> None:
    """The break is the first change of a control in the entry, ahead of what ``on_separate`` gives."""
    driver = make(gap=0.3, combining={"on_separate": {"program": "restore"}})
    driver.set("b", "program", "camera")
    driver.wall("a-b", "open")
    driver.set("a-panel", "program", "laptop")
    driver.advance(1.0)
    decision = driver.wall("a-b", "closed")
    first = next(e for e in decision.events if isinstance(e, ControlSet))
    assert (first.zone, first.now.value, first.now.pending) == ("b", None, None)  # type: ignore[union-attr]  # a Choice
    assert driver.value("b", "program") is None
    driver.advance(0.3)
    assert driver.values("program", "ab") == [None, "camera"]


def test_the_configured_option_is_the_fallback() -> None:
    """Where ``none`` is not wanted."""
    driver = make(allow_none=False, start="laptop", fallback="camera")
    driver.wall("a-b", "open")
    driver.set("b", "program", "a/laptop")
    driver.wall("a-b", "closed")
    assert driver.values("program", "ab") == ["laptop", "camera"]


def test_a_pending_source_falls_back_too() -> None:
    """What has not gone on yet never does."""
    driver = make(gap=0.3)
    driver.wall("a-b", "open")
    driver.set("b", "program", "camera")
    driver.set("b", "program", "a/laptop")
    driver.wall("a-b", "closed")
    driver.advance(1.0)
    assert driver.value("b", "program") is None


def test_a_zones_own_source_stays_on_when_the_group_parts() -> None:
    """It is at home."""
    driver = make()
    driver.wall("a-b", "open")
    driver.set("a-panel", "program", "laptop")
    driver.wall("a-b", "closed")
    assert driver.values("program", "ab") == ["laptop", None]


def test_a_source_stays_while_an_overflow_joins_the_zones() -> None:
    """Unless an overflow says so: and then until it ends."""
    driver = make()
    driver.join("graduation", "a", "b")
    driver.set("b", "program", "a/laptop")
    driver.wall("a-b", "open")
    driver.wall("a-b", "closed")
    assert driver.value("b", "program") == "a/laptop"
    driver.join("graduation")
    assert driver.value("b", "program") is None


def test_sources_fall_back_without_a_combining_section_too() -> None:
    """It is no matter of taste."""
    driver = Driver(venues.row(2, controls={"program": venues.choice(sources=True)}))
    driver.wall("a-b", "open")
    driver.set("b", "program", "a/laptop")
    driver.wall("a-b", "closed")
    assert driver.value("b", "program") is None


def test_on_combine_lead_gives_the_group_the_leads_source() -> None:
    """The same source for all, not each zone's own of that name."""
    driver = make(combining={"on_combine": {"program": "lead"}})
    driver.set("a", "program", "laptop")
    driver.wall("a-b", "open")
    assert driver.values("program", "ab") == ["laptop", "a/laptop"]


def test_names_turn_from_one_standpoint_to_another_and_back() -> None:
    """Whatever the names, within a group."""
    driver = make()
    driver.wall("a-b", "open")
    spec = driver.state.spec.zones["b"].controls["program"]
    for option in ("laptop", "b/laptop", "a/camera", None):
        there = sources.for_zone(driver.state, "a", "b", option, spec)  # type: ignore[arg-type]  # a choice
        back = sources.seen_from(driver.state, "a", "b", there, spec)  # type: ignore[arg-type]
        assert back == (option.removeprefix("a/") if option else None)
