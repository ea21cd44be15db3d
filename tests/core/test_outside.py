"""What the runtime puts down about the world outside: alarms, and how far webhooks were told."""

from __future__ import annotations

from roomlink.core.alarms import stands
from roomlink.core.apply import apply
from roomlink.core.commands import Actor, NoteTold, ReportTrouble
from roomlink.core.decide import decide
from roomlink.core.snapshot import restored, same, snapshot
from roomlink.core.state import State

BY = Actor("webhooks", "service")


def done(state: State, command: NoteTold | ReportTrouble, now: float = 100.0) -> int:
    """Carry out a command; gives how many events it made."""
    events = decide(state, command, now).events
    for event in events:
        apply(state, event)
    return len(events)


def test_trouble_is_an_alarm_until_it_is_over() -> None:
    """It is raised once, with the text of the first report, and cleared by a report without one."""
    state = State()
    assert [done(state, ReportTrouble(BY, "feed/x", text)) for text in ("it fails", "it still fails")] == [1, 0]
    assert (state.alarms["feed/x"].text, state.alarms["feed/x"].since) == ("it fails", 100.0)
    assert [done(state, ReportTrouble(BY, "feed/x")) for _ in range(2)] == [1, 0]
    assert not stands(state, "feed/x")


def test_how_far_a_webhook_was_told_is_part_of_the_state() -> None:
    """It outlasts a snapshot; saying the same again makes no entry; what is gone is forgotten."""
    state = State()
    assert done(state, NoteTold(BY, "office", 12, ((7, 0, "it answered 422"),))) == 1
    assert done(state, NoteTold(BY, "office", 12, ((7, 0, "it answered 422"),))) == 0
    assert state.told["office"] == (12, ((7, 0, "it answered 422"),))
    assert same(restored(snapshot(state)), state)
    assert done(state, NoteTold(BY, "office", None)) == 1
    assert done(state, NoteTold(BY, "office", None)) == 0
    assert "office" not in state.told
