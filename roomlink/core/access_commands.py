"""What can be asked about who may come in."""

from __future__ import annotations

from dataclasses import dataclass

from roomlink.core.actor import Actor


@dataclass(frozen=True, slots=True)
class SetPerson:
    """Make a person, or change the ``role`` or ``secret`` (the password's hash) of one; None keeps what there is.

    Whoever is signed in under that name signs in anew, but for ``session``.
    """

    by: Actor
    person: str
    role: str | None = None
    secret: str | None = None
    session: str | None = None


@dataclass(frozen=True, slots=True)
class RemovePerson:
    by: Actor
    person: str


@dataclass(frozen=True, slots=True)
class BeginSession:
    """A person has given the right password; ``session`` is the digest by which the browser is known from now on."""

    by: Actor
    person: str
    session: str


@dataclass(frozen=True, slots=True)
class UseSession:
    by: Actor
    session: str


@dataclass(frozen=True, slots=True)
class EndSession:
    """End one ``session``, or all of a ``person``."""

    by: Actor
    why: str
    session: str | None = None
    person: str | None = None


@dataclass(frozen=True, slots=True)
class NoteRefused:
    """Somebody gave a wrong password, code or PIN; ``more`` were refused before and not told one by one."""

    by: Actor
    what: str
    name: str = ""
    more: int = 0


@dataclass(frozen=True, slots=True)
class AddKey:
    """A panel was paired with ``controller``, or an integration gets a token; ``secret`` is the digest."""

    by: Actor
    kind: str
    key: str
    role: str
    secret: str
    controller: str | None = None
    until: float | None = None


@dataclass(frozen=True, slots=True)
class UseKey:
    by: Actor
    key: str


@dataclass(frozen=True, slots=True)
class RemoveKey:
    by: Actor
    kind: str
    key: str


AccessCommand = (
    SetPerson | RemovePerson | BeginSession | UseSession | EndSession | NoteRefused | AddKey | UseKey | RemoveKey
)
