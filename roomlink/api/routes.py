"""Every HTTP operation under ``/api/v1``: one row each, for the router and for ``/openapi.json``."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from roomlink.api import (
    alarms,
    backups,
    bookings,
    calendar,
    commissioning,
    equipment,
    feed,
    models,
    people,
    rest,
    shapes,
    signing,
    turns,
    walls,
)
from roomlink.api.evening import EVENING
from roomlink.api.guarding import Handler, guarded
from roomlink.api.locks import LOCKS
from roomlink.api.row import CONDITION, KEY
from roomlink.api.row import Row as Row
from roomlink.api.travel import TRAVEL
from roomlink.api.venues import get_venues, on_the_writer

ALARMS: tuple[Row, ...] = (
    Row("GET", "/alarms", alarms.get_alarms, "What is abnormal, the most urgent of what stands first", role="view"),
    Row(
        "POST", "/alarms/{alarm:path}/acknowledge", alarms.post_acknowledge, "Say that an alarm was seen",
        None, True, headers=KEY, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "POST", "/alarms/{alarm:path}/shelve", alarms.post_shelve, "Tell nobody of an alarm for a time",
        alarms.Shelving, True, headers=KEY, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "POST", "/alarms/{alarm:path}/unshelve", alarms.post_unshelve, "Let a shelved alarm speak again",
        None, True, headers=KEY, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "POST", "/alarms/{alarm:path}/out-of-service", alarms.post_out, "Take an alarm out of service",
        alarms.Reason, True, headers=KEY, statuses=(404, 409, 422), role="manage",
    ),
    Row(
        "DELETE", "/alarms/{alarm:path}/out-of-service", alarms.delete_out, "Put an alarm back into service",
        None, True, statuses=(404, 409, 422), role="manage",
    ),
)  # fmt: skip

SIGNING: tuple[Row, ...] = (
    Row("GET", "/session", signing.get_session, "Who asks, and what signing in needs", role=None),
    Row(
        "POST", "/session", signing.post_session, "Sign in: the answer sets a cookie",
        signing.Credentials, statuses=(403, 409, 429), role=None,
    ),
    Row("DELETE", "/session", signing.delete_session, "Sign out", role=None),
    Row(
        "PUT", "/session/password", signing.put_password, "Change one's own password",
        signing.NewPassword, statuses=(409, 422, 429), role="view",
    ),
    Row(
        "POST", "/engineers", signing.post_engineer, "Make an engineer with the code on the terminal",
        signing.FirstEngineer, statuses=(403, 409, 422, 429), role=None,
    ),
    Row(
        "POST", "/pairings", signing.post_pairing, "Make this browser a panel: the answer sets a cookie",
        signing.PairingCode, statuses=(403, 404, 409, 429), role=None,
    ),
    Row(
        "POST", "/pairing-codes", people.post_pairing_code, "A code that pairs a browser with a controller",
        people.Pairing, statuses=(404, 409, 422), role="engineer",
    ),
    Row("GET", "/panels", people.get_panels, "Paired panels", statuses=(409,), role="engineer"),
    Row(
        "DELETE", "/panels/{panel}", people.delete_panel, "Take a panel's pairing back; its sockets close",
        statuses=(404, 409), role="engineer",
    ),
    Row("GET", "/tokens", people.get_tokens, "Integrations that have a token", statuses=(409,), role="engineer"),
    Row(
        "POST", "/tokens", people.post_token, "Make a token for an integration; it is shown this once",
        people.Token, statuses=(409, 422), role="engineer",
    ),
    Row(
        "DELETE", "/tokens/{token}", people.delete_token, "Take an integration's token back; its sockets close",
        statuses=(404, 409), role="engineer",
    ),
    Row("GET", "/people", people.get_people, "People, their roles and sessions", statuses=(409,), role="engineer"),
    Row(
        "PUT", "/people/{person}", people.put_person, "Make a person, or change role or password",
        people.Person, statuses=(409, 422), role="engineer",
    ),
    Row(
        "DELETE", "/people/{person}", people.delete_person, "Remove a person; their sessions end",
        statuses=(404, 409), role="engineer",
    ),
    Row(
        "DELETE", "/people/{person}/sessions", people.delete_sessions, "Sign a person out everywhere",
        statuses=(404, 409), role="engineer",
    ),
)  # fmt: skip

ROUTES: tuple[Row, ...] = (
    Row(
        "GET", "/venue", rest.get_venue, "What the place is: zones, partitions, controllers, controls, scenes",
        role="view", panel=True,
    ),
    Row(
        "GET", "/state", rest.get_state, "All state, now or as it was",
        query=(("at", "RFC 3339 time to look back to"),), statuses=(422,), role="view", gives=shapes.StateView,
    ),
    Row(
        "GET", "/zones/{zone}", rest.get_zone, "One zone: controls, who is linked, its group", statuses=(404,),
        role="view", panel=True, gives=shapes.ZoneView,
    ),
    Row(
        "POST", "/zones/{zone}/actions", rest.post_zone_action, "Act on a control of one zone",
        models.Action, True, headers=KEY, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "GET", "/controllers/{controller}", rest.get_controller, "Links, feedback, lead or locked", statuses=(404,),
        role="view", panel=True, gives=shapes.FaceView,
    ),
    Row(
        "PUT", "/controllers/{controller}/links/{zone}", rest.put_link, "Link a zone, or make it the one linked last",
        None, True, statuses=(404, 409), role="operate", panel=True,
    ),
    Row(
        "DELETE", "/controllers/{controller}/links/{zone}", rest.delete_link, "Unlink a zone",
        None, True, statuses=(404, 409), role="operate", panel=True,
    ),
    Row(
        "DELETE", "/controllers/{controller}/links", rest.delete_link, "Unlink all zones",
        None, True, statuses=(404, 409), role="operate", panel=True,
    ),
    Row(
        "POST", "/controllers/{controller}/actions", rest.post_controller_action, "Act on a control in linked zones",
        models.Action, True, headers=KEY, statuses=(404, 409, 422), role="operate", panel=True,
    ),
    Row(
        "GET", "/partitions", rest.get_partitions, "Positions of all partitions, and how far to trust them",
        role="view", panel=True, gives=shapes.PartitionsView,
    ),
    Row(
        "PUT", "/partitions/{partition}", rest.put_partition, "Report a partition's position or contacts, or pin it",
        models.Position, True, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "PUT", "/partitions/{partition}/combining", walls.put_combining, "Combine an open wall, or keep it apart",
        models.Combine, True, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "GET", "/arrangements", walls.get_arrangements, "Named arrangements of walls, and which of them stand now",
        role="view",
    ),
    Row(
        "PUT", "/arrangements/{arrangement}/pin", walls.put_arrangement, "State an arrangement's positions at once",
        models.StatedArrangement, True, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "PUT", "/simulated/{partition}", rest.put_simulated, "Let a simulated partition run to one of its ends",
        models.Simulated, True, statuses=(404, 409, 422), role="engineer",
    ),
    Row(
        "GET", "/devices", on_the_writer(equipment.get_devices),
        "Devices: whether they can be reached, wanted, sent and reported", statuses=(421,), role="view",
    ),
    Row("GET", "/venues", get_venues, "Venues and the nodes that serve them, with their health", role="view"),
    Row(
        "GET", "/bindings", equipment.get_bindings, "What drives which device, and who armed power and motion",
        role="view", panel=True,
    ),
    Row(
        "POST", "/bindings/{binding}/arm", equipment.post_arm, "Put down that a binding was checked on site",
        models.Arming, True, headers=KEY, statuses=(404, 409, 422), role="engineer",
    ),
    Row(
        "DELETE", "/bindings/{binding}/arm", equipment.delete_arm, "Disarm a binding", None, True, statuses=(404,),
        role="engineer",
    ),
    Row(
        "GET", "/commissioning", commissioning.get_commissioning, "What is to be checked on site, and what was found",
        role="view",
    ),
    Row(
        "PUT", "/commissioning/{kind}/{of}/{check}", commissioning.put_check, "Put down what a check on site showed",
        models.Check, True, statuses=(404, 422), role="engineer",
    ),
    Row(
        "POST", "/motion/stop", equipment.post_stop_motion, "Stop everything that moves", None, True,
        role="view", panel=True,
    ),
    Row(
        "GET", "/sound-plan", equipment.get_sound_plan, "Gains and delays that the present groups ask for; it advises",
        role="view",
    ),
    Row(
        "PUT", "/simulated-devices/{device}", on_the_writer(equipment.put_simulated_device),
        "Work a simulated device by hand", models.SimulatedDevice, statuses=(404, 409, 421, 422), role="engineer",
    ),
    Row(
        "GET", "/groups", rest.get_groups, "The groups now, and overflows",
        role="view", panel=True, gives=shapes.GroupsView,
    ),
    *TRAVEL,
    Row(
        "GET", "/bookings", bookings.get_bookings, "Bookings of a time", query=bookings.LIST, statuses=(404, 422),
        role="view", gives=shapes.BookingsView,
    ),
    Row(
        "POST", "/bookings", bookings.post_booking, "Book zones, once or recurring",
        bookings.Booking, True, headers=KEY, statuses=(404, 409, 422), role="manage",
    ),
    Row(
        "GET", "/bookings/{booking}", bookings.get_booking, "One booking with all its dates", statuses=(404,),
        role="view", gives=shapes.BookingView,
    ),
    Row(
        "PUT", "/bookings/{booking}", bookings.put_booking, "Make a booking what is given",
        bookings.Booking, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428), role="manage",
    ),
    Row(
        "PATCH", "/bookings/{booking}", bookings.patch_booking, "Change what is given of a booking",
        bookings.BookingChange, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428), role="manage",
    ),
    Row(
        "DELETE", "/bookings/{booking}", bookings.delete_booking, "Cancel a booking",
        None, True, headers=bookings.CONDITION, statuses=(404, 412, 428), role="manage",
    ),
    Row(
        "PATCH", "/bookings/{booking}/occurrences/{occurrence}", bookings.patch_occurrence, "Change one date",
        bookings.OccurrenceChange, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428),
        role="manage",
    ),
    Row(
        "DELETE", "/bookings/{booking}/occurrences/{occurrence}", bookings.delete_occurrence, "Cancel one date",
        None, True, headers=bookings.CONDITION, statuses=(404, 409, 412, 422, 428), role="manage",
    ),
    Row(
        "GET", "/free-busy", bookings.get_free_busy, "When zones are taken, and when they are free",
        query=bookings.WINDOW, statuses=(404, 422), role="view", gives=shapes.FreeBusyView,
    ),
    Row(
        "GET", "/free-busy.ics", calendar.get_free_busy, "When zones are taken, as iCalendar",
        query=calendar.FREE_BUSY_QUERY, statuses=(404, 422), media=calendar.MEDIA, role="view",
    ),
    Row(
        "GET", "/calendar/{zone}.ics", calendar.get_zone_calendar, "A zone's bookings, as iCalendar",
        statuses=(404,), media=calendar.MEDIA, role="view",
    ),
    Row(
        "POST", "/calendar/import", calendar.post_import, "Take in a calendar; tells what became of each event",
        None, True, query=calendar.IMPORT_QUERY, statuses=(400, 404, 413, 415, 422), role="manage",
        takes=calendar.MEDIA,
    ),
    Row(
        "GET", "/calendar/feeds", on_the_writer(calendar.get_feeds),
        "Calendars that are followed, and what became of their events", statuses=(421,), role="view",
    ),
    Row(
        "POST", "/calendar/feeds/{feed}/ask", on_the_writer(calendar.post_ask), "Ask for a calendar at once",
        statuses=(404, 409, 421),
        role="manage", done=202,
    ),
    Row(
        "GET", "/turns", turns.get_turns, "Which walls the crews have to move for the bookings of a day, and when",
        query=turns.QUERY, statuses=(404, 422), role="view",
    ),
    Row(
        "PUT", "/turns/{partition}/{key}", turns.put_tick, "Tick a wall's move off, or take that back",
        turns.TickBody, True, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "GET", "/webhooks", on_the_writer(calendar.get_webhooks),
        "Who is told what happens: how far, what fails, what was put aside", statuses=(421,), role="view",
    ),
    Row(
        "POST", "/webhooks/{webhook}/replay", on_the_writer(calendar.post_replay), "Tell a webhook again",
        calendar.Replay, statuses=(404, 409, 421, 422), role="engineer", done=202,
    ),
    Row(
        "GET", "/events", feed.get_events, "What happened, newest last; as text/event-stream also what happens",
        query=feed.QUERY, statuses=(422,), role="view", gives=shapes.EventsView,
    ),
    *EVENING,
    *ALARMS,
    *LOCKS,
    Row(
        "GET", "/backup", backups.get_backup, "Everything that the venue is, as one file for `roomlink restore`",
        statuses=(409,), media=backups.MEDIA, role="engineer",
    ),
    Row("GET", "/scenes", rest.get_scenes, "All scenes", role="view", panel=True),
    Row("GET", "/scenes/{scene}", rest.get_scene, "One scene, with its ETag", statuses=(404,), role="view", panel=True),
    Row(
        "PUT", "/scenes/{scene}", rest.put_scene, "Save a scene, given or captured from now",
        models.Scene, True, headers=CONDITION, statuses=(404, 412, 422, 428), role="manage",
    ),
    Row(
        "DELETE", "/scenes/{scene}", rest.delete_scene, "Remove a saved scene: the configured one counts again",
        None, True, headers=CONDITION[:1], statuses=(404, 412, 428), role="manage",
    ),
    Row(
        "POST", "/scenes/{scene}/recall", rest.post_recall, "Recall a scene",
        models.Recall, True, headers=KEY, statuses=(404, 409, 422), role="operate",
    ),
    *SIGNING,
)  # fmt: skip


def routes(rows: tuple[Row, ...], base: str) -> list[Route]:
    """One route a path, so that a wrong method is told all the right ones."""
    paths: dict[str, dict[str, Handler]] = {}
    for row in rows:
        paths.setdefault(row.path, {})[row.method] = guarded(row.handler, row.rule)
    return [Route(base + path, _by_method(handlers), methods=list(handlers)) for path, handlers in paths.items()]


def _by_method(handlers: dict[str, Handler]) -> Handler:
    async def run(request: Request) -> Response:
        return await handlers["GET" if request.method == "HEAD" else request.method](request)

    return run
