"""Free-busy: when zones are taken and when they are free, as half-open times."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from roomlink.core.bookings import Span
from roomlink.core.clashes import between
from roomlink.core.diary_apply import overlapping
from roomlink.diary.availability import Busy, busy, free, merged
from tests.core.booked import at, book, cancel, hall


def test_set_up_and_clear_down_are_busy_too() -> None:
    """By zone, within the time asked for."""
    driver = hall()
    book(driver, "ab", 60, 120, set_up=600.0, clear_down=300.0)
    book(driver, "a", 200, 300, status="tentative")
    assert busy(driver.state, "abc", at(0), at(250)) == {
        "a": [Busy(at(50), at(125), "BUSY"), Busy(at(200), at(250), "BUSY-TENTATIVE")],
        "b": [Busy(at(50), at(125), "BUSY")],
        "c": [],
    }


def test_what_takes_no_time_is_not_busy() -> None:
    """Cancelled or transparent (RFC 5545 §3.8.2.7)."""
    driver = hall()
    book(driver, "a", 60, 120, name="gone")
    cancel(driver, "gone")
    book(driver, "a", 60, 120, transparent=True)
    assert busy(driver.state, "a", at(0), at(250)) == {"a": []}


def test_times_that_touch_are_one() -> None:
    """Of one kind only."""
    spells = [Busy(2.0, 3.0, "BUSY"), Busy(1.0, 2.0, "BUSY"), Busy(3.0, 4.0, "BUSY-TENTATIVE")]
    assert merged(spells) == [Busy(1.0, 3.0, "BUSY"), Busy(3.0, 4.0, "BUSY-TENTATIVE")]


TIMES = st.lists(st.tuples(st.integers(0, 50), st.integers(1, 20)), max_size=12)


@given(TIMES)
def test_free_is_what_is_not_busy(times: list[tuple[int, int]]) -> None:
    """Minute by minute."""
    spells = [Busy(float(start), float(start + length), "BUSY") for start, length in times]
    gaps = free(spells, 10.0, 60.0)
    for minute in range(10, 60):
        taken = any(one.start <= minute < one.end for one in spells)
        assert taken != any(start <= minute < end for start, end in gaps)
    assert all(a[1] < b[0] for a, b in pairwise(gaps))


@given(st.sets(st.integers(0, 60)), st.integers(-5, 60), st.integers(1, 10))
def test_the_index_finds_what_a_look_at_all_finds(edges: set[int], start: int, length: int) -> None:
    """Spans that do not overlap, some of them touching."""
    ends = sorted(edges)
    taken = [Span(float(a), float(b), "x", str(a)) for a, b in zip(ends[::2], ends[1::2], strict=False)]
    begins, over = float(start), float(start + length)
    assert list(overlapping(taken, begins, over)) == [s for s in taken if s.begins < over and s.over > begins]


def test_what_lies_between_two_times_is_found_with_or_without_what_takes_no_time() -> None:
    """Earliest first, each once however many of the zones it has."""
    driver = hall()
    book(driver, "bc", 100, 120, name="late")
    book(driver, "ab", 60, 90, name="early")
    book(driver, "c", 60, 90, name="gone")
    cancel(driver, "gone")
    assert [name for name, _ in between(driver.state, at(0), at(110))] == ["early", "late"]
    assert [name for name, _ in between(driver.state, at(0), at(110), all_of_it=True)] == ["early", "gone", "late"]
    assert [name for name, _ in between(driver.state, at(0), at(110), "a")] == ["early"]
    assert [name for name, _ in between(driver.state, at(0), at(110), "c", all_of_it=True)] == ["gone", "late"]
    assert between(driver.state, at(90), at(100)) == []
