"""What a booking may be: each check raises a ``CallerFault`` that says what would be right."""

from __future__ import annotations

from dataclasses import replace

from roomlink import limits
from roomlink.core import scenes
from roomlink.core.bookings import Wish
from roomlink.core.checks import require, seconds
from roomlink.core.groups import components
from roomlink.core.state import State
from roomlink.errors import BadValue, Precondition

GIVEN_STATUSES = ("confirmed", "tentative")


def checked(state: State, wish: Wish) -> Wish:
    """The wish with whole seconds, the venue's set-up and clear-down where it gives none, and zones in venue order."""
    start, end = float(round(wish.start)), float(round(wish.end))
    if not start < end <= start + limits.BOOKING_S_MAX:
        days = limits.BOOKING_S_MAX / 86400.0
        raise BadValue("end", f"a booking ends after its start, and within {days:g} days", days=days)
    for at in (start, end, *wish.starts):
        if not 0.0 <= at <= limits.BOOKING_STAMP_MAX:
            raise BadValue("start", "a booking lies between the years 1970 and 9000")
    title = wish.title.strip()
    texts = limits.BOOKING_TEXT_CHARS_MAX
    for field, text, most in (
        ("title", title, texts), ("organiser", wish.organiser, texts), ("uid", wish.uid, limits.BOOKING_UID_CHARS_MAX)
    ):  # fmt: skip
        if len(text) > most or (field != "organiser" and not text):
            raise BadValue(field, f"has 1 to {most} characters", maximum=most)
    if wish.status not in GIVEN_STATUSES:
        text = f"{wish.status!r} is not a status to be given: {', '.join(GIVEN_STATUSES)}; cancel with DELETE"
        raise BadValue("status", text, allowed=list(GIVEN_STATUSES))
    for field, people in (("attendance", wish.attendance), ("capacity", wish.capacity)):
        require_people(field, people)
    if not wish.zones and wish.capacity is None:
        raise BadValue("zones", "give the `zones`, or the `capacity` that they need to have", minimum=1)
    zones = require_zones(state, wish.zones) if wish.zones else ()
    if wish.scene is not None:
        require_scene(state, wish.scene, zones)
    if len(wish.starts) > limits.OCCURRENCES_OF_ONE_MAX:
        text = f"it recurs {len(wish.starts)} times; a booking has at most {limits.OCCURRENCES_OF_ONE_MAX} dates"
        raise BadValue("rrule", text, maximum=limits.OCCURRENCES_OF_ONE_MAX)
    usual = state.spec.bookings
    set_up = usual.set_up if wish.set_up is None else wish.set_up
    clear_down = usual.clear_down if wish.clear_down is None else wish.clear_down
    return replace(
        wish,
        title=title,
        start=start,
        end=end,
        zones=zones,
        set_up=float(round(seconds("set_up", set_up, limits.SET_UP_S_MAX))),
        clear_down=float(round(seconds("clear_down", clear_down, limits.SET_UP_S_MAX))),
        starts=tuple(sorted({float(round(s)) for s in wish.starts})),
    )


def require_people(field: str, people: int | None) -> None:
    if people is not None and not 1 <= people <= limits.ATTENDANCE_MAX:
        text = f"{people} is not a number of people from 1 to {limits.ATTENDANCE_MAX}"
        raise BadValue(field, text, minimum=1, maximum=limits.ATTENDANCE_MAX)


def require_zones(state: State, zones: tuple[str, ...]) -> tuple[str, ...]:
    """The zones in venue order, each once."""
    if not zones:
        raise BadValue("zones", "a booking has at least one zone", minimum=1)
    for zone in zones:
        require("zone", zone, state.spec.zones)
    return tuple(sorted(set(zones), key=state.spec.zone_rank.__getitem__))


def told_apart(state: State, zones: tuple[str, ...]) -> list[str]:
    """A warning where zones of one booking can never be one room, as no path of walls among them joins them.

    Zones between which there is a join, or an overflow (on, or with a name), are not told: that is meant so.
    """
    spec, own = state.spec, set(zones)
    meant = [set(state.overflows[name]) for name in state.overflows.live()]
    meant += [{flow.source, flow.to} for flow in spec.travel.overflows.values()]
    meant += [{flow.source, flow.to} for flow in (state.one_ways[name] for name in state.one_ways.live())]

    def neighbours(zone: str) -> set[str]:
        walls = (spec.partitions[partition].between for partition in spec.walls_of[zone])
        ties = (set(pair) for pair in (*walls, *meant) if zone in pair)
        return set().union(*ties) & own

    parts = components(zones, neighbours)
    if len(parts) < 2:
        return []
    said = [" + ".join(spec.zones[z].name or z for z in sorted(part, key=spec.zone_rank.__getitem__)) for part in parts]
    return [f"{', '.join(said[:-1])} and {said[-1]} can never be one room: no path of walls joins them"]


def require_scene(state: State, name: str, zones: tuple[str, ...]) -> None:
    """Raise unless there is such a scene, and it is for one of the zones at least (if they are known yet)."""
    scene, _ = scenes.find(state, name)
    held = scenes.scope(state, scene)
    if zones and not any(zone in held for zone in zones):
        raise BadValue("scene", f"{name} is for none of {', '.join(zones)}", allowed=list(held)[:100])


def require_match(name: str, etag: str, if_match: tuple[str, ...] | None) -> None:
    """Raise 428 without a condition, 412 where it does not hold any more."""
    if if_match is None:
        text = f"booking {name} may have been changed: GET it and send its ETag in If-Match"
        raise Precondition("needs-if-match", text, status=428)
    if "*" not in if_match and etag not in if_match:
        text = f"booking {name} was changed meanwhile; GET it again and send its new ETag in If-Match"
        raise Precondition("changed", text, status=412, etag=etag)
