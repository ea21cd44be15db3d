"""Locks set by hand: what is remembered of one, what people ask, what happened.

The PIN is never here: only what a slow hash made of it (``secret``), and no view and no event that is shown tells even
that. Whether a PIN is right is found out where requests arrive; the core decides what follows from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from roomlink.core.actor import Actor


@dataclass(frozen=True, slots=True)
class Lock:
    """A ``zone`` or a ``controller`` is locked, or the ``controls`` named of it: no hand and no booking sets them.

    ``by`` set it at the stamp ``since``; it ends by itself at ``until`` (None: never). ``secret`` is the hash of the
    PIN that releases it; empty: only a role does.
    """

    zone: str | None
    controller: str | None
    controls: tuple[str, ...]
    by: str
    since: float
    until: float | None = None
    secret: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class LockSpec:
    """A lock that the configuration has ready under a name; ``seconds`` None: it does not end by itself."""

    zone: str | None = None
    controller: str | None = None
    controls: tuple[str, ...] = ()
    seconds: float | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class LockSet:
    """There is this lock now."""

    lock: str
    now: Lock


@dataclass(frozen=True, slots=True)
class LockEnded:
    """``zone`` or ``controller`` is what was locked; entries of before say neither."""

    lock: str
    why: str
    zone: str | None = None
    controller: str | None = None


@dataclass(frozen=True, slots=True)
class SetLock:
    """Lock a zone or a controller, or some controls of it; with neither given, as the configuration has it ready.

    ``seconds`` until it ends by itself (None: never, or as configured); ``secret`` is the hash of its PIN.
    """

    by: Actor
    lock: str
    zone: str | None = None
    controller: str | None = None
    controls: tuple[str, ...] = ()
    seconds: float | None = None
    secret: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class ReleaseLock:
    """Release a lock: by role (``entitled``), or as the PIN was right whose hash is ``secret``."""

    by: Actor
    lock: str
    entitled: bool = False
    secret: str = ""


LockCommand = SetLock | ReleaseLock
LockEvent = LockSet | LockEnded
LOCK_EVENTS: dict[str, type[Any]] = {"lock": LockSet, "lock-ended": LockEnded}
LOCK_RECORDS: dict[type[Any], type[Any]] = {LockSet: Lock}
