"""``core.people``: who may come in, as commands and events like everything else."""

from __future__ import annotations

import json

import pytest

from roomlink import limits
from roomlink.core import access, people
from roomlink.core.access_commands import (
    AddKey,
    BeginSession,
    EndSession,
    NoteRefused,
    RemoveKey,
    RemovePerson,
    SetPerson,
    UseKey,
    UseSession,
)
from roomlink.core.commands import Actor
from roomlink.core.decide import describe
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import Driver

ALEX = Actor("alex", "http", None, "192.0.2.7")
SECRET = "$argon2id$not-a-real-hash"


@pytest.fixture
def hall() -> Driver:
    """A venue with one engineer, alex."""
    driver = Driver(venues.row(1))
    driver.do(SetPerson(ALEX, "alex", "engineer", SECRET))
    return driver


def sign_in(hall: Driver, person: str = "alex", session: str = "s1") -> None:
    hall.do(BeginSession(Actor(person, "http", None, "192.0.2.7"), person, session))


def why_ended(hall: Driver) -> list[str]:
    return [event.why for event in hall.events if isinstance(event, access.SessionEnded)]


def test_somebody_new_needs_a_role_and_a_password(hall: Driver) -> None:
    """Either alone makes nobody, and a role that there is not is told with those that there are."""
    for role, secret in ((None, SECRET), ("view", None)):
        with pytest.raises(BadValue):
            hall.do(SetPerson(ALEX, "kim", role, secret))
    with pytest.raises(BadValue, match="view, operate, manage, engineer"):
        hall.do(SetPerson(ALEX, "kim", "admiral", SECRET))
    assert "kim" not in hall.state.people


@pytest.mark.parametrize("name", ["alex", "office", "service", "a-panel", "socket-1"])
def test_a_name_is_one_of_all_that_act(hall: Driver, name: str) -> None:
    """A person, an integration, a controller or the service itself: else nobody could trust the journal."""
    hall.do(AddKey(ALEX, access.INTEGRATION, "office", "manage", "d1"))
    with pytest.raises(Refused, match="taken"):
        hall.do(AddKey(ALEX, access.INTEGRATION, name, "view", "d2"))


def test_a_panel_may_bear_the_name_of_its_controller(hall: Driver) -> None:
    """One; and its controller must be there."""
    hall.do(AddKey(ALEX, access.PANEL, "a-panel", "operate", "d1", "a-panel"))
    assert hall.state.keys["a-panel"].controller == "a-panel"
    with pytest.raises(Refused):
        hall.do(AddKey(ALEX, access.PANEL, "a-panel", "operate", "d2", "a-panel"))
    with pytest.raises(UnknownName):
        hall.do(AddKey(ALEX, access.PANEL, "attic", "operate", "d2", "attic"))


def test_the_last_engineer_stays_one(hall: Driver) -> None:
    """Neither removed nor made less, until there is another one."""
    for command in (RemovePerson(ALEX, "alex"), SetPerson(ALEX, "alex", "manage")):
        with pytest.raises(Refused, match="only engineer"):
            hall.do(command)
    hall.do(SetPerson(ALEX, "kim", "engineer", SECRET))
    hall.do(RemovePerson(ALEX, "alex"))
    assert list(hall.state.people) == ["kim"]


@pytest.mark.parametrize(
    "change", [SetPerson(ALEX, "kim", "view"), SetPerson(ALEX, "kim", None, "other"), RemovePerson(ALEX, "kim")]
)
def test_a_change_of_role_or_password_ends_the_sessions(hall: Driver, change: SetPerson | RemovePerson) -> None:
    """And removal; others' sessions stay, and the same again changes nothing."""
    hall.do(SetPerson(ALEX, "kim", "operate", SECRET))
    sign_in(hall)
    sign_in(hall, "kim", "s2")
    assert hall.do(SetPerson(ALEX, "kim", "operate", SECRET)).events == ()
    hall.do(change)
    assert list(hall.state.sessions) == ["s1"]


def test_one_s_own_session_outlives_a_new_password(hall: Driver) -> None:
    """The others end."""
    sign_in(hall, session="here")
    sign_in(hall, session="there")
    hall.do(SetPerson(ALEX, "alex", None, "another", "here"))
    assert list(hall.state.sessions) == ["here"]


def test_a_session_ends_when_it_is_not_used(hall: Driver) -> None:
    """By itself, and to the second; use prolongs it, but is written down only now and then."""
    sign_in(hall)
    hall.advance(limits.SESSION_USE_S - 1.0)
    assert hall.do(UseSession(ALEX, "s1")).events == ()
    hall.advance(1.0)
    assert len(hall.do(UseSession(ALEX, "s1")).events) == 1
    hall.advance(limits.SESSION_IDLE_S - 0.5)
    assert "s1" in hall.state.sessions
    hall.advance(0.5)
    assert "s1" not in hall.state.sessions
    assert why_ended(hall) == ["the session is over: sign in again"]
    assert hall.do(UseSession(ALEX, "s1")).events == ()


def test_no_use_prolongs_a_session_for_ever(hall: Driver) -> None:
    """After a week one signs in again."""
    sign_in(hall)
    for _ in range(int(limits.SESSION_S_MAX // 3600)):
        hall.do(UseSession(ALEX, "s1"))
        hall.advance(3600.0)
    assert "s1" not in hall.state.sessions


def test_a_person_has_so_many_sessions(hall: Driver) -> None:
    """The oldest ends for a new one."""
    for number in range(limits.SESSIONS_OF_ONE_MAX + 1):
        sign_in(hall, session=f"s{number}")
        hall.advance(1.0)
    assert len(hall.state.sessions) == limits.SESSIONS_OF_ONE_MAX
    assert "s0" not in hall.state.sessions


def test_a_session_can_be_ended_one_or_all(hall: Driver) -> None:
    """And ending what has ended succeeds."""
    for session in ("s1", "s2", "s3"):
        sign_in(hall, session=session)
    hall.do(EndSession(ALEX, "signed out", "s1"))
    assert hall.do(EndSession(ALEX, "signed out", "s1")).events == ()
    assert list(hall.state.sessions) == ["s2", "s3"]
    hall.do(EndSession(ALEX, "signed out", None, "alex"))
    assert not hall.state.sessions


def test_a_token_ends_at_its_time_or_when_it_is_taken_back(hall: Driver) -> None:
    """Its digest finds nothing any more."""
    hall.do(AddKey(ALEX, access.INTEGRATION, "office", "manage", "d1", None, hall.now + 60.0))
    hall.do(AddKey(ALEX, access.INTEGRATION, "desk", "view", "d2"))
    with pytest.raises(UnknownName):
        hall.do(RemoveKey(ALEX, access.PANEL, "desk"))
    hall.do(RemoveKey(ALEX, access.INTEGRATION, "desk"))
    hall.advance(60.0)
    assert not hall.state.keys
    assert not hall.state.key_of
    with pytest.raises(BadValue):
        hall.do(AddKey(ALEX, access.INTEGRATION, "late", "view", "d3", None, hall.now))


def test_the_use_of_a_token_is_written_down_now_and_then(hall: Driver) -> None:
    """With where from."""
    hall.do(AddKey(ALEX, access.INTEGRATION, "office", "manage", "d1"))
    by = Actor("office", "http", None, "192.0.2.9")
    assert len(hall.do(UseKey(by, "office")).events) == 1
    assert hall.do(UseKey(by, "office")).events == ()
    assert (hall.state.keys["office"].last, hall.state.keys["office"].where) == (hall.now, "192.0.2.9")


def test_nothing_that_opens_anything_is_shown(hall: Driver) -> None:
    """Not in what is said of a command, not in an event as it may be seen."""
    commands = (
        SetPerson(ALEX, "kim", "view", "hidden-1", "hidden-2"),
        BeginSession(ALEX, "kim", "hidden-2"),
        UseSession(ALEX, "hidden-2"),
        AddKey(ALEX, access.INTEGRATION, "office", "manage", "hidden-3"),
        UseKey(ALEX, "office"),
        NoteRefused(ALEX, "password", "kim", 2),
        EndSession(ALEX, "signed out", "hidden-2"),
        RemoveKey(ALEX, access.INTEGRATION, "office"),
        RemovePerson(ALEX, "kim"),
    )
    for command in commands:
        events = hall.do(command).events
        assert "hidden" not in json.dumps(describe(command))
        for event in events:
            assert isinstance(event, access.AccessEvent)
            assert "hidden" not in json.dumps(people.shown(event))
    assert any(
        people.shown(e).get("now", {}).get("role") == "manage" for e in hall.events if isinstance(e, access.KeySet)
    )
