"""Durations are read in one way, everywhere."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.core.durations import PATTERN, seconds_of


@pytest.mark.parametrize(
    ("text", "length"),
    [("300ms", 0.3), ("3s", 3.0), ("2min", 120.0), ("1.5h", 5400.0), ("0s", 0.0), ("999999999.999999h", None)],
)
def test_a_duration_is_in_seconds_whatever_its_unit(text: str, length: float | None) -> None:
    """Its bounds are those of whoever asks."""
    assert seconds_of(text) == (length if length is not None else round(999999999.999999 * 3600.0, 9))


@given(st.text("0123456789.٣²mshin -+e\n", max_size=14) | st.from_regex(PATTERN))
def test_what_is_read_is_what_the_schema_says(text: str) -> None:
    """The pattern given to editors and the reader agree on every text."""
    # In Python `$` matches before a last newline too; in a schema it does not.
    assert (seconds_of(text) is not None) == bool(re.fullmatch(PATTERN.removesuffix("$"), text))
