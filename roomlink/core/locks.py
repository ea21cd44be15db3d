"""What locks set by hand cover now, asked by all that would set a control.

A lock stands above panels, programs and the diary, and below overrides. What is locked stays as it is when zones join
and part, too; only a source behind a wall that closes is dropped from it all the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from roomlink.core.instants import rfc3339
from roomlink.core.state import State
from roomlink.errors import Refused


def covering(state: State, zone: str, control: str) -> str | None:
    """The lock that keeps a control of a zone as it is, if any does."""
    for name in state.locks.live():
        lock = state.locks[name]
        if lock.zone == zone and (not lock.controls or control in lock.controls):
            return name
    return None


def of_controller(state: State, controller: str, control: str | None = None) -> str | None:
    """The lock on a controller as a whole, or with ``control`` also on that key of it, if there is any."""
    for name in state.locks.live():
        lock = state.locks[name]
        if lock.controller == controller and (not lock.controls or control in lock.controls):
            return name
    return None


def over_zone(state: State, zone: str) -> str | None:
    """The lock on a zone as a whole: it holds the zone as a booking does."""
    for name in state.locks.live():
        lock = state.locks[name]
        if lock.zone == zone and not lock.controls:
            return name
    return None


def free(state: State, zones: Iterable[str], control: str) -> list[str]:
    """Those of ``zones`` in which no lock keeps the control."""
    return [zone for zone in zones if covering(state, zone, control) is None]


def require_free(state: State, zones: Iterable[str], control: str) -> None:
    """Raise while a lock keeps the control in any of ``zones``."""
    for zone in zones:
        if (name := covering(state, zone, control)) is not None:
            raise refusal(state, name, f"{control} in {zone}", zone=zone)


def require_key(state: State, controller: str, control: str | None = None) -> None:
    """Raise while a lock is on a controller, or with ``control`` on that key of it."""
    if (name := of_controller(state, controller, control)) is not None:
        raise refusal(
            state, name, controller if control is None else f"{control} at {controller}", controller=controller
        )


def refusal(state: State, name: str, what: str, **more: Any) -> Refused:
    """The refusal that names a lock, and what would release it."""
    lock = state.locks[name]
    until = None if lock.until is None else rfc3339(lock.until)
    rather = "its PIN or the role manage releases it" if lock.secret else "the role manage releases it"
    text = f"{what} is locked: {name}, by {lock.by}{'' if until is None else f', until {until}'}; {rather}"
    return Refused("locked", text, lock=name, by=lock.by, until=until, pin=bool(lock.secret), **more)
