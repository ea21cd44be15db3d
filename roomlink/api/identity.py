"""Who asks, and whether they may: a person by a session's cookie, a paired panel by its own, an integration by a token.

To know who asks costs one hash and a look into a table; nothing is asked of the disk.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from starlette.requests import HTTPConnection

from roomlink import limits
from roomlink.core.access import INTEGRATION, PANEL, RANK
from roomlink.core.access_commands import NoteRefused, UseKey, UseSession
from roomlink.core.commands import Actor, Command
from roomlink.errors import CallerFault, NotAllowed, RoomlinkError
from roomlink.runtime.attempts import Attempts
from roomlink.runtime.codes import EngineerCode, PairingCodes
from roomlink.runtime.credentials import Passwords, digest
from roomlink.runtime.writer import Writer

SESSION_COOKIE, PANEL_COOKIE = "roomlink-session", "roomlink-panel"
OVER_TLS = "__Host-"
"""Begins the names of cookies that browsers take over TLS alone, and from this host alone."""

LOOPBACK_CLIENTS = ("127.0.0.1", "::1", "local", "testclient")

OPEN, PERSON, NOBODY = "open", "person", "nobody"


@dataclass(frozen=True, slots=True)
class Caller:
    """One who asks. ``role`` is empty where nobody is known, and for a panel, which may do what a panel needs.

    ``kind`` is open, person, panel, integration or nobody; ``credential`` is the digest of a session or the name of a
    key, whose ``digest`` it was: another key may bear that name later. ``lost`` says that nobody is known because the
    token that was sent is not.
    """

    who: str
    kind: str
    role: str = ""
    where: str = ""
    controller: str | None = None
    credential: str = ""
    digest: str = ""
    lost: bool = False

    @property
    def actor(self) -> Actor:
        return Actor(self.who, "panel" if self.kind == PANEL else "http", None, self.where)


@dataclass(frozen=True, slots=True)
class Rule:
    """Who may: whoever has ``role`` (one of ``ROLES``), or everybody where that is None.

    ``panel``: a paired panel may too; where the address names a controller, its own one only.
    """

    role: str | None
    panel: bool = False

    def __post_init__(self) -> None:
        assert self.role is None or self.role in RANK, f"{self.role!r} is no role"


def allow(caller: Caller, rule: Rule, where: Mapping[str, Any]) -> None:
    """Raise ``NotAllowed`` unless ``caller`` may do what ``rule`` is about; ``where`` is what the address names."""
    if rule.role is None or RANK.get(caller.role, -1) >= RANK[rule.role]:
        return
    if caller.kind == PANEL:
        if rule.panel and where.get("controller", caller.controller) == caller.controller:
            return
        own = f"{caller.who} is paired with {caller.controller} and works that alone"
        raise NotAllowed("not-allowed", f"{own}; this needs somebody with the role {rule.role}", role=rule.role)
    if caller.kind == NOBODY:
        token = "the token is not known: it was taken back, has ended or is mistyped"
        why = f"{token if caller.lost else 'sign in, or send a token'}; this needs the role {rule.role}"
        raise NotAllowed("not-signed-in", why, status=401, role=rule.role)
    raise NotAllowed(
        "not-allowed",
        f"{caller.who} has the role {caller.role}; this needs {rule.role}",
        role=rule.role,
        has=caller.role,
    )


class Identity(Protocol):
    """Tells who asks."""

    def caller(self, connection: HTTPConnection) -> Caller: ...

    def standing(self, caller: Caller) -> bool:
        """Whether what ``caller`` was known by still holds."""
        ...


class Open:
    """No sign-in: whoever reaches the port may do everything. For this machine alone."""

    def caller(self, connection: HTTPConnection) -> Caller:
        where = address(connection)
        return Caller(f"http {where}", OPEN, "engineer", where)

    def standing(self, caller: Caller) -> bool:
        return True


OPEN_TO_ALL = Open()


class SignIn:
    """Sign-in is needed: who may come in is in the journal, what has been tried and the open codes in memory."""

    def __init__(self, writer: Writer) -> None:
        self.writer = writer
        self.passwords = Passwords()
        self.attempts = Attempts()
        self.pairing = PairingCodes()
        self.engineer_code = EngineerCode()

    def caller(self, connection: HTTPConnection) -> Caller:
        where = address(connection)
        token = bearer(connection)
        if token is not None:
            # Whoever sends a token means it: a wrong one is not made good by a cookie.
            return self._of_key(token, INTEGRATION, where) or Caller("nobody", NOBODY, where=where, lost=True)
        session = connection.cookies.get(cookie_name(SESSION_COOKIE, is_secure(connection)))
        found = None if session is None else self._of_session(session, where)
        return found or self.panel(connection) or Caller("nobody", NOBODY, where=where)

    def panel(self, connection: HTTPConnection) -> Caller | None:
        """The panel that a browser is, whoever may have signed in at it."""
        key = connection.cookies.get(cookie_name(PANEL_COOKIE, is_secure(connection)))
        return None if key is None else self._of_key(key, PANEL, address(connection))

    def standing(self, caller: Caller) -> bool:
        state = self.writer.state
        if caller.kind == PERSON:
            return caller.credential in state.sessions
        key = state.keys.get(caller.credential)
        return key is not None and key.secret == caller.digest

    def is_engineer(self, who: str) -> bool:
        """Whether a person or an integration of that name is one now."""
        state = self.writer.state
        found = state.people.get(who) or state.keys.get(who)
        return found is not None and found.role == "engineer"

    def _of_session(self, token: str, where: str) -> Caller | None:
        name = digest(token)
        state = self.writer.state
        session = state.sessions.get(name)
        now = self.writer.clock.stamp()
        # The clock ends it too, but may be a moment late.
        if session is None or session.until <= now:
            return None
        person = state.people[session.person]
        caller = Caller(session.person, PERSON, person.role, where, None, name)
        longer = min(session.began + limits.SESSION_S_MAX, now + limits.SESSION_IDLE_S)
        if longer - session.until >= limits.SESSION_USE_S:
            self._note(UseSession(caller.actor, name))
        return caller

    def _of_key(self, token: str, kind: str, where: str) -> Caller | None:
        state = self.writer.state
        name = state.key_of.get(digest(token))
        key = None if name is None else state.keys[name]
        now = self.writer.clock.stamp()
        if name is None or key is None or key.kind != kind or (key.until is not None and key.until <= now):
            return None
        # What a panel may do follows from its controller, not from a role.
        role = key.role if kind == INTEGRATION else ""
        caller = Caller(name, kind, role, where, key.controller, name, key.secret)
        if key.last is None or now - key.last >= limits.KEY_USE_S:
            self._note(UseKey(caller.actor, name))
        return caller

    def _note(self, command: Command) -> None:
        """Put something down that nobody waits for."""
        with contextlib.suppress(RoomlinkError):
            self.writer.put(command).add_done_callback(lambda done: done.exception())

    def refused(self, what: str, where: str, name: str = "") -> None:
        """Put down that somebody was not let in; beyond a bound they are only counted.

        A name that nobody has is not told: people type passwords there.
        """
        more = self.attempts.to_tell(self.writer.clock.stamp())
        if more is not None:
            known = name if name in self.writer.state.people else ""
            self._note(NoteRefused(Actor("nobody", "http", None, where), what, known, more))


def address(connection: HTTPConnection) -> str:
    """Where a request comes from. Behind a proxy the server has put the address that the proxy told here."""
    return connection.client.host if connection.client else "local"


def is_secure(connection: HTTPConnection) -> bool:
    return connection.scope.get("scheme") in ("https", "wss")


def bearer(connection: HTTPConnection) -> str | None:
    scheme, _, token = connection.headers.get("authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" and token.strip() else None


def cookie_name(name: str, secure: bool) -> str:
    return OVER_TLS + name if secure else name


def refuse_plain(connection: HTTPConnection) -> None:
    """Raise a 403 for what another machine sends without TLS: passwords and cookies could be read on the way."""
    if not is_secure(connection) and address(connection) not in LOOPBACK_CLIENTS:
        fault = CallerFault("needs-tls", "other machines reach this service over https:// alone")
        fault.status = 403
        raise fault


def caller(connection: HTTPConnection) -> Caller:
    """Who asks; found out once a request."""
    found: Caller | None = getattr(connection.state, "caller", None)
    if found is None:
        identity: Identity = connection.app.state.identity
        found = connection.state.caller = identity.caller(connection)
    return found


def standing(connection: HTTPConnection) -> Caller:
    """Who asks, as it is now: for what is done after something was waited for, a body or a hash.

    Raises ``NotAllowed`` if what they were known by ended meanwhile: a body that comes slowly must not outlast it.
    """
    found, known = caller(connection), connection.app.state.identity
    if not known.standing(found):
        raise NotAllowed("not-signed-in", "signed out meanwhile: nothing was done", status=401)
    return found


def sign_in(connection: HTTPConnection) -> SignIn:
    """What signing in needs. Raises a 409 where there is none."""
    identity: Identity = connection.app.state.identity
    if isinstance(identity, SignIn):
        return identity
    fault = CallerFault(
        "no-sign-in", "this service was started with --open: nobody signs in, and everybody may do everything"
    )
    fault.status = 409
    raise fault


def may_operate(connection: HTTPConnection) -> bool:
    """Whether the caller may open panels, or is the one of which the address speaks."""
    found = caller(connection)
    return found.kind == PANEL or RANK.get(found.role, -1) >= RANK["operate"]


def may_see(connection: HTTPConnection) -> bool:
    """Whether the caller may see what is private: a person or an integration that keeps the diary. A service without
    sign-in knows nobody, and shows it to nobody.
    """
    found = caller(connection)
    return found.kind in (PERSON, INTEGRATION) and RANK.get(found.role, -1) >= RANK["manage"]
