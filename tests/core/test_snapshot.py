"""A snapshot is a state as the events that rebuild it."""

from __future__ import annotations

from roomlink.core import snapshot
from roomlink.core.apply import apply
from roomlink.core.commands import Act, SaveScene
from roomlink.core.decide import Request
from roomlink.core.state import State
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver, through_json


def lived_in() -> Driver:
    """A venue where something of every kind is so."""
    rules = venues.lead_by_order("abcd", others="lock", on_separate={"volume": "restore"})
    controls = {**venues.section(), "program": venues.choice(gap=0.3, sources=True), "lamp": venues.switch(min_on=9.0)}
    driver = Driver(
        venues.ring(4, combining=rules, controls=controls, panel={"level_mode": "offset", "on_link": "pickup"})
    )
    for wall in ("a-b", "b-c", "a-d"):
        driver.wall(wall, "open")
    driver.wall("b-c", "unknown")
    driver.wall("c-d", "closed", pin=60.0)
    driver.wall("a-d", "closed")
    driver.join("graduation", "c", "d")
    driver.link("a-panel", "d", "a", "c", "b")
    driver.unlink("a-panel", "d")
    driver.set("a-panel", "volume", -3.0)
    driver.set("b", "volume", -50.0, over=30.0)
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    driver.set("a", "lamp", True)
    driver.set("a", "lamp", False)
    driver.act("a-panel", "talkback", "press")
    driver.act("d", "volume", "raise", by=PLAIN, for_s=5.0)
    driver.do(SaveScene(FINGER, "evening", capture=("a", "b")))
    driver.do(Act(PLAIN, "mute", "set", zone="c", value=True), Request("key", "digest", 40))
    return driver


def test_a_snapshot_restores_an_equal_state() -> None:
    """Deadlines, indexes and the order of linking included, through JSON."""
    driver = lived_in()
    restored = snapshot.restored(through_json(e) for e in snapshot.snapshot(driver.state))
    assert snapshot.same(restored, driver.state)
    assert restored.deadlines.first() == driver.state.deadlines.first()


def test_a_restored_state_goes_on_alike() -> None:
    """The same commands give the same events from then on."""
    driver = lived_in()
    other = Driver()
    other.state = snapshot.restored(snapshot.snapshot(driver.state))
    other.replayed, other.now = other.state.copy(), driver.now
    begun = len(driver.events)
    for one in (driver, other):
        one.advance(100.0)
        one.wall("a-b", "closed")
        one.advance(100.0)
    assert driver.events[begun:] == other.events


def test_a_snapshot_of_nothing_is_nothing() -> None:
    """A new journal starts so."""
    assert snapshot.same(snapshot.restored(snapshot.snapshot(State())), State())


def test_a_copy_is_independent() -> None:
    """Folding into it leaves the original alone."""
    driver = lived_in()
    copy = driver.state.copy()
    assert snapshot.same(copy, driver.state)
    before = list(snapshot.snapshot(driver.state))
    other = Driver()
    other.state, other.replayed, other.now = copy, copy.copy(), driver.now
    other.advance(100.0)
    assert not snapshot.same(copy, driver.state)
    assert list(snapshot.snapshot(driver.state)) == before


def test_states_that_differ_in_anything_are_not_the_same() -> None:
    """Even in the order of linking alone."""
    driver = lived_in()
    copy = driver.state.copy()
    copy.linked["a-panel"] = tuple(reversed(copy.linked["a-panel"]))
    assert not snapshot.same(copy, driver.state)


def test_a_replay_of_all_events_gives_the_state() -> None:
    """All state is a fold of the journal."""
    driver = lived_in()
    state = State()
    for event in driver.events:
        apply(state, through_json(event))
    assert snapshot.same(state, driver.state)
