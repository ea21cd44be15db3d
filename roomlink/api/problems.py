"""RFC 9457 problems: one shape for every refusal, on HTTP and on sockets."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError
from starlette.responses import Response

from roomlink.api.encoding import dumps
from roomlink.errors import BadRequest, BadValue, CallerFault, JournalFailed, RoomlinkError, TooMany

BASE = "/problems/"

KINDS: dict[str, str] = {
    "unknown-name": "The venue has no zone, control, controller, partition or scene of that name; see `allowed`.",
    "bad-value": "A field holds a value that is not allowed; `field` names it and the other members say what is.",
    "bad-request": "The request or message cannot be read.",
    "nothing-linked": "The controller reaches no zone with that control, or the scene none of the zones asked for.",
    "locked": "The controller is locked while another leads its group, or by hand; `lock` names such a lock.",
    "pin-refused": "The PIN is not right.",
    "never-leads": "The controller is not in the lead order; `allowed` lists those that are.",
    "overridden": "A life-safety override or lockout stands; orders are refused until it clears.",
    "needs-for": "A held action over HTTP must say for how long, as no finger can be seen.",
    "too-late": "What was to be held waited while its panel gave no sign of life, so that nothing began.",
    "undecided": "The linked zones disagree and the feedback policy shows no value to align to.",
    "out-of-reach": "The controller may not link that zone by hand, or the microphone is not for it.",
    "taken": "The name is that of a join, or of an overflow that goes one way: end that first.",
    "joined": "The zones are one room now, so that nothing has to flow over.",
    "both-ways": "An overflow goes the other way already; what goes both ways is a join.",
    "not-radio": "The microphone has a cable and stays in its zone.",
    "elsewhere": "The radio microphone is in another zone; `zone` says in which.",
    "not-simulated": "Only simulated walls and devices can be worked from here: real walls are sensed, never driven.",
    "pinned": "A person has pinned the wall's position; nothing else counts until the pin is over or taken away.",
    "not-open": "The wall is not open: only an open wall combines its zones, or is kept apart.",
    "fenced": "The wall opened between two bookings; a technician decides, on the plan.",
    "not-the-lead": "Another controller leads there; `lead` says which.",
    "needs-no-arming": "The binding only carries a signal.",
    "alarm-state": "The alarm's state does not allow that; `state` says what it is, `allowed` what may be done to it.",
    "needs-if-match": "Something would be replaced without saying which version was seen.",
    "changed": "It was changed meanwhile.",
    "exists": "It exists already.",
    "clash": "Zones would be booked twice; `clashes` names each, `alternatives` what is free instead.",
    "turns-infeasible": "Crews could not move the walls in time; `problems` names the moves, and ways that would do.",
    "over-posted": "More people than are posted for that arrangement; `posted` is the number on the sign.",
    "reserved": "A private booking has the zone: only controllers at home in its zones link it by hand.",
    "not-on": "The date is not on now; only what is on is extended.",
    "not-free": "Somebody else has the zones then; `until` says until when they are free.",
    "nothing-closes": "No routine is about to end anything there.",
    "is-over": "What was is not changed.",
    "is-cancelled": "The booking is cancelled; single dates of it are not changed.",
    "too-many": "The diary is full.",
    "bad-calendar": "The file is not whole iCalendar, so that nothing of it was taken; `detail` says where.",
    "other-node": "Only the node that writes the venue knows that; `address` says where it is.",
    "not-running": "That part of the service does not run here.",
    "not-signed-in": "Nobody is signed in, or the token is not known; `role` says which role is needed.",
    "not-allowed": "Whoever is signed in may not do this; `role` says which role is needed.",
    "sign-in-refused": "The name, password or code is not right; nobody is told which.",
    "too-many-attempts": "Too many attempts; `retry` and Retry-After say in how many seconds to try again.",
    "no-sign-in": "The service was started with --open, so that there is nobody to sign in.",
    "needs-tls": "Other machines reach the service over TLS alone.",
    "last-engineer": "Somebody must be left who can let others in.",
    "foreign-origin": "A page of another site may not use the sockets of this service.",
    "foreign-host": "The request asks for a host that this service is not; a name led to it that is not its own.",
    "too-large": "The request is larger than allowed.",
    "not-found": "There is nothing at this address.",
    "wrong-method": "This address does not take that method.",
    "journal-failed": "The journal could not store the entry; what goes towards safe was done, as `detail` says.",
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
    headers = {"Retry-After": "1"} if data["status"] == 503 else {}
    if isinstance(error, TooMany):
        headers["Retry-After"] = str(error.retry_s)
    if data["status"] == 401:
        headers["WWW-Authenticate"] = 'Bearer realm="roomlink"'
    return Response(dumps(data), data["status"], headers, "application/problem+json")


_TYPES = ("bool", "float", "int", "str")
"""How pydantic names the members of a union of plain types."""


def of_validation(error: ValidationError) -> CallerFault:
    """The first thing wrong with a body as one problem, all of them in ``errors``."""
    told: dict[str, list[str]] = {}
    for e in error.errors(include_url=False, include_input=False, include_context=False):
        # Where a value may be of several types, each of them complains at a place of its own, below the field.
        where = e["loc"][:-1] if e["loc"] and e["loc"][-1] in _TYPES else e["loc"]
        told.setdefault(".".join(map(str, where)) or "body", []).append(e["msg"])
    found = [{"field": field, "detail": "; or ".join(details)} for field, details in told.items()]
    if found[0]["detail"].startswith("Invalid JSON"):
        return BadRequest("bad-request", f"the body is no JSON: {found[0]['detail']}")
    return BadValue(found[0]["field"], found[0]["detail"], errors=found)
