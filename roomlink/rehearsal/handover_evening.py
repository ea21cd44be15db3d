"""Tables of a handover about what happens when: the diary, crews, paging, presence, locks and alarms."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import urlsplit

from roomlink.rehearsal.handover_model import Handover, Maker, Row
from roomlink.rehearsal.handover_words import figure, input_words, listing, words

_INFEASIBLE = {"refuse": "refused", "flag": "taken, with a warning"}
_GONE = {"cancel": "cancelled", "keep": "kept"}
_BUSY = {"skip": "left out there", "defer": "waits until the zone is free"}
_EVERY = "*"


def _minutes(seconds: float) -> str:
    return figure(seconds / 60.0)


def _bookings(h: Handover) -> Iterator[Row]:
    rules = h.data["bookings"]
    yield "set-up, where a booking says nothing else", _minutes(rules["set_up"]), "min"
    yield "clear-down, where a booking says nothing else", _minutes(rules["clear_down"]), "min"
    yield "guests are warned before the end", _minutes(rules["warn"]) if rules["warn"] else "never", "min"
    yield "more time on offer, if the zones are free", listing(map(_minutes, rules["extend"]), "or"), "min"
    yield "walls that the crews cannot move in time: the booking is", _INFEASIBLE[rules["infeasible"]], ""


def _routines(h: Handover) -> Iterator[Row]:
    for name, r in h.data["routines"].items():
        scene = h.data["scenes"][r["scene"]]["name"] or r["scene"]
        zones = "those of the scene" if r["zones"] is None else listing(r["zones"])
        waits = (_minutes(r["unless_used"]), _minutes(r["warn"])) if r["unless_used"] else ("not put off", "")
        yield name, r["name"], scene, _when(r["cron"]), zones, figure(r["over"]), _BUSY[r["when_busy"]], *waits


def _when(cron: Mapping[str, str]) -> str:
    """``07:30`` where it is one time of each day; other fields as they were written."""
    hour, minute = cron["hour"], cron["minute"]
    if hour.isdecimal() and minute.isdecimal():
        said = f"{int(hour):02}:{int(minute):02}"
    else:
        said = f"hour {hour}, minute {minute}"
    days = [
        f"{part.replace('_', ' ')} {cron[part]}" for part in ("day_of_week", "day", "month") if cron[part] != _EVERY
    ]
    return f"{said}, {', '.join(days) or 'every day'}"


def _crews(h: Handover) -> Iterator[Row]:
    yield from ((name, c["name"], _clock(c["start"]), _clock(c["end"])) for name, c in h.data["crews"].items())


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"


def _moves(h: Handover) -> Iterator[Row]:
    for name, w in h.data["partitions"].items():
        minutes = "not said" if w.get("move_minutes") is None else figure(w["move_minutes"])
        after = listing(w.get("after", ()))
        yield name, w["name"] or name, minutes, after, input_words(w["pass_door"]) if w.get("pass_door") else "none"


def _rooms(h: Handover) -> Iterator[Row]:
    yield from ((room, listing(map(h.zone, zones))) for room, zones in h.data["calendar"]["rooms"].items())


def _feeds(h: Handover) -> Iterator[Row]:
    for feed in h.data["calendar"]["feeds"]:
        place = f"file {feed['file']}" if feed["file"] else host(feed["url"])
        zones = listing(feed["zones"]) if feed["zones"] else "none: it is not taken"
        yield feed["name"], place, _minutes(feed["every"]), zones, _GONE[feed["gone"]]


def _webhooks(h: Handover) -> Iterator[Row]:
    for hook in h.data["webhooks"]:
        yield hook["name"], host(hook["url"]), listing(hook["events"]), figure(hook["give_up"] / 3600.0)


def host(url: str) -> str:
    """Where an address leads, and no more of it: the rest may be what lets one in."""
    parts = urlsplit(url)
    port = f":{parts.port}" if parts.port else ""
    return f"{parts.hostname}{port}, {parts.scheme.upper()}"


def ways_out(h: Handover) -> Iterator[Row]:
    """What the service asks and tells elsewhere: a part of the table ``network``."""
    feeds = ((f"calendar {feed['name']}", feed["url"]) for feed in h.data["calendar"]["feeds"] if feed["url"])
    hooks = ((f"webhook {hook['name']}", hook["url"]) for hook in h.data["webhooks"])
    for name, url in (*feeds, *hooks):
        parts = urlsplit(url)
        port = parts.port or {"https": 443}.get(parts.scheme, 80)
        yield "roomlink", f"{name} ({parts.hostname})", "TCP", str(port), parts.scheme.upper()


def _paging(h: Handover) -> Iterator[Row]:
    for name, p in h.data.get("paging", {}).items():
        zones = list(h.data["zones"]) if p["zones"] is None else p["zones"]
        by = input_words(p["input"]) if p["input"] is not None else f"{p['control']}, while it is held"
        where = "every zone" if p["zones"] is None else listing(zones)
        units = {h.data["zones"][z]["controls"][level]["unit"] for z in zones for level in _levels(h, z, p["ducks"])}
        lower = f"{figure(p['by'])} {listing(sorted(units), 'or')}"
        yield name, p["name"] or name, by, where, listing(p["ducks"]), lower, figure(p["most"])


def _levels(h: Handover, zone: str, names: list[str]) -> list[str]:
    controls = h.data["zones"][zone]["controls"]
    return [name for name in names if controls.get(name, {}).get("kind") == "level"]


def _presence(h: Handover) -> Iterator[Row]:
    for zone, contact in h.data.get("presence", {}).items():
        yield zone, h.zone(zone), input_words(contact), words(contact["made"])


def _locks(h: Handover) -> Iterator[Row]:
    for name, lock in h.data.get("locks", {}).items():
        what = f"zone {lock['zone']}" if lock["zone"] is not None else f"controller {lock['controller']}"
        controls = listing(lock["controls"]) if lock["controls"] else "all"
        lasts = "until it is released" if lock["seconds"] is None else f"{_minutes(lock['seconds'])} min"
        yield name, lock["name"], what, controls, lasts


def _alarms(h: Handover) -> Iterator[Row]:
    alarms: Mapping[str, Any] = h.data.get("alarms", {})
    for alarm, priority in alarms.get("priorities", {}).items():
        yield alarm, f"priority {priority}", "always", ""
    for one in alarms.get("suppressed", ()):
        stands = f"override {one['override']}" if one["override"] else one["other"]
        yield one["alarm"], "suppressed", f"while {stands} stands" if stands else "always", one["why"]
    if alarms.get("mqtt"):
        yield "all", "published, retained", f"{alarms['mqtt']['device']}, topic {alarms['mqtt']['topic']}", ""


TOLD = ("bookings", "routines", "crews", "calendar", "webhooks", "paging", "presence", "locks", "alarms")
"""The sections that these tables tell."""

TABLES: tuple[Maker, ...] = (
    ("bookings", ("what", "value", "unit"), _bookings),
    (
        "routines",
        (
            "routine",
            "name",
            "scene",
            "when",
            "zones",
            "over (s)",
            "in a booked zone",
            "put off after use by hand (min)",
            "warned before (min)",
        ),
        _routines,
    ),
    ("crews", ("crew", "name", "from", "until"), _crews),
    ("moves", ("wall", "name", "a crew needs (min)", "moved after", "pass door read at"), _moves),
    ("rooms", ("room as calendars call it", "zones"), _rooms),
    (
        "feeds",
        ("calendar", "where", "asked every (min)", "zones of events without place", "what it drops is"),
        _feeds,
    ),
    ("webhooks", ("webhook", "host", "is told of", "gives up after (h)"), _webhooks),
    (
        "paging",
        ("paging", "name", "started by", "lower in", "levels", "lower by", "at most (s)"),
        _paging,
    ),
    ("presence", ("zone", "name", "sensor", "somebody is there at"), _presence),
    ("locks", ("lock", "name", "of", "controls", "for"), _locks),
    ("alarm-rules", ("alarm", "rule", "when", "why"), _alarms),
)
