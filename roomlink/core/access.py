"""Who may do what: the roles, and what is remembered of people, their sessions, panels and integrations.

What is secret is never here: a password only as what a slow hash made of it, a token, a session or a panel's key only
as the SHA-256 digest of 256 random bits. The runtime makes both; the core only keeps them. These events are never
compacted: who was let in, and by whom, is asked years later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

ROLES = ("view", "operate", "manage", "engineer")
"""From least to most; each may do what those before it may."""
RANK = {role: rank for rank, role in enumerate(ROLES)}

PANEL, INTEGRATION = "panel", "integration"
KINDS = (PANEL, INTEGRATION)


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who signs in with a password. ``secret`` is its hash; ``by`` made the person."""

    role: str
    secret: str
    since: float
    by: str = ""


@dataclass(frozen=True, slots=True)
class Session:
    """A person signed in at ``began``; it ends by itself at ``until``. ``last`` tells of a use, maybe not the last."""

    person: str
    began: float
    last: float
    until: float
    where: str = ""


@dataclass(frozen=True, slots=True)
class Key:
    """A paired panel, bound to its ``controller``, or an integration with a token. ``secret`` is its digest.

    ``last`` and ``where`` tell of a use, not always the newest; at ``until`` (None: never) it ends by itself.
    """

    kind: str
    role: str
    secret: str
    since: float
    by: str = ""
    controller: str | None = None
    until: float | None = None
    last: float | None = None
    where: str = ""


@dataclass(frozen=True, slots=True)
class PersonSet:
    person: str
    now: Person


@dataclass(frozen=True, slots=True)
class PersonRemoved:
    person: str


@dataclass(frozen=True, slots=True)
class SessionSet:
    """A person has signed in (``session`` is the digest), or used a session."""

    session: str
    now: Session


@dataclass(frozen=True, slots=True)
class SessionEnded:
    session: str
    person: str
    why: str


@dataclass(frozen=True, slots=True)
class KeySet:
    """A panel was paired, an integration got a token, or one of them was used."""

    key: str
    now: Key


@dataclass(frozen=True, slots=True)
class KeyRemoved:
    key: str
    why: str


@dataclass(frozen=True, slots=True)
class SignInRefused:
    """A password, a code or a PIN was not right. ``name`` is empty where nobody has it: it may be a password.

    ``more`` were refused before it and are not told one by one.
    """

    what: str
    name: str
    where: str
    more: int = 0


AccessEvent = PersonSet | PersonRemoved | SessionSet | SessionEnded | KeySet | KeyRemoved | SignInRefused

ACCESS_EVENTS: dict[str, type[Any]] = {
    "person": PersonSet,
    "person-removed": PersonRemoved,
    "session": SessionSet,
    "session-ended": SessionEnded,
    "key": KeySet,
    "key-removed": KeyRemoved,
    "sign-in-refused": SignInRefused,
}
ACCESS_RECORDS: dict[type[Any], type[Any]] = {PersonSet: Person, SessionSet: Session, KeySet: Key}

HIDDEN = frozenset({"secret", "session"})
"""Members of these events and their records that nobody is shown."""
