"""Every HTTP operation under ``/api/v1``: one row each, for the router and for ``/openapi.json``."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from roomlink.api import access, bookings, calendar, commissioning, equipment, feed, models, problems, rest
from roomlink.errors import CallerFault, RoomlinkError

Handler = Callable[[Request], Awaitable[Response]]


@dataclass(frozen=True, slots=True)
class Row:
    """One operation: what it is for the router and for ``/openapi.json``."""

    method: str
    path: str
    handler: Handler
    summary: str
    body: type[BaseModel] | None = None
    writes: bool = False
    query: tuple[tuple[str, str], ...] = ()
    headers: tuple[tuple[str, str], ...] = ()
    statuses: tuple[int, ...] = ()
    media: str = "application/json"


KEY = (("Idempotency-Key", "carries a request out once however often it is sent"),)
CONDITION = (("If-Match", "the ETag of what is replaced"), ("If-None-Match", "* to refuse replacing"))

ROUTES: tuple[Row, ...] = (
    Row("GET", "/venue", rest.get_venue, "What the place is: zones, partitions, controllers, controls, scenes"),
    Row(
        "GET", "/state", rest.get_state, "All state, now or as it was",
        query=(("at", "RFC 3339 time to look back to"),), statuses=(422,),
    ),
    Row("GET", "/zones/{zone}", rest.get_zone, "One zone: controls, who is linked, its group", statuses=(404,)),
    Row(
        "POST", "/zones/{zone}/actions", rest.post_zone_action, "Act on a control of one zone",
        models.Action, True, headers=KEY, statuses=(404, 409, 422),
    ),
    Row("GET", "/controllers/{controller}", rest.get_controller, "Links, feedback, lead or locked", statuses=(404,)),
    Row(
        "PUT", "/controllers/{controller}/links/{zone}", rest.put_link, "Link a zone, or make it the one linked last",
        None, True, statuses=(404, 409),
    ),
    Row(
        "DELETE", "/controllers/{controller}/links/{zone}", rest.delete_link, "Unlink a zone",
        None, True, statuses=(404, 409),
    ),
    Row(
        "DELETE", "/controllers/{controller}/links", rest.delete_link, "Unlink all zones",
        None, True, statuses=(404, 409),
    ),
    Row(
        "POST", "/controllers/{controller}/actions", rest.post_controller_action, "Act on a control in linked zones",
        models.Action, True, headers=KEY, statuses=(404, 409, 422),
    ),
    Row("GET", "/partitions", rest.get_partitions, "Positions of all partitions, and how far to trust them"),
    Row(
        "PUT", "/partitions/{partition}", rest.put_partition, "Report a partition's position or contacts, or pin it",
        models.Position, True, statuses=(404, 409, 422),
    ),
    Row(
        "PUT", "/simulated/{partition}", rest.put_simulated, "Let a simulated partition run to one of its ends",
        models.Simulated, True, statuses=(404, 409, 422),
    ),
    Row("GET", "/devices", equipment.get_devices, "Devices: whether they can be reached, wanted, sent and reported"),
    Row("GET", "/bindings", equipment.get_bindings, "What drives which device, and who armed power and motion"),
    Row(
        "POST", "/bindings/{binding}/arm", equipment.post_arm, "Put down that a binding was checked on site",
        models.Arming, True, headers=KEY, statuses=(404, 409, 422),
    ),
    Row("DELETE", "/bindings/{binding}/arm", equipment.delete_arm, "Disarm a binding", None, True, statuses=(404,)),
    Row("GET", "/commissioning", commissioning.get_commissioning, "What is to be checked on site, and what was found"),
    Row(
        "PUT", "/commissioning/{kind}/{of}/{check}", commissioning.put_check, "Put down what a check on site showed",
        models.Check, True, statuses=(404, 422),
    ),
    Row("POST", "/motion/stop", equipment.post_stop_motion, "Stop everything that moves", None, True),
    Row("GET", "/sound-plan", equipment.get_sound_plan, "Gains and delays that the present groups ask for; it advises"),
    Row(
        "PUT", "/simulated-devices/{device}", equipment.put_simulated_device, "Work a simulated device by hand",
        models.SimulatedDevice, statuses=(404, 409, 422),
    ),
    Row("GET", "/groups", rest.get_groups, "The groups now, and overflows"),
    Row(
        "PUT", "/overflows/{overflow}", rest.put_overflow, "Join zones on purpose",
        models.Zones, True, statuses=(404, 422),
    ),
    Row("DELETE", "/overflows/{overflow}", rest.delete_overflow, "End an overflow", None, True, statuses=(404,)),
    Row("GET", "/bookings", bookings.get_bookings, "Bookings of a time", query=bookings.LIST, statuses=(404, 422)),
    Row(
        "POST", "/bookings", bookings.post_booking, "Book zones, once or recurring",
        bookings.Booking, True, headers=KEY, statuses=(404, 409, 422),
    ),
    Row("GET", "/bookings/{booking}", bookings.get_booking, "One booking with all its dates", statuses=(404,)),
    Row(
        "PUT", "/bookings/{booking}", bookings.put_booking, "Make a booking what is given",
        bookings.Booking, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428),
    ),
    Row(
        "PATCH", "/bookings/{booking}", bookings.patch_booking, "Change what is given of a booking",
        bookings.BookingChange, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428),
    ),
    Row(
        "DELETE", "/bookings/{booking}", bookings.delete_booking, "Cancel a booking",
        None, True, headers=bookings.CONDITION, statuses=(404, 412, 428),
    ),
    Row(
        "PATCH", "/bookings/{booking}/occurrences/{occurrence}", bookings.patch_occurrence, "Change one date",
        bookings.OccurrenceChange, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428),
    ),
    Row(
        "DELETE", "/bookings/{booking}/occurrences/{occurrence}", bookings.delete_occurrence, "Cancel one date",
        None, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428),
    ),
    Row(
        "GET", "/free-busy", bookings.get_free_busy, "When zones are taken, and when they are free",
        query=bookings.WINDOW, statuses=(404, 422),
    ),
    Row(
        "GET", "/free-busy.ics", calendar.get_free_busy, "When zones are taken, as iCalendar",
        query=calendar.FREE_BUSY_QUERY, statuses=(404, 422), media=calendar.MEDIA,
    ),
    Row(
        "GET", "/calendar/{zone}.ics", calendar.get_zone_calendar, "A zone's bookings, as iCalendar",
        statuses=(404,), media=calendar.MEDIA,
    ),
    Row(
        "POST", "/calendar/import", calendar.post_import, "Take in a calendar; tells what became of each event",
        None, True, query=calendar.IMPORT_QUERY, statuses=(400, 404, 413, 415, 422),
    ),
    Row("GET", "/calendar/feeds", calendar.get_feeds, "Calendars that are followed, and what became of their events"),
    Row("POST", "/calendar/feeds/{feed}/ask", calendar.post_ask, "Ask for a calendar at once", statuses=(404, 409)),
    Row("GET", "/webhooks", calendar.get_webhooks, "Who is told what happens: how far, what fails, what was put aside"),
    Row(
        "POST", "/webhooks/{webhook}/replay", calendar.post_replay, "Tell a webhook again",
        calendar.Replay, statuses=(404, 409, 422),
    ),
    Row(
        "GET", "/events", feed.get_events, "What happened, newest last; as text/event-stream also what happens",
        query=feed.QUERY, statuses=(422,),
    ),
    Row("GET", "/scenes", rest.get_scenes, "All scenes"),
    Row("GET", "/scenes/{scene}", rest.get_scene, "One scene, with its ETag", statuses=(404,)),
    Row(
        "PUT", "/scenes/{scene}", rest.put_scene, "Save a scene, given or captured from now",
        models.Scene, True, headers=CONDITION, statuses=(404, 412, 422, 428),
    ),
    Row(
        "DELETE", "/scenes/{scene}", rest.delete_scene, "Remove a saved scene: the configured one counts again",
        None, True, headers=CONDITION[:1], statuses=(404, 412, 428),
    ),
    Row(
        "POST", "/scenes/{scene}/recall", rest.post_recall, "Recall a scene",
        models.Recall, True, headers=KEY, statuses=(404, 409, 422),
    ),
)  # fmt: skip


def guarded(handler: Handler) -> Handler:
    """Every error becomes a problem, and is counted."""

    async def run(request: Request) -> Response:
        try:
            if request.method not in ("GET", "HEAD"):
                access.refuse_foreign(request.headers)
            return await handler(request)
        except RoomlinkError as error:
            kind = error.kind if isinstance(error, CallerFault) else "our-fault"
            rest.writer(request).metrics.problem(kind)
            return problems.response(error)

    return run


def routes(rows: tuple[Row, ...], base: str) -> list[Route]:
    """One route a path, so that a wrong method is told all the right ones."""
    paths: dict[str, dict[str, Handler]] = {}
    for row in rows:
        paths.setdefault(row.path, {})[row.method] = guarded(row.handler)
    return [Route(base + path, _by_method(handlers), methods=list(handlers)) for path, handlers in paths.items()]


def _by_method(handlers: dict[str, Handler]) -> Handler:
    async def run(request: Request) -> Response:
        return await handlers["GET" if request.method == "HEAD" else request.method](request)

    return run
