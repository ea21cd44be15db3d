"""Deciding and applying who may come in. Whether somebody may decide that is asked before, where requests arrive."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import access
from roomlink.core.access import Key, Person, Session
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
from roomlink.core.checks import require
from roomlink.core.events import Event, encode
from roomlink.core.state import Draft, State, Table
from roomlink.errors import BadValue, Refused

RESERVED = frozenset({"service", "wall", "diary", "anybody", "nobody", "watcher", "feeds", "webhooks", "program"})
"""Names under which the service itself writes into the journal."""
_OF_SOCKETS = "socket-"
"""How the names of sockets begin: who holds something is known by that, or by a person's name."""

Data = dict[str, Any]


# Deciding


def set_person(draft: Draft, command: SetPerson) -> Data:
    """Make a person, or change role or password; then whoever is signed in under that name signs in anew."""
    old = draft.people.get(command.person)
    if command.role is not None and command.role not in access.RANK:
        raise _no_role(command.role)
    if old is None:
        if command.role is None or command.secret is None:
            raise BadValue("password" if command.secret is None else "role", "somebody new needs a role and a password")
        _require_free_name(draft, command.person)
        _require_room(draft.people, limits.PEOPLE_MAX, "people")
        now = Person(command.role, command.secret, draft.now, command.by.who)
    else:
        now = replace(old, role=command.role or old.role, secret=command.secret or old.secret)
        if now.role != "engineer":
            _require_other_engineer(draft, command.person)
    if now != old:
        draft.emit(access.PersonSet(command.person, now))
        if old is not None:
            why = "role" if now.role != old.role else "password"
            _end_sessions(draft, command.person, f"the {why} was changed: sign in again", but=command.session)
    return {"zones": []}


def remove_person(draft: Draft, command: RemovePerson) -> Data:
    require("person", command.person, list(draft.people.live()))
    _require_other_engineer(draft, command.person)
    _end_sessions(draft, command.person, "this person may no longer sign in")
    draft.emit(access.PersonRemoved(command.person))
    return {"zones": []}


def begin_session(draft: Draft, command: BeginSession) -> Data:
    require("person", command.person, list(draft.people.live()))
    own = _sessions_of(draft, command.person)
    for session in own[: max(0, len(own) - limits.SESSIONS_OF_ONE_MAX + 1)]:
        _end(draft, session, "signed in at too many places: the oldest ends")
    until = draft.now + min(limits.SESSION_IDLE_S, limits.SESSION_S_MAX)
    draft.emit(
        access.SessionSet(command.session, Session(command.person, draft.now, draft.now, until, command.by.where))
    )
    return {"zones": []}


def use_session(draft: Draft, command: UseSession) -> Data:
    """Nothing happens more often than the limits have it: that somebody is there is no news."""
    old = draft.sessions.get(command.session)
    if old is not None:
        until = min(old.began + limits.SESSION_S_MAX, draft.now + limits.SESSION_IDLE_S)
        if until - old.until >= limits.SESSION_USE_S:
            draft.emit(access.SessionSet(command.session, replace(old, last=draft.now, until=until)))
    return {"zones": []}


def end_session(draft: Draft, command: EndSession) -> Data:
    """End one, or without ``session`` all of a ``person``. Ending what has ended succeeds."""
    if command.session is not None:
        if command.session in draft.sessions:
            _end(draft, command.session, command.why)
    elif command.person is not None:
        require("person", command.person, list(draft.people.live()))
        _end_sessions(draft, command.person, command.why)
    return {"zones": []}


def note_refused(draft: Draft, command: NoteRefused) -> Data:
    draft.emit(access.SignInRefused(command.what, command.name, command.by.where, command.more))
    return {"zones": []}


def add_key(draft: Draft, command: AddKey) -> Data:
    if command.role not in access.RANK:
        raise _no_role(command.role)
    if command.kind == access.PANEL:
        require("controller", command.controller or "", draft.spec.controllers)
    if command.until is not None and command.until <= draft.now:
        raise BadValue("days", "it would be over already")
    _require_free_name(draft, command.key, of_panel=command.kind == access.PANEL)
    _require_room(draft.keys, limits.KEYS_MAX, "panels and integrations")
    made = Key(command.kind, command.role, command.secret, draft.now, command.by.who, command.controller, command.until)
    draft.emit(access.KeySet(command.key, made))
    return {"zones": []}


def use_key(draft: Draft, command: UseKey) -> Data:
    old = draft.keys.get(command.key)
    if old is not None and (old.last is None or draft.now - old.last >= limits.KEY_USE_S):
        draft.emit(access.KeySet(command.key, replace(old, last=draft.now, where=command.by.where)))
    return {"zones": []}


def remove_key(draft: Draft, command: RemoveKey) -> Data:
    names = [name for name in draft.keys.live() if draft.keys[name].kind == command.kind]
    require(command.kind, command.key, names)
    draft.emit(access.KeyRemoved(command.key, f"taken back by {command.by.who}"))
    return {"zones": []}


def due(draft: Draft, what: str, name: str) -> None:
    """What ends by itself has ended."""
    if what == "session" and (session := draft.sessions.get(name)) is not None and session.until <= draft.now:
        _end(draft, name, "the session is over: sign in again")
    elif what == "key":
        key = draft.keys.get(name)
        if key is not None and key.until is not None and key.until <= draft.now:
            draft.emit(access.KeyRemoved(name, "its time was over"))


def _no_role(role: str) -> BadValue:
    return BadValue("role", f"{role!r} is no role; there is {', '.join(access.ROLES)}", allowed=list(access.ROLES))


def _require_free_name(draft: Draft, name: str, *, of_panel: bool = False) -> None:
    """One name is one of all that act, so that the journal can be trusted; a panel may bear its controller's."""
    taken = name in draft.people or name in draft.keys or name in RESERVED or name.startswith(_OF_SOCKETS)
    taken = taken or name in draft.spec.data.get("stations", {})
    if taken or (name in draft.spec.controllers and not of_panel):
        raise Refused("exists", f"the name {name} is taken: choose another one")


def _require_room(table: Table[str, Any], most: int, of: str) -> None:
    if sum(1 for _ in table.live()) >= most:
        raise Refused("too-many", f"there are {most} {of} already: remove one first", maximum=most)


def _require_other_engineer(draft: Draft, person: str) -> None:
    """Without an engineer nobody could let anybody in."""
    if draft.people[person].role != "engineer":
        return
    if not any(draft.people[name].role == "engineer" for name in draft.people.live() if name != person):
        raise Refused("last-engineer", f"{person} is the only engineer: make somebody else one first")


def _sessions_of(draft: Draft, person: str) -> list[str]:
    """Oldest first."""
    found = [name for name in draft.sessions.live() if draft.sessions[name].person == person]
    return sorted(found, key=lambda name: (draft.sessions[name].began, name))


def _end_sessions(draft: Draft, person: str, why: str, but: str | None = None) -> None:
    for session in _sessions_of(draft, person):
        if session != but:
            _end(draft, session, why)


def _end(draft: Draft, session: str, why: str) -> None:
    draft.emit(access.SessionEnded(session, draft.sessions[session].person, why))


DECIDE: dict[type[Any], Callable[[Draft, Any], Data]] = {
    SetPerson: set_person,
    RemovePerson: remove_person,
    BeginSession: begin_session,
    UseSession: use_session,
    EndSession: end_session,
    NoteRefused: note_refused,
    AddKey: add_key,
    UseKey: use_key,
    RemoveKey: remove_key,
}


# Applying


def _person_set(state: State, event: access.PersonSet) -> None:
    state.people[event.person] = event.now


def _person_removed(state: State, event: access.PersonRemoved) -> None:
    state.people.drop(event.person)


def _session_set(state: State, event: access.SessionSet) -> None:
    state.sessions[event.session] = event.now
    state.deadlines.set(("session", event.session), event.now.until)


def _session_ended(state: State, event: access.SessionEnded) -> None:
    state.sessions.drop(event.session)
    state.deadlines.set(("session", event.session), None)


def _key_set(state: State, event: access.KeySet) -> None:
    state.keys[event.key] = event.now
    state.key_of[event.now.secret] = event.key
    state.deadlines.set(("key", event.key), event.now.until)


def _key_removed(state: State, event: access.KeyRemoved) -> None:
    key = state.keys.get(event.key)
    if key is not None:
        state.key_of.drop(key.secret)
    state.keys.drop(event.key)
    state.deadlines.set(("key", event.key), None)


def _sign_in_refused(state: State, event: access.SignInRefused) -> None:
    return


APPLY: dict[type[Any], Callable[[State, Any], None]] = {
    access.PersonSet: _person_set,
    access.PersonRemoved: _person_removed,
    access.SessionSet: _session_set,
    access.SessionEnded: _session_ended,
    access.KeySet: _key_set,
    access.KeyRemoved: _key_removed,
    access.SignInRefused: _sign_in_refused,
}


# Showing


def shown(event: Event) -> Data:
    """An event of access as it may be shown: without what opens anything."""
    data = {name: value for name, value in encode(event).items() if name not in access.HIDDEN}
    if "now" in data:
        data["now"] = {name: value for name, value in data["now"].items() if name not in access.HIDDEN}
    return data


def has_engineer(state: State) -> bool:
    return any(state.people[name].role == "engineer" for name in state.people.live())
