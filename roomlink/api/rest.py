"""HTTP handlers: each turns a request into a command or a view, and no more. ``routes.py`` says which is where."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import models, problems
from roomlink.api.encoding import Json, shown_event
from roomlink.core import scenes, view
from roomlink.core.checks import require
from roomlink.core.commands import (
    Act,
    Actor,
    Command,
    JoinZones,
    LinkZone,
    RecallScene,
    ReportWall,
    SaveScene,
    Unlink,
)
from roomlink.core.decide import decide
from roomlink.core.state import State
from roomlink.errors import BadRequest, BadValue
from roomlink.runtime.history import view_at
from roomlink.runtime.writer import Writer

B = TypeVar("B", bound=BaseModel)


def writer(request: Request) -> Writer:
    found: Writer = request.app.state.writer
    return found


def state(request: Request) -> State:
    return writer(request).state


async def read(request: Request) -> bytes:
    """The body, within bounds."""
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > limits.BODY_BYTES_MAX:
            fault = BadRequest("too-large", f"a body has at most {limits.BODY_BYTES_MAX} bytes")
            fault.status = 413
            raise fault
    return bytes(body)


async def parse(request: Request, model: type[B], *, optional: bool = False) -> B:
    body = await read(request)
    if optional and not body.strip():
        body = b"{}"
    try:
        return model.model_validate_json(body)
    except ValidationError as error:
        raise problems.of_validation(error) from None


def actor(request: Request) -> Actor:
    """Who acts over HTTP; until people sign in it is whoever reaches the port."""
    host = request.client.host if request.client else "local"
    return Actor(f"http {host}", "http")


async def carry_out(request: Request, command: Command, body: bytes = b"") -> Response:
    """Submit, or with ``dry_run`` only tell what would happen."""
    venue = writer(request)
    if flag(request, "dry_run"):
        decision = decide(venue.engine.ahead, command, venue.clock.stamp())
        events = [shown_event(event) for event in decision.events]
        return Json({"dry_run": True, "seq": venue.engine.seq, **decision.reply, "events": events})
    key = request.headers.get("idempotency-key")
    digest = ""
    if key is not None:
        if not 0 < len(key) <= limits.IDEMPOTENCY_KEY_CHARS_MAX:
            raise BadValue("Idempotency-Key", f"has 1 to {limits.IDEMPOTENCY_KEY_CHARS_MAX} characters")
        said = f"{request.method} {request.url.path}?{request.url.query}\n".encode() + body
        digest = hashlib.sha256(said).hexdigest()
    receipt = await venue.submit(command, key, digest)
    headers = {"ETag": f'"{receipt.reply["etag"]}"'} if "etag" in receipt.reply else None
    return Json({"seq": receipt.seq, **receipt.reply}, headers=headers)


def flag(request: Request, name: str) -> bool:
    value = request.query_params.get(name, "false").lower()
    if value not in ("true", "false"):
        raise BadValue(name, f"{value!r} is neither true nor false", allowed=["true", "false"])
    return value == "true"


def instant(field: str, text: str) -> float:
    """An RFC 3339 time as a stamp."""
    try:
        # A "+" of an offset that was not escaped in a URL arrives as a space.
        when = datetime.fromisoformat(text.strip().replace(" ", "+"))
    except ValueError:
        raise BadValue(field, f"{text!r} is no RFC 3339 time such as 2026-05-01T19:42:00Z") from None
    if when.tzinfo is None:
        raise BadValue(field, f"{text!r} has no offset: write Z or such as -03:00 after it")
    return when.astimezone(UTC).timestamp()


# Views


async def get_venue(request: Request) -> Response:
    return Json(view.venue(state(request)))


async def get_state(request: Request) -> Response:
    venue = writer(request)
    at = request.query_params.get("at")
    if at is not None:
        return Json(await view_at(venue.journal, instant("at", at), venue.clock.stamp()))
    return Json(view.whole(venue.state, venue.engine.seq, venue.clock.stamp()))


async def get_zone(request: Request) -> Response:
    zone = request.path_params["zone"]
    require("zone", zone, state(request).spec.zones)
    return Json(view.zone(state(request), zone, writer(request).clock.stamp()))


async def get_controller(request: Request) -> Response:
    controller = request.path_params["controller"]
    require("controller", controller, state(request).spec.controllers)
    return Json(view.face(state(request), controller, writer(request).clock.stamp()))


async def get_partitions(request: Request) -> Response:
    return Json({"partitions": view.partitions(state(request))})


async def get_groups(request: Request) -> Response:
    overflows = {name: list(state(request).overflows[name]) for name in state(request).overflows.live()}
    return Json({"groups": view.groups(state(request)), "overflows": overflows})


async def get_scenes(request: Request) -> Response:
    return Json({"scenes": view.scenes_of(state(request))})


async def get_scene(request: Request) -> Response:
    name = request.path_params["scene"]
    require("scene", name, scenes.names(state(request)))
    scene = view.scenes_of(state(request))[name]
    return Json(scene, headers={"ETag": f'"{scene["etag"]}"'})


# Writes


def _act(body: models.Action, by: Actor, controller: str | None, zone: str | None) -> Act:
    return Act(
        by,
        body.control,
        body.do,
        controller,
        zone,
        body.value,
        body.over,
        body.for_,
        given="value" in body.model_fields_set,
    )


async def post_zone_action(request: Request) -> Response:
    body = await parse(request, models.Action)
    command = _act(body, actor(request), None, request.path_params["zone"])
    return await carry_out(request, command, body.model_dump_json().encode())


async def post_controller_action(request: Request) -> Response:
    body = await parse(request, models.Action)
    command = _act(body, actor(request), request.path_params["controller"], None)
    return await carry_out(request, command, body.model_dump_json().encode())


async def put_link(request: Request) -> Response:
    await read(request)
    where = request.path_params
    return await carry_out(request, LinkZone(actor(request), where["controller"], where["zone"]))


async def delete_link(request: Request) -> Response:
    where = request.path_params
    return await carry_out(request, Unlink(actor(request), where["controller"], where.get("zone")))


async def put_partition(request: Request) -> Response:
    body = await parse(request, models.Position)
    if (body.position is None) == (body.contacts is None) and body.pin != 0:
        raise BadValue("position", "give either `position` or `contacts`")
    contacts = None if body.contacts is None else (body.contacts.closed, body.contacts.stacked)
    command = ReportWall(actor(request), request.path_params["partition"], body.position, contacts, body.pin)
    return await carry_out(request, command, body.model_dump_json().encode())


async def put_simulated(request: Request) -> Response:
    body = await parse(request, models.Simulated)
    request.app.state.simulated.move(state(request).spec, request.path_params["partition"], body.position)
    return Json({"seq": writer(request).engine.seq, "zones": []})


async def put_overflow(request: Request) -> Response:
    body = await parse(request, models.Zones)
    if not body.zones:
        raise BadValue("zones", "an overflow joins at least two zones; DELETE ends it", minimum=2)
    name = request.path_params["overflow"]
    if len(name) > limits.NAME_CHARS_MAX:
        raise BadValue("overflow", f"a name has at most {limits.NAME_CHARS_MAX} characters")
    command = JoinZones(actor(request), name, tuple(body.zones))
    return await carry_out(request, command, body.model_dump_json().encode())


async def delete_overflow(request: Request) -> Response:
    name = request.path_params["overflow"]
    require("overflow", name, list(state(request).overflows.live()))
    return await carry_out(request, JoinZones(actor(request), name))


async def post_recall(request: Request) -> Response:
    body = await parse(request, models.Recall, optional=True)
    zones = None if body.zones is None else tuple(body.zones)
    scene = request.path_params["scene"]
    command = RecallScene(actor(request), scene, zones, body.controller, body.group, body.over)
    return await carry_out(request, command, body.model_dump_json().encode())


async def put_scene(request: Request) -> Response:
    body = await parse(request, models.Scene)
    content = body.model_dump(exclude={"capture"}, exclude_none=True)
    # A null in values is "none on"; exclude_none above is about members that were not given.
    content.update({k: v for k in ("values", "zones") if (v := getattr(body, k)) is not None})
    command = SaveScene(
        actor(request),
        request.path_params["scene"],
        content,
        tuple(body.capture) if body.capture else None,
        entity_tags(request.headers.get("if-match")),
        request.headers.get("if-none-match") == "*",
    )
    return await carry_out(request, command, body.model_dump_json().encode())


def entity_tags(header: str | None) -> tuple[str, ...] | None:
    """The tags of an If-Match. Weak ones are left out: the comparison is the strong one (RFC 9110 §13.1.1)."""
    if header is None:
        return None
    tags = [tag.strip() for tag in header.split(",")]
    return tuple(tag.strip('"') for tag in tags if tag == "*" or tag.startswith('"'))
