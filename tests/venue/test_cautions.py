"""What stays a person's business."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.venue import Loaded, load
from roomlink.venue.cautions import NOT_SAFETY, cautions

TIDEWATER = Path(__file__).parents[2] / "config" / "tidewater"


def test_it_is_always_said_that_this_is_no_safety_function(
    venue: Callable[..., Loaded], spoilt: Callable[[str, Any], dict[str, Any]]
) -> None:
    """Even where nothing moves, and conformity is claimed to nothing."""
    tree = spoilt("overrides", {})
    tree.update(partitions={}, occupancy=[])
    tree["zones"]["heron"]["controls"] = {}
    assert cautions(venue(tree).data) == [NOT_SAFETY]
    assert "claims conformity to no standard" in NOT_SAFETY


@pytest.mark.parametrize(
    "title",
    [
        "ISO 13850:2015 Safety of machinery — Emergency stop function — Principles for design",
        "IEC 60204-1 Safety of machinery – Electrical equipment of machines – Part 1: General requirements",
        "ISO 13849-1:2023 Safety of machinery — Safety-related parts of control systems — Part 1: "
        "General principles for design",
        "ISO 14118:2017 Safety of machinery — Prevention of unexpected start-up",
        "ANSI/CAN/UL 325 Standard for Safety for Door, Drapery, Gate, Louver, and Window Operators and Systems",
        "ASTM E557-12(2020) Standard Guide for Architectural Design and Installation Practices for Sound Isolation "
        "between Spaces Separated by Operable Partitions",
        "NFPA 70",
        "NFPA 72",
        "NFPA 101",
        "IBC §1004.9",
        "8 NYCRR 155.25",
        "EN 16005 excludes partition walls",
        "EN 12453 excludes theatre curtains",
    ],
)
def test_the_demo_points_at_what_to_read(title: str) -> None:
    """Titles as they are published."""
    assert title in " ".join(cautions(load(TIDEWATER).data))


def test_bindings_that_a_person_has_to_arm_are_named_last() -> None:
    """With their class and device."""
    lamp, screen = cautions(load(TIDEWATER).data)[-2:]
    assert lamp.startswith("plover.lamp (power, on relays) stays disarmed")
    assert screen.startswith("heron.screen (motion, on relays) stays disarmed")
