"""Durations of drivers' keys are read as everywhere in a venue."""

from __future__ import annotations

import pytest
from pydantic import TypeAdapter, ValidationError

from roomlink.drivers.durations import Duration, LastingDuration, seconds


@pytest.mark.parametrize(
    ("text", "length"), [("300ms", 0.3), ("3s", 3.0), ("2min", 120.0), ("1.5h", 5400.0), ("0s", 0.0)]
)
def test_a_duration_is_in_seconds(text: str, length: float) -> None:
    """Whatever unit it is written in."""
    assert seconds(text) == length
    assert TypeAdapter(Duration).validate_python(text) == length


@pytest.mark.parametrize("text", [3, "3", "s", "-3s", "1e3s", "3 s", "30h", None, True])
def test_what_is_no_duration_is_refused(text: object) -> None:
    """A bare number too: its unit could only be guessed."""
    with pytest.raises(ValidationError):
        TypeAdapter(Duration).validate_python(text)


def test_a_lasting_duration_is_above_nothing() -> None:
    """For what would never end, or never pause, otherwise."""
    assert TypeAdapter(LastingDuration).validate_python("1ms") == 0.001
    with pytest.raises(ValidationError, match="no time"):
        TypeAdapter(LastingDuration).validate_python("0s")
