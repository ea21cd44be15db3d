"""HTTP handlers with which somebody comes in and leaves: sign-in, sign-out, the first engineer, pairing a panel.

What was wrong is never said: not whether a name is known, not which part of a code was right.
"""

from __future__ import annotations

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import identity
from roomlink.api.encoding import Json
from roomlink.api.identity import PANEL_COOKIE, PERSON, SESSION_COOKIE, SignIn
from roomlink.api.models import Body, Name
from roomlink.api.rest import actor, parse, read, require_name, writer
from roomlink.core.access import PANEL
from roomlink.core.access_commands import AddKey, BeginSession, EndSession, RemoveKey, SetPerson
from roomlink.core.commands import Actor
from roomlink.errors import BadValue, NotAllowed
from roomlink.runtime.attempts import Subject, network
from roomlink.runtime.credentials import digest, fresh

PANEL_COOKIE_S = 400 * 86400
"""The longest that browsers keep a cookie; it is given anew whenever the panel's page is opened."""


class Credentials(Body):
    """Who signs in."""

    name: Name
    password: str = Field(max_length=limits.PASSWORD_CHARS_MAX)


class FirstEngineer(Credentials):
    """The engineer that the code on the terminal makes; an engineer of that name gets the password."""

    code: Name


class NewPassword(Body):
    """Another password for oneself."""

    password: str = Field(max_length=limits.PASSWORD_CHARS_MAX, description="the present one")
    new: str = Field(max_length=limits.PASSWORD_CHARS_MAX)


class PairingCode(Body):
    """The code that an engineer's screen shows."""

    code: Name


async def get_session(request: Request) -> Response:
    """Who asks, for everybody."""
    who = identity.caller(request)
    is_open = not isinstance(request.app.state.identity, SignIn)
    first = not is_open and identity.sign_in(request).engineer_code.is_open
    shown = {"kind": who.kind, "who": None if who.kind == identity.NOBODY else who.who, "role": who.role or None}
    return Json({**shown, "controller": who.controller, "open": is_open, "first": first})


async def post_session(request: Request) -> Response:
    body = await parse(request, Credentials)
    door, where = identity.sign_in(request), identity.caller(request).where
    subjects = ("name", body.name), ("address", network(where))
    door.attempts.begin(writer(request).clock.stamp(), *subjects)
    person = writer(request).state.people.get(body.name)
    right = await door.passwords.verify(None if person is None else person.secret, body.password)
    # While it was looked at, the password may have been taken away.
    if not right or writer(request).state.people.get(body.name) != person:
        door.refused("password", where, body.name)
        raise NotAllowed("sign-in-refused", "name or password is not right")
    door.attempts.right(*subjects)
    return await _signed_in(request, body.name, where)


async def _signed_in(request: Request, name: str, where: str) -> Response:
    """A fresh session, in place of one that this browser may have had."""
    before = identity.caller(request)
    token = fresh()
    by = Actor(name, "http", None, where)
    receipt = await writer(request).submit(BeginSession(by, name, digest(token)))
    if before.kind == PERSON:
        await writer(request).submit(EndSession(by, "somebody signed in anew there", before.credential))
    answer = Json({"seq": receipt.seq, "zones": [], "who": name, "role": writer(request).state.people[name].role})
    _give(request, answer, SESSION_COOKIE, token, int(limits.SESSION_S_MAX))
    return answer


async def delete_session(request: Request) -> Response:
    """Sign out. Who is not signed in has done so already."""
    await read(request)
    who = identity.caller(request)
    seq = writer(request).engine.seq
    if who.kind == PERSON:
        seq = (await writer(request).submit(EndSession(who.actor, "signed out", who.credential))).seq
    answer = Json({"seq": seq, "zones": []})
    _take(request, answer, SESSION_COOKIE)
    return answer


async def put_password(request: Request) -> Response:
    """Change one's own password; one's other sessions end."""
    body = await parse(request, NewPassword)
    door, who = identity.sign_in(request), identity.caller(request)
    if who.kind != PERSON:
        raise NotAllowed("not-allowed", "only a person has a password")
    checked_password(who.who, body.new, "new")
    subjects: tuple[Subject, ...] = (("name", who.who), ("address", network(who.where)))
    door.attempts.begin(writer(request).clock.stamp(), *subjects)
    if not await door.passwords.verify(writer(request).state.people[who.who].secret, body.password):
        door.refused("password", who.where, who.who)
        raise NotAllowed("sign-in-refused", "the present password is not right")
    door.attempts.right(*subjects)
    secret = await door.passwords.hash(body.new)
    receipt = await writer(request).submit(SetPerson(actor(request), who.who, None, secret, who.credential))
    return Json({"seq": receipt.seq, "zones": []})


async def post_engineer(request: Request) -> Response:
    """Make an engineer with the code that stands on the terminal, and sign in."""
    body = await parse(request, FirstEngineer)
    door, where = identity.sign_in(request), identity.caller(request).where
    _begin_code(request, door, where)
    require_name("name", body.name)
    checked_password(body.name, body.password)
    taken = door.engineer_code.take(body.code)
    if taken is None:
        door.refused("engineer code", where)
        raise NotAllowed("sign-in-refused", "the code is not the one on the terminal, or was used already")
    door.attempts.right(*_code_subjects(where))
    by = Actor(body.name, "http", None, where)
    try:
        secret = await door.passwords.hash(body.password)
        await writer(request).submit(SetPerson(by, body.name, "engineer", secret))
    except BaseException:
        door.engineer_code.give_back(taken)
        raise
    return await _signed_in(request, body.name, where)


async def post_pairing(request: Request) -> Response:
    """Make this browser a panel, with the code that an engineer's screen shows."""
    body = await parse(request, PairingCode)
    door, where = identity.sign_in(request), identity.caller(request).where
    _begin_code(request, door, where)
    pairing = door.pairing.take(body.code, writer(request).clock.stamp())
    # A code is worth as much as who made it.
    if pairing is None or not door.is_engineer(pairing.by):
        door.refused("pairing code", where)
        raise NotAllowed("sign-in-refused", "the code is not right, was used already, or is older than ten minutes")
    door.attempts.right(*_code_subjects(where))
    token = fresh()
    by = Actor(pairing.by, "pairing", None, where)
    command = AddKey(by, PANEL, pairing.name, "operate", digest(token), pairing.controller)
    receipt = await writer(request).submit(command)
    before = door.panel(request)
    if before is not None:
        # One browser is one panel.
        await writer(request).submit(RemoveKey(by, PANEL, before.credential))
    answer = Json({"seq": receipt.seq, "zones": [], "panel": pairing.name, "controller": pairing.controller})
    _give(request, answer, PANEL_COOKIE, token, PANEL_COOKIE_S)
    return answer


def renew(request: Request, answer: Response) -> None:
    """Let a paired panel's browser keep its key for as long as it is used."""
    token = request.cookies.get(identity.cookie_name(PANEL_COOKIE, identity.is_secure(request)))
    if token is not None and identity.caller(request).kind == PANEL:
        _give(request, answer, PANEL_COOKIE, token, PANEL_COOKIE_S)


def checked_password(name: str, password: str, field: str = "password") -> None:
    """Raise ``BadValue`` about ``field`` for a password that is easily guessed by its length or its owner."""
    if len(password) < limits.PASSWORD_CHARS_MIN:
        least = limits.PASSWORD_CHARS_MIN
        raise BadValue(field, f"take {least} characters or more; four words in a row are good", minimum=least)
    if len(set(password)) < 4 or password.lower() in (name.lower(), name.lower() * 2):
        raise BadValue(field, "this one is too easily guessed; four words in a row are good")


def _code_subjects(where: str) -> tuple[Subject, ...]:
    return ("address", network(where)), ("codes", "")


def _begin_code(request: Request, door: SignIn, where: str) -> None:
    door.attempts.begin(writer(request).clock.stamp(), *_code_subjects(where))


def _give(request: Request, answer: Response, cookie: str, token: str, seconds: int) -> None:
    secure = identity.is_secure(request)
    name = identity.cookie_name(cookie, secure)
    answer.set_cookie(name, token, max_age=seconds, path="/", secure=secure, httponly=True, samesite="strict")


def _take(request: Request, answer: Response, cookie: str) -> None:
    secure = identity.is_secure(request)
    name = identity.cookie_name(cookie, secure)
    answer.delete_cookie(name, path="/", secure=secure, httponly=True, samesite="strict")
