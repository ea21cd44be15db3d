"""Which venues are served where, and what only the node that writes a venue can tell."""

from __future__ import annotations

from functools import wraps
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from roomlink.api.encoding import Json
from roomlink.api.guarding import Handler
from roomlink.api.rest import writer
from roomlink.errors import CallerFault
from roomlink.runtime.cluster.member import Member
from roomlink.runtime.cluster.presence import Presence, told_of


async def get_venues(request: Request) -> Response:
    """All venues of the cluster with their nodes and their health; one node of one venue where there is no cluster."""
    presence: Presence | None = request.app.state.presence
    if presence is not None:
        return Json({"venues": presence.venues()})
    venue = writer(request)
    told: dict[str, Any] = told_of(venue, address=str(request.base_url).rstrip("/"), writes=True)
    return Json({"venues": {venue.state.spec.id: {"name": told["name"], "nodes": {"this": told}}}})


def on_the_writer(handler: Handler) -> Handler:
    """For what only the node that drives the devices knows: any other one says where that is."""

    @wraps(handler)
    async def run(request: Request) -> Response:
        venue = writer(request)
        if isinstance(venue, Member) and not venue.leading:
            presence: Presence = request.app.state.presence
            address = presence.writer()
            fault = CallerFault("other-node", f"only the node that writes the venue knows: {address or 'none now'}")
            fault.status, fault.members = 421, {"address": address}
            raise fault
        return await handler(request)

    return run
