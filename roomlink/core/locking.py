"""Setting and releasing locks, and how they are shown: see ``locks`` for what they keep."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import discretion, links, locks, occupancy, orders
from roomlink.core.checks import require, seconds
from roomlink.core.events import encode
from roomlink.core.instants import rfc3339
from roomlink.core.lock_records import Lock, LockEnded, LockEvent, LockSet, ReleaseLock, SetLock
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue, Refused

Data = dict[str, Any]


def put(draft: Draft, command: SetLock) -> Data:
    """Set a lock, or replace the one of that name. What is held there is let go; all else stays as it is."""
    command = _as_configured(draft, command)
    known = _lockable(draft, command)
    for control in command.controls:
        require("control", control, known)
    old = draft.locks.get(command.lock)
    if old is None and sum(1 for _ in draft.locks.live()) >= limits.LOCKS_MAX:
        raise Refused(
            "too-many", f"there are {limits.LOCKS_MAX} locks already: release one first", maximum=limits.LOCKS_MAX
        )
    length = command.seconds
    if length is not None and seconds("for", length, limits.LOCK_S_MAX) <= 0.0:
        raise BadValue("for", "a lock lasts for more than 0 seconds; without `for` until it is released")
    until = None if length is None else draft.now + length
    kept = tuple(dict.fromkeys(command.controls))
    what = (command.zone, command.controller, kept)
    lock = Lock(*what, command.by.who, draft.now, until, command.secret, command.why)
    draft.emit(LockSet(command.lock, lock))
    _let_go(draft, lock, f"locked by {command.by.who}")
    if old is not None:
        _freed(draft, old)
    return {"zones": _zones(draft, lock)}


def _as_configured(draft: Draft, command: SetLock) -> SetLock:
    if command.zone is not None or command.controller is not None:
        return command
    spec = draft.spec.locks.get(command.lock)
    if spec is None:
        ready = ", ".join(draft.spec.locks) or "none"
        raise BadValue("zone", f"say what is locked: `zone` or `controller`; ready by name there is {ready}")
    length = spec.seconds if command.seconds is None else command.seconds
    return replace(
        command, zone=spec.zone, controller=spec.controller, controls=command.controls or spec.controls, seconds=length
    )


def _lockable(draft: Draft, command: SetLock) -> Any:
    """The controls that there are of what is to be locked."""
    if command.zone is not None and command.controller is not None:
        raise BadValue("zone", "a lock is on a `zone` or on a `controller`: give one")
    if command.controller is not None:
        require("controller", command.controller, draft.spec.controllers)
        return links.controls_of(draft, command.controller)
    require("zone", command.zone or "", draft.spec.zones)
    return draft.spec.zones[command.zone or ""].controls


def _let_go(draft: Draft, lock: Lock, why: str) -> None:
    for name in list(draft.holds.live()):
        hold = draft.holds[name]
        if lock.controls and hold.control not in lock.controls:
            continue
        if lock.controller is not None and hold.controller == lock.controller:
            orders.let_go(draft, name, draft.now, why)
        elif lock.zone in hold.zones:
            orders.let_go(draft, name, draft.now, why, (lock.zone,))


def release(draft: Draft, command: ReleaseLock) -> Data:
    require("lock", command.lock, list(draft.locks.live()))
    lock = draft.locks[command.lock]
    # The lock may have got another PIN while the one that was given was looked at.
    if not command.entitled and (not lock.secret or command.secret != lock.secret):
        raise locks.refusal(draft, command.lock, command.lock)
    _end(draft, command.lock, f"released by {command.by.who}")
    return {"zones": _zones(draft, lock)}


def due(draft: Draft, name: str) -> None:
    """A lock's time is over."""
    lock = draft.locks.get(name)
    if lock is not None and lock.until is not None and lock.until <= draft.now:
        _end(draft, name, "its time was over")


def settle(draft: Draft) -> None:
    """After a new configuration: locks on what is gone end."""
    for name in list(draft.locks.live()):
        lock = draft.locks[name]
        gone = lock.zone is not None and lock.zone not in draft.spec.zones
        if gone or (lock.controller is not None and lock.controller not in draft.spec.controllers):
            draft.emit(LockEnded(name, "what it locked is no longer configured", lock.zone, lock.controller))


def _end(draft: Draft, name: str, why: str) -> None:
    lock = draft.locks[name]
    draft.emit(LockEnded(name, why, lock.zone, lock.controller))
    _freed(draft, lock)


def _freed(draft: Draft, lock: Lock) -> None:
    """Routines that waited for the zone run, unless something else still holds it."""
    if lock.zone is not None and lock.zone in draft.spec.zones:
        occupancy.freed(draft, (lock.zone,))


def _zones(state: State, lock: Lock) -> list[str]:
    return list(state.linked.get(lock.controller or "", ())) if lock.zone is None else [lock.zone]


DECIDE: dict[type[Any], Callable[[Draft, Any], Data]] = {SetLock: put, ReleaseLock: release}


# Showing


def shown(event: LockEvent) -> Data:
    """An event of a lock as it may be shown: of a PIN only whether there is one."""
    data = encode(event)
    if isinstance(event, LockSet):
        data["now"] = {**{k: v for k, v in data["now"].items() if k != "secret"}, "pin": bool(event.now.secret)}
    return data


def view(state: State, *, may_see: bool = False) -> Data:
    """All locks that stand, by name; of one where a private booking is neither who set it nor why."""
    found = {}
    for name in state.locks.live():
        lock = state.locks[name]
        tells = may_see or not discretion.veiled_lock(state, lock)
        found[name] = {
            "name": _called(state, name),
            "zone": lock.zone,
            "controller": lock.controller,
            "controls": list(lock.controls),
            "by": lock.by if tells else "",
            "since": rfc3339(lock.since),
            "until": None if lock.until is None else rfc3339(lock.until),
            "pin": bool(lock.secret),
            "why": lock.why if tells else "",
        }
    return found


def _called(state: State, name: str) -> str:
    spec = state.spec.locks.get(name)
    return spec.name if spec is not None and spec.name else name
