"""Stamps as they are written."""

from __future__ import annotations

from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from roomlink.core.instants import rfc3339


@given(st.floats(-1e9, 4e9) | st.integers(0, 4_000_000_000).map(lambda ms: ms / 1000.0) | st.integers(0, 2**31))
def test_a_stamp_is_written_to_the_millisecond_that_it_lies_in(stamp: float) -> None:
    """As the standard library writes it, which counts in microseconds first: 0.9999997 s is the next second."""
    plain = datetime.fromtimestamp(stamp, UTC).isoformat(timespec="milliseconds")
    assert rfc3339(stamp) == plain.removesuffix("+00:00") + "Z"
