"""HTTP handlers: each turns a request into a command or a view, and no more. ``routes.py`` says which is where."""

from __future__ import annotations

import asyncio
import hashlib
import re
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import identity, models, problems
from roomlink.api.encoding import Json, shown_event
from roomlink.api.reading import entity_tags, flag, instant
from roomlink.core import scenes, travel_view, view, wall_view
from roomlink.core.apply import apply
from roomlink.core.checks import require
from roomlink.core.commands import (
    Act,
    Actor,
    Command,
    LinkZone,
    RecallScene,
    RemoveScene,
    ReportWall,
    SaveScene,
    Unlink,
    Wake,
)
from roomlink.core.decide import Decision, decide
from roomlink.core.state import State
from roomlink.errors import BadRequest, BadValue, JournalFailed
from roomlink.runtime.engine import Engine
from roomlink.runtime.history import view_at
from roomlink.runtime.safety import towards_safe
from roomlink.runtime.simulated import SimulatedWalls
from roomlink.runtime.writer import Receipt, Writer
from roomlink.venue.fields import NAME_PATTERN

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
    """Who acts over HTTP. Raises ``NotAllowed`` for who was signed out since the request began."""
    return identity.standing(request).actor


def is_dry_run(request: Request) -> bool:
    return flag("dry_run", request.query_params.get("dry_run", "false"))


def foreseen(engine: Engine, command: Command, now: float) -> Decision:
    """What a command would do at ``now``: as if carried out, after whatever is due by then. Nothing is kept of it.

    Raises ``CallerFault`` like the real thing. It is foreseen from what is decided; a view shows what is durable.
    """
    ahead = engine.ahead
    if engine.deadline is not None and engine.deadline <= now:
        ahead = ahead.copy()
        for event in decide(ahead, Wake(), now).events:
            apply(ahead, event)
    return decide(ahead, command, now)


async def carry_out(request: Request, command: Command, body: BaseModel | None = None) -> Response:
    """Submit, or with ``dry_run`` only tell what would happen."""
    venue = writer(request)
    if is_dry_run(request):
        decision = foreseen(venue.engine, command, venue.clock.stamp())
        now = venue.clock.stamp()
        events = [shown_event(event, venue.state, now) for event in decision.events]
        return Json({"dry_run": True, "seq": venue.engine.seq, **decision.reply, "events": events})
    key = request.headers.get("idempotency-key")
    digest = ""
    if key is not None:
        if not 0 < len(key) <= limits.IDEMPOTENCY_KEY_CHARS_MAX:
            raise BadValue("Idempotency-Key", f"has 1 to {limits.IDEMPOTENCY_KEY_CHARS_MAX} characters")
        # What was not given is left out: a null is another payload than nothing.
        content = "" if body is None else body.model_dump_json(by_alias=True, exclude_unset=True)
        said = f"{request.method} {request.url.path}?{request.url.query}\n{content}"
        digest = hashlib.sha256(said.encode()).hexdigest()
    receipt = await _durable(venue, command, key, digest)
    headers = {"ETag": f'"{receipt.reply["etag"]}"'} if "etag" in receipt.reply else None
    return Json({"seq": receipt.seq, **receipt.reply}, headers=headers)


async def _durable(venue: Writer, command: Command, key: str | None, digest: str) -> Receipt:
    """Submit. What goes towards safe is acted on at once and waits for a failing disk: that is told, not waited for."""
    if not towards_safe(command):
        return await venue.submit(command, key, digest)
    work = asyncio.ensure_future(venue.submit(command, key, digest))
    await asyncio.wait({work}, timeout=limits.SAFE_ANSWER_S)
    if not work.done() and venue.owing:
        work.add_done_callback(lambda done: done.cancelled() or done.exception())
        raise JournalFailed(
            "it was acted on at once, and is put down as soon as the journal takes entries again: make room, or see to"
            " the disk"
        )
    return await work


# Views


async def get_venue(request: Request) -> Response:
    return Json(view.venue(state(request)))


async def get_state(request: Request) -> Response:
    venue = writer(request)
    at = request.query_params.get("at")
    if at is not None:
        then, now = instant("at", at), venue.clock.stamp()
        return Json(await view_at(venue.journal, then, now, venue.state, may_see=identity.may_see(request)))
    seen = view.whole(venue.state, venue.engine.seq, venue.clock.stamp(), may_see=identity.may_see(request))
    return Json(seen)


async def get_zone(request: Request) -> Response:
    zone = request.path_params["zone"]
    require("zone", zone, state(request).spec.zones)
    now = writer(request).clock.stamp()
    return Json(view.zone(state(request), zone, now, may_see=identity.may_see(request)))


async def get_controller(request: Request) -> Response:
    controller = request.path_params["controller"]
    require("controller", controller, state(request).spec.controllers)
    # Who may open its panel sees what that shows; all others what everybody may.
    seen = view.face if identity.may_operate(request) else view.watched_face
    return Json(seen(state(request), controller, writer(request).clock.stamp()))


async def get_partitions(request: Request) -> Response:
    return Json({"partitions": wall_view.partitions(state(request))})


async def get_groups(request: Request) -> Response:
    now = state(request)
    joins = travel_view.joins(now)
    # What joins zones was called an overflow before there were any that go one way: it is told under both names.
    flows = {"overflows": joins, "joins": joins, "one_way": travel_view.one_ways(now)}
    return Json({**wall_view.together(now), **flows})


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
    return await carry_out(request, command, body)


async def post_controller_action(request: Request) -> Response:
    body = await parse(request, models.Action)
    command = _act(body, actor(request), request.path_params["controller"], None)
    return await carry_out(request, command, body)


async def put_link(request: Request) -> Response:
    await read(request)
    where = request.path_params
    return await carry_out(request, LinkZone(actor(request), where["controller"], where["zone"]))


async def delete_link(request: Request) -> Response:
    where = request.path_params
    return await carry_out(request, Unlink(actor(request), where["controller"], where.get("zone")))


async def put_partition(request: Request) -> Response:
    body = await parse(request, models.Position)
    if body.position is not None and body.contacts is not None:
        raise BadValue("position", "give either `position` or `contacts`")
    if body.position is None and body.contacts is None and body.pin != 0:
        raise BadValue("position", "give `position`, or `contacts`, or take a pin away with `pin` 0")
    if body.contacts is not None and body.pin:
        raise BadValue("pin", "a pin states a `position` against the contacts: give one")
    contacts = None if body.contacts is None else (body.contacts.closed, body.contacts.stacked)
    command = ReportWall(actor(request), request.path_params["partition"], body.position, contacts, body.pin)
    return await carry_out(request, command, body)


async def put_simulated(request: Request) -> Response:
    body = await parse(request, models.Simulated)
    walls: SimulatedWalls = request.app.state.simulated
    partition = request.path_params["partition"]
    leaving = walls.leaving(state(request).spec, partition, body.position)
    done = await carry_out(request, leaving, body)
    if not is_dry_run(request):
        walls.run(partition, body.position)
    return done


def new_name(request: Request, kind: str) -> str:
    """A name that a caller gives to something new: by the rule of the configuration."""
    name: str = request.path_params[kind]
    require_name(kind, name)
    return name


def require_name(kind: str, name: str) -> None:
    """Raise ``BadValue`` for what is no name."""
    if len(name) > limits.NAME_CHARS_MAX:
        raise BadValue(kind, f"a name has at most {limits.NAME_CHARS_MAX} characters", maximum=limits.NAME_CHARS_MAX)
    if not re.fullmatch(NAME_PATTERN[1:-1], name):
        right = "use lower-case letters, digits and hyphens, beginning with a letter"
        raise BadValue(kind, f"{name!r} is not a name: {right}", pattern=NAME_PATTERN)


async def post_recall(request: Request) -> Response:
    body = await parse(request, models.Recall, optional=True)
    zones = None if body.zones is None else tuple(body.zones)
    scene = request.path_params["scene"]
    command = RecallScene(actor(request), scene, zones, body.controller, body.group, body.over)
    return await carry_out(request, command, body)


async def put_scene(request: Request) -> Response:
    body = await parse(request, models.Scene)
    content = body.model_dump(exclude={"capture"}, exclude_none=True)
    # A null in values is "none on"; exclude_none above is about members that were not given.
    content.update({k: v for k in ("values", "zones") if (v := getattr(body, k)) is not None})
    command = SaveScene(
        actor(request),
        new_name(request, "scene"),
        content,
        tuple(body.capture) if body.capture else None,
        entity_tags(request.headers.get("if-match")),
        request.headers.get("if-none-match") == "*",
    )
    return await carry_out(request, command, body)


async def delete_scene(request: Request) -> Response:
    tags = entity_tags(request.headers.get("if-match"))
    return await carry_out(request, RemoveScene(actor(request), request.path_params["scene"], tags))
