"""HTTP handlers for locks that people set, and for taking the lead; with the rows of their routes."""

from __future__ import annotations

import contextlib
from typing import Any

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import identity
from roomlink.api.encoding import Json
from roomlink.api.models import Body, Name
from roomlink.api.rest import actor, carry_out, new_name, parse, read, state, writer
from roomlink.api.row import KEY, Row
from roomlink.core import locking
from roomlink.core.access import RANK
from roomlink.core.access_commands import NoteRefused
from roomlink.core.checks import require
from roomlink.core.commands import Actor, ReleaseLock, SetLock, TakeLead
from roomlink.errors import NotAllowed, RoomlinkError
from roomlink.runtime.pins import Pins

RELEASES = "manage"
"""The least role that sets locks, and releases them without their PIN."""
_PIN: dict[str, Any] = {
    "min_length": limits.PIN_DIGITS_MIN,
    "max_length": limits.PIN_DIGITS_MAX,
    "pattern": "^[0-9]+$",
}


class Lock(Body):
    """What to lock: a zone or a controller, or some controls of it. With neither, as configured under that name."""

    zone: Name | None = None
    controller: Name | None = None
    controls: list[Name] = Field(default_factory=list, description="these alone; all where none is named")
    for_: float | None = Field(None, alias="for", description="seconds until it ends by itself; null: until released")
    pin: str | None = Field(None, **_PIN, description="4 to 12 digits that release it, also for those without a role")
    why: str = Field("", max_length=limits.LOCK_WHY_CHARS_MAX, description="shown on panels")


class Release(Body):
    """The PIN; without it the role must do."""

    pin: str | None = Field(None, min_length=1, max_length=limits.PIN_DIGITS_MAX)


def _pins(request: Request) -> Pins:
    found: Pins = request.app.state.pins
    return found


async def get_locks(request: Request) -> Response:
    return Json({"locks": locking.view(state(request), may_see=identity.may_see(request))})


async def put_lock(request: Request) -> Response:
    body = await parse(request, Lock, optional=True)
    name = new_name(request, "lock")
    secret = "" if body.pin is None else await _pins(request).hash(body.pin)
    command = SetLock(
        actor(request), name, body.zone, body.controller, tuple(body.controls), body.for_, secret, body.why
    )
    # The PIN is left out of what an Idempotency-Key stands for: a digest of so few digits would tell it.
    return await carry_out(request, command, body.model_copy(update={"pin": None}))


async def delete_lock(request: Request) -> Response:
    await read(request)
    return await carry_out(request, ReleaseLock(actor(request), request.path_params["lock"], entitled=True))


async def post_release(request: Request) -> Response:
    """Whoever gives a PIN means it: a wrong one is not made good by a role."""
    body = await parse(request, Release, optional=True)
    name, who = request.path_params["lock"], identity.caller(request)
    require("lock", name, list(state(request).locks.live()))
    if body.pin is None:
        entitled = RANK.get(who.role, -1) >= RANK[RELEASES]
        return await carry_out(request, ReleaseLock(actor(request), name, entitled))
    secret, now = state(request).locks[name].secret, writer(request).clock.stamp()
    if not await _pins(request).right(name, secret, body.pin, who.where, now):
        _note_refused(request, name, who.where)
        raise NotAllowed("pin-refused", f"that is not the PIN of {name}", lock=name)
    return await carry_out(request, ReleaseLock(actor(request), name, secret=secret))


def _note_refused(request: Request, lock: str, where: str) -> None:
    """Put down that a PIN was wrong, without it; beyond a bound such tries are only counted."""
    more = _pins(request).attempts.to_tell(writer(request).clock.stamp())
    if more is not None:
        with contextlib.suppress(RoomlinkError):
            note = NoteRefused(Actor("nobody", "http", None, where), f"PIN of {lock}", "", more)
            writer(request).put(note).add_done_callback(lambda done: done.exception())


async def post_lead(request: Request) -> Response:
    await read(request)
    return await carry_out(request, TakeLead(actor(request), request.path_params["controller"]))


LOCKS: tuple[Row, ...] = (
    Row("GET", "/locks", get_locks, "What is locked by hand: by whom, until when", role="view", panel=True),
    Row(
        "PUT", "/locks/{lock}", put_lock, "Lock a zone, a controller or some controls of either",
        Lock, True, statuses=(404, 409, 422), role=RELEASES,
    ),
    Row(
        "DELETE", "/locks/{lock}", delete_lock, "Release a lock", None, True, statuses=(404, 409), role=RELEASES,
    ),
    Row(
        "POST", "/locks/{lock}/release", post_release, "Release a lock by its PIN, or by role",
        Release, True, headers=KEY, statuses=(403, 404, 409, 422, 429), role="view", panel=True,
    ),
    Row(
        "POST", "/controllers/{controller}/lead", post_lead, "Take the lead of the controller's group",
        None, True, headers=KEY, statuses=(404, 409), role="operate", panel=True,
    ),
)  # fmt: skip
