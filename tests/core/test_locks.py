"""Locks set by hand: above panels, programs and the diary, below overrides."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import locking
from roomlink.core.commands import (
    Act,
    Actor,
    Command,
    RecallScene,
    ReleaseLock,
    ReportControl,
    ReportOverride,
    RunRoutine,
    SetLock,
)
from roomlink.core.events import Noticed
from roomlink.core.lock_records import LockEnded, LockSet
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver

TECHNICIAN = Actor("robin", "http")
SCENES: dict[str, Any] = {"dinner": {"type": "section", "values": {"volume": -38.0, "program": "laptop"}}}
FIRE = {"kind": "life-safety", "values": {"mute": True, "volume": -60.0}, "blend": 0.0}
RULES = {**venues.lead_by_order("abc"), "on_combine": {"volume": "quietest", "mute": "lead"}}


@pytest.fixture
def driver() -> Driver:
    return Driver(
        venues.row(
            3,
            controls={**venues.section(), "screen": venues.motion()},
            scenes=SCENES,
            combining=RULES,
            overrides={"fire": FIRE},
            routines={
                "off": {"scene": "dinner", "cron": {}},
                "later": {"scene": "dinner", "cron": {}, "when_busy": "defer"},
            },
            locks={"evening": {"zone": "b", "controls": ["volume"], "seconds": 60.0, "name": "Evening level"}},
        )
    )


def lock(driver: Driver, name: str = "quiet", **what: Any) -> list[str]:
    zones: list[str] = driver.do(SetLock(TECHNICIAN, name, **what)).reply["zones"]
    return zones


def refused(driver: Driver, command: Command) -> Refused:
    with pytest.raises(Refused) as caught:
        driver.do(command)
    assert caught.value.kind == "locked"
    return caught.value


def act(control: str, do: str = "set", value: Any = None, **where: Any) -> Act:
    return Act(FINGER, control, do, value=value, **(where or {"controller": "a-panel"}))


def test_a_locked_zone_takes_no_order_from_anybody(driver: Driver) -> None:
    """Through a controller or straight; the refusal names the lock, who set it and how it is released."""
    assert lock(driver, zone="a") == ["a"]
    for command in (act("volume", value=-10.0), act("volume", value=-10.0, zone="a"), act("talkback", "press")):
        fault = refused(driver, command)
        assert fault.members["lock"] == "quiet"
        assert "robin" in str(fault)
    assert driver.value("a", "volume") == -30.0


def test_some_controls_are_locked_and_the_others_are_not(driver: Driver) -> None:
    """Of a zone."""
    lock(driver, zone="a", controls=("volume",))
    refused(driver, act("volume", "raise"))
    driver.do(act("mute", value=True))
    assert driver.value("a", "mute") is True


def test_an_order_acts_where_nothing_is_locked_and_names_the_rest(driver: Driver) -> None:
    """Of several linked zones, as it does under an override."""
    driver.link("a-panel", "b")
    lock(driver, zone="b")
    reply = driver.do(act("volume", value=-10.0)).reply
    assert reply["zones"] == ["a"]
    assert reply["locked"] == ["b"]
    assert driver.values("volume", "ab") == [-10.0, -30.0]


def test_a_locked_controller_works_nothing_but_its_zones_go_on(driver: Driver) -> None:
    """It links nothing either; another one does all that."""
    driver.link("b-panel", "a")
    lock(driver, controller="a-panel")
    refused(driver, act("volume", value=-10.0))
    with pytest.raises(Refused, match="a-panel is locked: quiet"):
        driver.link("a-panel", "b")
    driver.set("b-panel", "volume", -20.0)
    assert driver.values("volume", "ab") == [-20.0, -20.0]


def test_one_key_of_a_controller_is_locked(driver: Driver) -> None:
    """The others work."""
    lock(driver, controller="a-panel", controls=("program",))
    refused(driver, act("program", value="laptop"))
    driver.do(act("volume", value=-10.0))
    assert driver.value("a", "volume") == -10.0


def test_what_is_held_is_let_go_as_the_lock_is_set(driver: Driver) -> None:
    """And in the same entry."""
    driver.act("a-panel", "talkback", "press")
    before = len(driver.decisions)
    lock(driver, zone="a", controls=("talkback",))
    assert driver.value("a", "talkback") is False
    assert driver.state.holds == {}
    assert len(driver.decisions) == before + 1


def test_stop_is_never_refused_for_what_moves(driver: Driver) -> None:
    """A level that fades beneath a lock goes where it was going: to stop it would be to set it."""
    driver.do(act("volume", value=-10.0).__class__(FINGER, "volume", "set", "a-panel", value=-10.0, over=4.0))
    driver.act("b", "screen", "open")
    driver.do(SetLock(TECHNICIAN, "quiet", zone="a"))
    driver.do(act("screen", "stop", zone="b"))
    driver.do(act("volume", "stop", zone="a"))
    driver.do(act("volume", "stop"))
    driver.advance(4.0)
    assert driver.value("a", "volume") == -10.0


def test_a_scene_by_hand_leaves_what_is_locked_and_is_refused_where_that_is_all(driver: Driver) -> None:
    """The reply tells what it left."""
    lock(driver, zone="a", controls=("volume",))
    reply = driver.do(RecallScene(FINGER, "dinner", ("a", "b"))).reply
    assert reply["locked"] == {"a": ["volume"]}
    assert driver.values("volume", "ab") == [-30.0, -38.0]
    assert driver.value("a", "program") == "laptop"
    lock(driver, zone="a")
    refused(driver, RecallScene(FINGER, "dinner", ("a",)))


def test_what_a_booking_recalls_leaves_locked_controls_and_says_so(driver: Driver) -> None:
    """Nothing is refused: what is planned goes on elsewhere."""
    lock(driver, zone="a", controls=("volume",))
    driver.do(RecallScene(Actor("booking gala", "booking"), "dinner", ("a", "b")))
    assert driver.values("volume", "ab") == [-30.0, -38.0]
    assert "booking gala: scene dinner leaves volume in a: locked by quiet" in [
        event.text for event in driver.events if isinstance(event, Noticed)
    ]


def test_a_routine_leaves_a_locked_zone_alone_or_waits_for_it(driver: Driver) -> None:
    """As it does where a booking has the zone; it runs as the lock is released."""
    lock(driver, zone="a")
    for routine in ("off", "later"):
        driver.do(RunRoutine(Actor("clock", "clock"), routine, driver.now))
    assert driver.values("volume", "ab") == [-30.0, -38.0]
    driver.do(ReleaseLock(TECHNICIAN, "quiet", entitled=True))
    assert driver.value("a", "volume") == -38.0


def test_a_device_that_is_turned_by_hand_is_not_followed_where_a_lock_is(driver: Driver) -> None:
    """So that it is driven back."""
    lock(driver, zone="a", controls=("volume",))
    refused(driver, ReportControl(Actor("rack", "device"), "a", "volume", -3.0))


def test_what_is_locked_stays_as_it_is_when_zones_join(driver: Driver) -> None:
    """The others are treated as configured."""
    driver.set("b-panel", "volume", -50.0)
    driver.set("b-panel", "mute", True)
    lock(driver, zone="b", controls=("volume",))
    driver.wall("a-b", "open")
    driver.advance(1.0)
    assert driver.values("volume", "ab") == [-30.0, -50.0]


def test_an_override_stands_above_a_lock(driver: Driver) -> None:
    """It masks what is locked, and what is locked is as it was when it clears but for sound, which stays low."""
    lock(driver, zone="a")
    driver.do(ReportOverride(Actor("panel", "contact"), "fire", True, "open"))
    assert driver.state.masks["a", "mute"].value is True


def test_a_lock_ends_by_itself(driver: Driver) -> None:
    """At its time, and not before; without one it stays."""
    lock(driver, zone="a", seconds=10.0)
    lock(driver, "for-good", zone="b")
    driver.advance(9.9)
    assert set(driver.state.locks) == {"quiet", "for-good"}
    driver.advance(0.1)
    assert set(driver.state.locks) == {"for-good"}
    assert [e.why for e in driver.events if isinstance(e, LockEnded)] == ["its time was over"]
    driver.do(act("volume", value=-10.0))


def test_a_lock_is_released_by_its_pin_or_by_role(driver: Driver) -> None:
    """By the PIN that it has now: one that was right for the lock before it is not."""
    lock(driver, zone="a", secret="hash-1")
    refused(driver, ReleaseLock(FINGER, "quiet"))
    refused(driver, ReleaseLock(FINGER, "quiet", secret="hash-0"))
    driver.do(ReleaseLock(FINGER, "quiet", secret="hash-1"))
    lock(driver, zone="a")
    refused(driver, ReleaseLock(FINGER, "quiet", secret=""))
    driver.do(ReleaseLock(TECHNICIAN, "quiet", entitled=True))
    assert driver.state.locks == {}
    with pytest.raises(UnknownName):
        driver.do(ReleaseLock(TECHNICIAN, "quiet", entitled=True))


def test_a_lock_that_is_ready_by_name_needs_nothing_else(driver: Driver) -> None:
    """Its zone, controls and time are configured; what is given counts before them."""
    assert lock(driver, "evening") == ["b"]
    shown = locking.view(driver.state)["evening"]
    assert (shown["name"], shown["zone"], shown["controls"]) == ("Evening level", "b", ["volume"])
    assert driver.state.locks["evening"].until == driver.now + 60.0
    with pytest.raises(BadValue, match="evening"):
        lock(driver, "other")


@pytest.mark.parametrize(
    ("what", "kind"),
    [
        ({"zone": "a", "controller": "a-panel"}, BadValue),
        ({"zone": "nowhere"}, UnknownName),
        ({"controller": "nobody"}, UnknownName),
        ({"zone": "a", "controls": ("bass",)}, UnknownName),
        ({"zone": "a", "seconds": 0.0}, BadValue),
        ({"zone": "a", "seconds": -1.0}, BadValue),
        ({"zone": "a", "seconds": 1e9}, BadValue),
    ],
)
def test_a_lock_on_what_there_is_not_is_refused(driver: Driver, what: dict[str, Any], kind: type[Exception]) -> None:
    """With what would be right."""
    with pytest.raises(kind):
        lock(driver, **what)
    assert driver.state.locks == {}


def test_no_more_locks_than_the_bound(driver: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """One of the same name is replaced."""
    monkeypatch.setattr("roomlink.limits.LOCKS_MAX", 1)
    lock(driver, zone="a")
    lock(driver, zone="b")
    with pytest.raises(Refused, match="release one first"):
        lock(driver, "second", zone="a")
    driver.do(act("volume", value=-10.0))


def test_the_pin_is_in_no_view_and_no_event_that_is_shown(driver: Driver) -> None:
    """Only that there is one."""
    lock(driver, zone="a", secret="$argon2id$hash")
    event = next(e for e in driver.events if isinstance(e, LockSet))
    shown = (locking.shown(event), locking.view(driver.state))
    assert "argon2id" not in repr(shown)
    assert locking.shown(event)["now"]["pin"] is True
    assert locking.view(driver.state)["quiet"]["pin"] is True


def test_a_lock_on_what_is_gone_ends_with_it(driver: Driver) -> None:
    """A reload takes the zone away."""
    lock(driver, zone="c")
    lock(driver, "kept", zone="a")
    driver.configure(venues.row(2))
    assert set(driver.state.locks) == {"kept"}


def test_a_step_and_a_toggle_are_relative(driver: Driver) -> None:
    """A step changes each zone from its own level, within its range; a toggle goes by what is shown."""
    driver.set("b-panel", "volume", -59.0)
    driver.link("a-panel", "b")
    driver.do(act("volume", "step", -1.5))
    assert driver.values("volume", "ab") == [-31.5, -60.0]
    driver.do(act("volume", "step", 2.0, zone="a"))
    assert driver.value("a", "volume") == -29.5
    driver.set("b", "mute", True)
    driver.do(act("mute", "toggle"))
    assert driver.values("mute", "ab") == [True, True]
    driver.do(act("mute", "toggle"))
    assert driver.values("mute", "ab") == [False, False]
    driver.do(Act(PLAIN, "mute", "toggle", zone="a"))
    assert driver.value("a", "mute") is True
    for wrong in (None, True, "2", 61.0, float("nan")):
        with pytest.raises(BadValue, match="no step"):
            driver.do(act("volume", "step", wrong))
