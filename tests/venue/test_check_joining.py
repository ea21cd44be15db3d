"""Findings about what joins and parts zones."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Loaded
from roomlink.venue.check import check

Spoilt = Callable[[str, Any], dict[str, Any]]
APART = {"alarm": "fence", "why": "nobody looks"}


@pytest.mark.parametrize(
    ("path", "value", "key", "said"),
    [
        ("combining.on_combine", {"lamp": "lead"}, "combining.on_combine.lamp", "nobody ever adopts it"),
        ("combining.on_separate", {"mute": "off"}, "combining.on_separate.mute", "sound comes up unasked"),
        ("combining.on_separate", {"volume": -20}, "combining.on_separate.volume", "gets louder when it parts"),
        ("alarms", {"suppressed": [APART]}, "alarms.suppressed", "nobody is told"),
        ("controllers.heron-wall.hand_links_on_close", "keep", "controllers.heron-wall.hand_links_on_close", "leads"),
        (
            "arrangements",
            {"one": {"walls": {"heron-plover": "open"}}, "two": {"walls": {"heron-plover": "open"}}},
            "arrangements.two",
            "what one states",
        ),
    ],
)
def test_what_people_would_not_expect_is_told(
    venue: Callable[..., Loaded], spoilt: Spoilt, path: str, value: Any, key: str, said: str
) -> None:
    """As a warning: the venue runs."""
    found = {f.key: f.text for f in check(venue(spoilt(path, value)))}
    assert said in found[key], found


def test_a_wall_that_asks_where_nobody_can_answer_is_told(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """No panel on either side shows the question."""
    tree = spoilt("partitions.heron-plover.combine", "ask")
    tree["controllers"] = {"foyer-wall": {"home": "foyer"}}
    tree["combining"]["lead_order"] = []
    found = {f.key: f.text for f in check(venue(tree))}
    assert "there is none" in found["partitions.heron-plover.combine"]
