"""Walls that ask, named arrangements and idle scenes, as they are written."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]


def test_arrangements_idle_scenes_and_ways_to_combine_reach_the_core(
    venue: Callable[..., Loaded], spoilt: Spoilt
) -> None:
    """With what holds where nothing is said."""
    tree = spoilt("arrangements", {"banquet": {"walls": {"heron-plover": "open"}}})
    spec = venue(tree).spec
    assert (spec.arrangements["banquet"].name, spec.arrangements["banquet"].pin) == ("Banquet", 43200.0)
    assert dict(spec.arrangements["banquet"].walls) == {"heron-plover": "open"}
    assert spec.partitions["heron-plover"].combine == "auto"
    assert spec.controllers["heron-wall"].hand_links_on_close == "end"
    assert spec.combining is not None
    assert spec.combining.restore_for == 3600.0
    assert spec.zones["heron"].idle is None
    tree["zone_types"]["section"]["idle"] = "dinner"
    tree["partitions"]["heron-plover"]["combine"] = "ask"
    tree["controllers"]["heron-wall"]["hand_links_on_close"] = "keep"
    tree["combining"]["restore_for"] = "4h"
    spec = venue(tree).spec
    assert {zone: one.idle for zone, one in spec.zones.items()} == {
        "heron": "dinner",
        "plover": "dinner",
        "foyer": None,
    }
    assert (spec.partitions["heron-plover"].combine, spec.combining and spec.combining.restore_for) == ("ask", 14400.0)
    assert spec.controllers["heron-wall"].hand_links_on_close == "keep"


@pytest.mark.parametrize(
    ("path", "value", "key", "said"),
    [
        ("arrangements", {"x": {"walls": {"plover-heron": "open"}}}, "arrangements.x.walls.plover-heron", "partition"),
        ("arrangements", {"x": {"walls": {}}}, "arrangements.x.walls", "no wall is stated"),
        ("arrangements", {"x": {"walls": {"heron-plover": "ajar"}}}, "arrangements.x.walls.heron-plover", "open"),
        ("zones.foyer.idle", "dinner", "zones.foyer.idle", "holds nothing for foyer"),
        ("zone_types.lobby.idle", "dinner", "zone_types.lobby.idle", "holds nothing for foyer"),
        ("zone_types.section.idle", "supper", "zone_types.section.idle", "scene"),
        ("partitions.heron-plover.combine", "maybe", "partitions.heron-plover.combine", "ask"),
        ("controllers.heron-wall.hand_links_on_close", "stay", "controllers.heron-wall.hand_links_on_close", "keep"),
    ],
)
def test_what_is_wrong_is_told_at_its_place(
    faults: Callable[..., list[Finding]], spoilt: Spoilt, path: str, value: Any, key: str, said: str
) -> None:
    """With what would be right."""
    (found,) = faults(spoilt(path, value))
    assert found.key == key
    assert said in f"{found.text} {found.right}"
