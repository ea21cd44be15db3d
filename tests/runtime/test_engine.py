"""``runtime.engine``: two states and the entries between them."""

from __future__ import annotations

import pytest

from roomlink.core.commands import Act, Unlink
from roomlink.core.snapshot import same
from roomlink.core.state import State
from roomlink.errors import BadValue, RoomlinkError
from roomlink.runtime.engine import Engine
from tests.runtime.conftest import HERON, START, done, link, volume


def level(state: State, zone: str, now: float) -> float:
    record = state.controls[zone, "volume"]
    return record.at(now)  # type: ignore[union-attr]  # volume is a level here


def test_what_is_taken_is_ahead_and_not_yet_durable(engine: Engine) -> None:
    """The next command is decided on it; views are not made from it."""
    taken = engine.take(volume(-20.0), START + 1)
    assert taken.entry is not None
    assert (taken.seq, engine.head, engine.seq) == (2, 2, 1)
    assert level(engine.ahead, "heron", START + 1) == -20.0
    assert level(engine.durable, "heron", START + 1) == -30.0


def test_what_is_committed_is_durable(engine: Engine) -> None:
    """After the entry is made durable both states hold the same."""
    done(engine, engine.take(volume(-20.0, over=5.0), START + 1))
    assert engine.seq == engine.head == 2
    assert same(engine.durable, engine.ahead)


def test_what_is_lost_never_happened(engine: Engine) -> None:
    """Everything after the last durable entry is forgotten, and its positions are given again."""
    kept = engine.take(volume(-20.0), START + 1)
    engine.take(volume(-10.0), START + 2)
    engine.take(link("plover"), START + 3)
    done(engine, kept)
    engine.lost()
    assert same(engine.durable, engine.ahead)
    assert level(engine.ahead, "heron", START + 4) == -20.0
    assert "plover" not in engine.ahead.linked["heron-wall"]
    assert engine.take(volume(-15.0), START + 5).seq == 3


def test_what_is_lost_takes_its_deadline_along(engine: Engine) -> None:
    """A ramp that never happened wakes nobody."""
    engine.take(volume(-20.0, over=5.0), START + 1)
    assert engine.deadline == START + 6
    engine.lost()
    assert engine.deadline is None


def test_entries_are_committed_in_the_order_of_taking(engine: Engine) -> None:
    """Another order is an error in the caller's code."""
    engine.take(volume(-20.0), START + 1)
    second = engine.take(volume(-10.0), START + 2)
    assert second.entry is not None
    with pytest.raises(AssertionError):
        engine.committed(second.entry)


def test_a_refused_command_changes_nothing(engine: Engine) -> None:
    """Neither state, nor the position of the next entry."""
    before = engine.ahead.copy()
    with pytest.raises(RoomlinkError):
        engine.take(Act(HERON, "volume", "set", "heron-wall", value=99.0), START + 1)
    assert same(engine.ahead, before)
    assert engine.head == 1


def test_a_command_that_changes_nothing_makes_no_entry(engine: Engine) -> None:
    """It waits for what was taken before it: its answer rests on that."""
    first = engine.take(volume(-20.0), START + 1)
    again = engine.take(volume(-20.0), START + 2)
    assert again.entry is None
    assert again.seq == first.seq


def test_nothing_is_due_before_its_time(engine: Engine) -> None:
    """At the arrival of a ramp there is one entry, before it none, and after it none."""
    done(engine, engine.take(volume(-20.0, over=5.0), START + 1))
    assert engine.wake(START + 5.999) is None
    entry = engine.wake(START + 6.0)
    assert entry is not None
    assert entry.via == "clock"
    assert engine.wake(START + 6.0) is None
    assert engine.deadline is None


def test_a_repeated_request_gets_the_first_answer(engine: Engine) -> None:
    """The same key with the same content is carried out once, whatever happened since."""
    first = done(engine, engine.take(volume(-20.0), START + 1, key="k", digest="d"))
    done(engine, engine.take(volume(-10.0), START + 2))
    again = engine.take(volume(-20.0), START + 3, key="k", digest="d")
    assert again.entry is None
    assert again.reply["seq"] == first.seq == 2
    assert level(engine.ahead, "heron", START + 3) == -10.0


def test_a_key_with_other_content_is_refused(engine: Engine) -> None:
    """A key stands for one request."""
    done(engine, engine.take(volume(-20.0), START + 1, key="k", digest="d"))
    with pytest.raises(BadValue, match="another request"):
        engine.take(volume(-10.0), START + 2, key="k", digest="e")


def test_an_entry_says_who_did_what(engine: Engine) -> None:
    """For people who ask afterwards."""
    entry = engine.take(Unlink(HERON, "heron-wall", "heron"), START + 1).entry
    assert entry is not None
    assert (entry.who, entry.via) == ("heron-wall", "panel")
    assert entry.did == {"command": "Unlink", "controller": "heron-wall", "zone": "heron"}
