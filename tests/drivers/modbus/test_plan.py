"""Which requests are made, and what counts mean."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.drivers.modbus.plan import (
    KINDS,
    READ_MAX,
    Place,
    Span,
    reads,
    runs,
    to_count,
    to_value,
)

addresses = st.sets(st.integers(0, 65535), max_size=60)


def test_neighbours_are_read_by_one_request() -> None:
    """Eight contacts are one question, small gaps included; far ones are another."""
    places = [Place("discrete_input", address) for address in (0, 1, 2, 5, 7, 400)]
    assert reads(places) == [Span("discrete_input", 0, 8), Span("discrete_input", 400, 1)]


@given(st.sampled_from(KINDS), addresses)
def test_every_address_is_read_within_the_bounds_of_one_request(kind: str, wanted: set[int]) -> None:
    """Nothing is left out, nothing is read twice, no request is longer than the standard allows."""
    spans = reads(Place(kind, address) for address in wanted)
    covered = [span.start + i for span in spans for i in range(span.count)]
    assert len(covered) == len(set(covered))
    assert wanted <= set(covered)
    assert all(span.count <= READ_MAX[kind] for span in spans)


@given(st.dictionaries(st.integers(0, 65535), st.integers(0, 1), max_size=60), st.sampled_from([1, 3, 1968]))
def test_a_run_writes_exactly_what_was_wanted(counts: dict[int, int], most: int) -> None:
    """Gaps are never written over: what is not ours keeps its value."""
    found = runs(counts, most)
    assert {start + i: count for start, run in found for i, count in enumerate(run)} == counts
    assert all(len(run) <= most for _, run in found)


@given(st.integers(-32768, 32767), st.sampled_from([1.0, 0.1, 0.5, 10.0]))
def test_a_signed_register_comes_back_as_it_went(count: int, step: float) -> None:
    """Value to count to value loses nothing that is a whole number of steps."""
    place = Place("register", 1, signed=True, step=step)
    value = to_value(place, count & 0xFFFF)
    assert to_count(place, value) == count & 0xFFFF


@pytest.mark.parametrize(
    ("place", "value", "count"),
    [
        (Place("coil", 1), True, 1),
        (Place("coil", 1), False, 0),
        (Place("register", 1), 35.5, 36),
        (Place("register", 1), True, 1),
        (Place("register", 1, signed=True), -38, 0xFFDA),
        (Place("register", 1, step=0.1), 21.5, 215),
    ],
)
def test_a_value_is_written_as_the_nearest_count(place: Place, value: bool | float, count: int) -> None:
    """Half up, in steps of what one count is worth."""
    assert to_count(place, value) == count


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        (Place("discrete_input", 1), True, "only read"),
        (Place("input_register", 1), 5, "only read"),
        (Place("coil", 1), 1.0, "on or off"),
        (Place("coil", 1), None, "on or off"),
        (Place("register", 1), -1, "0 to 65535"),
        (Place("register", 1), 65536, "0 to 65535"),
        (Place("register", 1), "laptop", "values"),
        (Place("register", 1), float("nan"), "number"),
    ],
)
def test_what_cannot_be_written_is_refused_with_what_would_be_right(place: Place, value: object, says: str) -> None:
    """Never clipped, never guessed."""
    with pytest.raises(ValueError, match=says):
        to_count(place, value)  # type: ignore[arg-type]  # wrong on purpose
