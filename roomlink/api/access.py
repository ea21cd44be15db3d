"""Who may speak to the service: programs, and its own pages. No page of another site may act through a browser."""

from __future__ import annotations

from starlette.datastructures import Headers

from roomlink.errors import CallerFault


def refuse_foreign(headers: Headers) -> None:
    """Raise a 403 for a request that a page of another site makes; browsers say so in Origin (RFC 6455 §10.2)."""
    origin = headers.get("origin")
    if origin is not None and origin.split("://", 1)[-1] != headers.get("host"):
        fault = CallerFault("foreign-origin", f"pages of {origin} may not use this service")
        fault.status = 403
        raise fault
