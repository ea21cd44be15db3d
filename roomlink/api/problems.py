"""RFC 9457 problems: one shape for every refusal, on HTTP and on sockets."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError
from starlette.responses import Response

from roomlink.api.encoding import dumps
from roomlink.errors import BadRequest, BadValue, CallerFault, JournalFailed, RoomlinkError

BASE = "/problems/"

KINDS: dict[str, str] = {
    "unknown-name": "The venue has no zone, control, controller, partition or scene of that name; see `allowed`.",
    "bad-value": "A field holds a value that is not allowed; `field` names it and the other members say what is.",
    "bad-request": "The request or message cannot be read.",
    "nothing-linked": "The controller reaches no zone with that control, or the scene none of the zones asked for.",
    "locked": "The controller is locked while another leads its group.",
    "overridden": "A life-safety override or lockout stands; orders are refused until it clears.",
    "needs-for": "A held action over HTTP must say for how long, as no finger can be seen.",
    "undecided": "The linked zones disagree and the feedback policy shows no value to align to.",
    "out-of-reach": "The controller may not link that zone by hand.",
    "not-simulated": "Only simulated walls can be moved from here: real ones are sensed, never driven.",
    "needs-if-match": "Something would be replaced without saying which version was seen.",
    "changed": "It was changed meanwhile.",
    "exists": "It exists already.",
    "foreign-origin": "A page of another site may not use the sockets of this service.",
    "too-large": "The request is larger than allowed.",
    "not-found": "There is nothing at this address.",
    "wrong-method": "This address does not take that method.",
    "journal-failed": "The journal could not store the entry; nothing of the request happened. Try again.",
    "our-fault": "Something went wrong on our side; it is in the log.",
}
"""Every kind of problem, with what it means; served at its ``type``."""


def members(error: RoomlinkError) -> dict[str, Any]:
    """The problem object of an error."""
    if isinstance(error, CallerFault):
        head = {"type": BASE + error.kind, "title": error.title, "status": error.status, "detail": error.detail}
        return {**error.members, **head}
    kind, status = ("journal-failed", 503) if isinstance(error, JournalFailed) else ("our-fault", 500)
    return {"type": BASE + kind, "title": "The service could not do it", "status": status, "detail": str(error)}


def response(error: RoomlinkError) -> Response:
    data = members(error)
    headers = {"Retry-After": "1"} if data["status"] == 503 else None
    return Response(dumps(data), data["status"], headers, "application/problem+json")


def of_validation(error: ValidationError) -> CallerFault:
    """The first thing wrong with a body as one problem, all of them in ``errors``."""
    found = [
        {
            "field": ".".join(str(part) for part in e["loc"] if not isinstance(part, int) or part) or "body",
            "detail": e["msg"],
        }
        for e in error.errors(include_url=False, include_input=False, include_context=False)
    ]
    if found[0]["detail"].startswith("Invalid JSON"):
        return BadRequest("bad-request", f"the body is no JSON: {found[0]['detail']}")
    return BadValue(found[0]["field"], found[0]["detail"], errors=found)
