"""Who may speak to the service: programs, and its own pages. No page of another site may act through a browser."""

from __future__ import annotations

from collections.abc import Collection

from starlette.datastructures import Headers
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Receive, Scope, Send

from roomlink.api import identity, problems
from roomlink.errors import CallerFault
from roomlink.runtime.metrics import Metrics

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
"""The names by which this machine calls itself."""


def refuse_foreign(headers: Headers, *, secure: bool = False) -> None:
    """Raise a 403 for a request that a page of another site makes.

    Browsers say so in Origin (RFC 6455 §10.2) or Sec-Fetch-Site, and no page can keep them from it; a request with
    neither comes from no browser. Over TLS (``secure``) a page that came without it is another site as well.
    """
    origin = headers.get("origin")
    scheme, _, place = (origin or "").rpartition("://")
    foreign = origin is not None and (place != headers.get("host") or (secure and scheme != "https"))
    if foreign or headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
        whose = f"pages of {origin}" if origin is not None else "pages of another site"
        fault = CallerFault("foreign-origin", f"{whose} may not use this service")
        fault.status = 403
        raise fault


def refuse_foreign_host(headers: Headers, hosts: Collection[str]) -> None:
    """Raise a 403 for a request that does not ask for one of ``hosts``, on whatever port.

    A page of another site can let its own name lead to this machine; the browser then takes us for that site, and an
    Origin that agrees with Host proves nothing. The name in Host still tells.
    """
    given = headers.getlist("host")
    if not given or any(_without_port(host) not in hosts for host in given):
        named = ", ".join(given) or "no host at all"
        fault = CallerFault("foreign-host", f"this service is not {named}: ask for {' or '.join(hosts)}")
        fault.status = 403
        raise fault


def _without_port(host: str) -> str:
    name, colon, port = host.rpartition(":")
    # An address of version 6 stands in brackets, so that its own colons are none of the port's.
    return (name if colon and port.isdecimal() and not host.endswith("]") else host).lower()


class Hosts:
    """Lets through what asks for one of ``hosts``, and from other machines over TLS: all requests, and sockets."""

    def __init__(self, app: ASGIApp, hosts: Collection[str], metrics: Metrics) -> None:
        self.app, self.hosts, self.metrics = app, hosts, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] in ("http", "websocket"):
            try:
                refuse_foreign_host(Headers(scope=scope), self.hosts)
                identity.refuse_plain(HTTPConnection(scope))
            except CallerFault as fault:
                self.metrics.problem(fault.kind)
                await problems.response(fault)(scope, receive, send)
                return
        await self.app(scope, receive, send)
