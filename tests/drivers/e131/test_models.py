"""The keys of an E1.31 device say what would be right."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from roomlink.drivers.e131.models import E131Config, E131Point, overlaps, point_name


@pytest.mark.parametrize(
    "keys",
    [
        {},
        {"universe": 0},
        {"universe": 64_000},
        {"universe": 1, "priority": 201},
        {"universe": 1, "rate": 44.1},
        {"universe": 1, "rate": 0},
        {"universe": 1, "port": 0},
        {"universe": 1, "source": ""},
        {"universe": 1, "source": "é" * 32},
        {"universe": 1, "source": "two\nlines"},
        {"universe": 1, "destination": ""},
        {"universe": 1, "interface": "::1"},
        {"universe": 1, "interface": "eth0"},
        {"universe": 1, "cid": "me"},
    ],
)
def test_an_impossible_device_is_refused(keys: dict[str, Any]) -> None:
    """Out of the standard's ranges, or no address."""
    with pytest.raises(ValidationError):
        E131Config.model_validate(keys)


@pytest.mark.parametrize(
    "keys", [{}, {"channel": 0}, {"channel": 513}, {"channel": 512, "bits": 16}, {"channel": 1, "bits": 12}]
)
def test_an_impossible_point_is_refused(keys: dict[str, Any]) -> None:
    """Channels are 1 to 512, and both of 16 bits must be there."""
    with pytest.raises(ValidationError):
        E131Point.model_validate(keys)


points = st.builds(E131Point, channel=st.integers(1, 511), bits=st.sampled_from([8, 16]))


@given(points, points)
def test_points_overlap_where_they_share_a_channel(a: E131Point, b: E131Point) -> None:
    """16 bits cover two channels; equal points have equal names, others not."""
    shared = {*range(a.channel, a.channel + a.width)} & {*range(b.channel, b.channel + b.width)}
    assert overlaps(a, b) == overlaps(b, a) == bool(shared)
    config = E131Config(universe=1)
    assert (point_name(config, a) == point_name(config, b)) == (a == b)
