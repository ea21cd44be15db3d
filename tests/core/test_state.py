"""Tables, the drafts over them, and deadlines."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.core.state import Deadlines, Draft, Overlay, State, Table

keys = st.sampled_from("abc")
changes = st.lists(st.tuples(keys, st.none() | st.integers(0, 3)))


@given(st.dictionaries(keys, st.integers(0, 3)), changes)
def test_an_overlay_reads_as_a_changed_table_and_leaves_the_table_alone(
    start: dict[str, int], steps: list[tuple[str, int | None]]
) -> None:
    """Whatever is set and dropped."""
    base: Table[str, int] = Table(start)
    overlay, plain = Overlay(base), dict(start)
    for key, value in steps:
        if value is None:
            overlay.drop(key)
            plain.pop(key, None)
        else:
            overlay[key] = plain[key] = value
        assert {k: overlay.get(k) for k in "abc"} == {k: plain.get(k) for k in "abc"}
        assert sorted(overlay.live()) == sorted(plain)
        assert [k in overlay for k in "abc"] == [k in plain for k in "abc"]
    assert base == start


def test_an_overlay_gives_the_default_for_what_there_is_not() -> None:
    """``[]`` of an unknown key is an error, as in any dict."""
    overlay: Overlay[str, int] = Overlay(Table())
    assert overlay.get("a", 5) == 5
    with pytest.raises(KeyError):
        overlay["a"]


@given(st.lists(st.tuples(keys, st.none() | st.integers(0, 6))), st.integers(0, 6))
def test_deadlines_are_those_set_last_earliest_first(steps: list[tuple[str, int | None]], now: int) -> None:
    """However often each was moved or taken away."""
    deadlines, plain = Deadlines(), dict[str, int]()
    for key, at in steps:
        deadlines.set((key,), at)
        plain.pop(key, None)
        if at is not None:
            plain[key] = at
        assert deadlines.first() == min(plain.values(), default=None)
    expected = [(key,) for at, key in sorted((at, key) for key, at in plain.items()) if at <= now]
    assert deadlines.due(now) == expected
    assert deadlines.standing() == {(key,): at for key, at in plain.items()}


def test_a_copy_of_deadlines_is_independent() -> None:
    """Moving one leaves the other."""
    deadlines = Deadlines()
    deadlines.set(("a",), 1.0)
    copy = deadlines.copy()
    copy.set(("a",), None)
    assert (deadlines.first(), copy.first()) == (1.0, None)


def test_deadlines_that_no_longer_stand_are_not_kept_until_their_time() -> None:
    """A fader moved all day leaves no more behind than what stands."""
    deadlines = Deadlines()
    for stamp in range(1000):
        deadlines.set(("moved",), 9000.0 + stamp)
        deadlines.set(("taken away", str(stamp)), 9000.0)
        deadlines.set(("taken away", str(stamp)), None)
    assert deadlines.standing() == {("moved",): 9999.0}
    assert len(deadlines._heap) <= 2


def test_a_draft_overlays_a_table_once_it_is_looked_at() -> None:
    """What it is told stays in the draft; what no state has is no table of a draft."""
    state = State()
    state.group_of["a"] = ("a",)
    draft = Draft(state, 1.0)
    draft.group_of["a"] = ("a", "b")
    assert draft.group_of is draft.group_of
    assert (draft.group_of["a"], state.group_of["a"]) == (("a", "b"), ("a",))
    with pytest.raises(AttributeError):
        draft.nothing  # type: ignore[attr-defined]  # noqa: B018 - that is what is tried
