"""The Starlette application of one venue."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import structlog
from starlette.applications import Starlette
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import WebSocketRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from roomlink.api import access, feed, pages, problems, socket
from roomlink.api.identity import OPEN_TO_ALL, Identity
from roomlink.api.openapi import BASE
from roomlink.api.routes import ROUTES, routes
from roomlink.errors import BadRequest, OurFault
from roomlink.runtime.cluster.presence import Presence
from roomlink.runtime.pins import Pins
from roomlink.runtime.simulated import SimulatedWalls
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

CSP = "Content-Security-Policy"
HEADERS = {
    # The kit needs nothing from elsewhere, and no page of another site may frame a panel.
    CSP: (
        "default-src 'self'; style-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none';"
        " form-action 'self'; frame-ancestors 'self'"
    ),
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=(), serial=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    # The files change with the service, and a stale kit against a new service is worse than a revalidation.
    "Cache-Control": "no-cache",
}

OVER_TLS = {"Strict-Transport-Security": "max-age=31536000"}
"""From then on browsers ask for nothing of this host without TLS."""


class Headers:
    """Puts ``HEADERS`` on every HTTP response that does not say otherwise."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                more = {**(OVER_TLS if scope["scheme"] == "https" else {}), **_elsewhere(scope)}
                for name, value in (HEADERS | more).items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, with_headers if scope["type"] == "http" else send)


def _elsewhere(scope: Scope) -> dict[str, str]:
    """A page whose node is gone may ask whether another one of the venue answers, and no other server."""
    presence: Presence | None = scope["app"].state.presence
    addresses = [] if presence is None else presence.elsewhere()
    if not addresses:
        return {}
    return {CSP: f"{HEADERS[CSP]}; connect-src 'self' {' '.join(addresses)}"}


STATUS_KINDS = {404: "not-found", 405: "wrong-method"}


async def _http_problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    fault = BadRequest(STATUS_KINDS.get(error.status_code, "bad-request"), f"{request.url.path}: {error.detail}")
    fault.status = error.status_code
    fault.title = error.detail
    found = problems.response(fault)
    found.headers.update(error.headers or {})
    return found


async def _our_fault(request: Request, error: Exception) -> Response:
    log.error("request failed", path=request.url.path, error=repr(error))
    return problems.response(OurFault("something went wrong on our side; it is in the log"))


def application(
    writer: Writer,
    simulated: SimulatedWalls,
    *,
    hosts: Collection[str] = access.LOOPBACK,
    identity: Identity = OPEN_TO_ALL,
    **state: Any,
) -> Starlette:
    """Everything on one port: the API, the sockets and the pages, for those who ask for one of ``hosts``.

    ``identity`` tells who asks; without sign-in everybody may do everything.
    """
    app = Starlette(
        routes=[
            *routes(ROUTES, BASE),
            *(WebSocketRoute(BASE + path, serve) for path, (serve, _) in socket.SOCKETS.items()),
            *pages.routes(),
        ],
        middleware=[Middleware(Headers), Middleware(access.Hosts, hosts, writer.metrics)],
        exception_handlers={HTTPException: _http_problem, Exception: _our_fault},
    )
    app.state.writer = writer
    app.state.identity = identity
    app.state.simulated = simulated
    app.state.streams = feed.Streams()
    app.state.pins = Pins()
    app.state.sockets = socket.Sockets()
    writer.hooks.append(app.state.sockets.heard)
    writer.overdue.append(app.state.sockets.overdue)
    app.state.folder = app.state.outputs = app.state.bench = app.state.feeds = app.state.webhooks = None
    app.state.data = app.state.presence = app.state.lookout = None
    app.state.node = ""
    for name, value in state.items():
        setattr(app.state, name, value)
    return app
