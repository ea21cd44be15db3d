"""HTTP handlers for engineers: people, integrations' tokens, paired panels. A secret is shown once, as it is made."""

from __future__ import annotations

from typing import Any

import segno
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import identity
from roomlink.api.encoding import Json
from roomlink.api.models import Body, Name
from roomlink.api.rest import actor, parse, read, require_name, state, writer
from roomlink.api.signing import checked_password
from roomlink.core import access, view
from roomlink.core.access import INTEGRATION, PANEL
from roomlink.core.access_commands import AddKey, EndSession, RemoveKey, RemovePerson, SetPerson
from roomlink.core.checks import require
from roomlink.core.commands import Command
from roomlink.errors import BadValue, Refused
from roomlink.runtime.credentials import digest, fresh

DAY_S = 86400.0


class Person(Body):
    """Somebody new, with a role and a password; or what is to be changed of somebody."""

    role: Name | None = Field(None, description="view, operate, manage or engineer")
    password: str | None = Field(None, max_length=limits.PASSWORD_CHARS_MAX)


class Token(Body):
    """A token for a program."""

    name: Name
    role: Name = Field(description="view, operate, manage or engineer")
    days: int | None = Field(None, ge=1, le=limits.KEY_DAYS_MAX, description="days until it ends; null: never")


class Pairing(Body):
    """A panel to be paired with a controller."""

    controller: Name
    name: Name | None = Field(None, description="what the panel is called; by default after its controller")


async def _done(request: Request, command: Command, **more: Any) -> Response:
    receipt = await writer(request).submit(command)
    return Json({"seq": receipt.seq, **receipt.reply, **more})


# People


async def get_people(request: Request) -> Response:
    identity.sign_in(request)
    now = state(request)
    sessions = [now.sessions[name] for name in now.sessions.live()]
    return Json({"people": {name: _person(now.people[name], name, sessions) for name in sorted(now.people.live())}})


def _person(person: access.Person, name: str, sessions: list[access.Session]) -> dict[str, Any]:
    own = [
        {"since": view.rfc3339(one.began), "last": view.rfc3339(one.last), "where": one.where}
        for one in sessions
        if one.person == name
    ]
    return {"role": person.role, "since": view.rfc3339(person.since), "by": person.by, "sessions": own}


async def put_person(request: Request) -> Response:
    body = await parse(request, Person)
    door = identity.sign_in(request)
    name = request.path_params["person"]
    require_name("person", name)
    secret = None
    if body.password is not None:
        checked_password(name, body.password)
        secret = await door.passwords.hash(body.password)
    return await _done(request, SetPerson(actor(request), name, body.role, secret))


async def delete_person(request: Request) -> Response:
    await read(request)
    identity.sign_in(request)
    return await _done(request, RemovePerson(actor(request), request.path_params["person"]))


async def delete_sessions(request: Request) -> Response:
    """Sign somebody out everywhere."""
    await read(request)
    identity.sign_in(request)
    by = actor(request)
    return await _done(request, EndSession(by, f"signed out by {by.who}", None, request.path_params["person"]))


# Tokens and panels


def _keys(request: Request, kind: str) -> dict[str, Any]:
    now = state(request)
    return {name: _key(now.keys[name]) for name in sorted(now.keys.live()) if now.keys[name].kind == kind}


def _key(key: access.Key) -> dict[str, Any]:
    of_kind = {"controller": key.controller} if key.kind == PANEL else {"role": key.role}
    times = {
        name: None if at is None else view.rfc3339(at)
        for name, at in (("since", key.since), ("last", key.last), ("until", key.until))
    }
    return {**of_kind, **times, "by": key.by, "where": key.where}


async def get_tokens(request: Request) -> Response:
    identity.sign_in(request)
    return Json({"tokens": _keys(request, INTEGRATION)})


async def post_token(request: Request) -> Response:
    body = await parse(request, Token)
    identity.sign_in(request)
    require_name("name", body.name)
    token = fresh()
    until = None if body.days is None else writer(request).clock.stamp() + body.days * DAY_S
    command = AddKey(actor(request), INTEGRATION, body.name, body.role, digest(token), None, until)
    return await _done(request, command, token=token)


async def delete_token(request: Request) -> Response:
    await read(request)
    identity.sign_in(request)
    return await _done(request, RemoveKey(actor(request), INTEGRATION, request.path_params["token"]))


async def get_panels(request: Request) -> Response:
    identity.sign_in(request)
    return Json({"panels": _keys(request, PANEL)})


async def delete_panel(request: Request) -> Response:
    await read(request)
    identity.sign_in(request)
    return await _done(request, RemoveKey(actor(request), PANEL, request.path_params["panel"]))


async def post_pairing_code(request: Request) -> Response:
    """A code for one panel, as text and as a picture that leads a camera to the page that takes it."""
    body = await parse(request, Pairing)
    door = identity.sign_in(request)
    require("controller", body.controller, state(request).spec.controllers)
    now = writer(request).clock.stamp()
    taken = {*state(request).people.live(), *state(request).keys.live(), *door.pairing.names(now)}
    if body.name is not None:
        require_name("name", body.name)
        if body.name in taken or (body.name in state(request).spec.controllers and body.name != body.controller):
            raise Refused("exists", f"the name {body.name} is taken: choose another one")
    code, pairing = door.pairing.make(
        body.controller, body.name or _free(body.controller, taken), actor(request).who, now
    )
    # Behind the mark of a fragment: browsers send that to nobody, and nobody logs it.
    url = f"{str(request.base_url).rstrip('/')}/pair#{code}"
    picture = segno.make(url, error="m").svg_data_uri(scale=6, border=4, dark="#000", light="#fff")
    shown = {"code": code, "url": url, "picture": picture, "until": view.rfc3339(pairing.until)}
    return Json({"seq": writer(request).engine.seq, "zones": [], "panel": pairing.name, **shown})


def _free(controller: str, taken: set[str]) -> str:
    """The controller's name, or with the first number that makes it one of its own."""
    number = 1
    name = controller
    while name in taken:
        number += 1
        name = f"{controller}-{number}"
    if len(name) > limits.NAME_CHARS_MAX:
        raise BadValue("name", "give the panel a name of its own: its controller's is too long")
    return name
