"""JSON out, fast; and how a journal entry is shown."""

from __future__ import annotations

from typing import Any

import orjson
from starlette.responses import Response

from roomlink.core import discretion, locking, people, view
from roomlink.core.access import AccessEvent
from roomlink.core.events import TYPE_OF, Configured, Entry, Event, encode
from roomlink.core.lock_records import LockEvent
from roomlink.core.state import State

dumps = orjson.dumps


class Json(Response):
    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        return orjson.dumps(content)


def shown_event(event: Event, state: State, at: float, *, may_see: bool = False) -> dict[str, Any]:
    """An event for people and programs; a configuration only by its digest, as it is large; nothing private.

    It happened at the stamp ``at``; what is private is known from ``state``, which is of now.
    """
    if isinstance(event, Configured):
        return {"type": "configured", "digest": event.digest}
    if isinstance(event, AccessEvent):
        return people.shown(event)
    zone = discretion.veiled_zone(state, event, at, may_see=may_see)
    if zone is not None:
        return {"type": TYPE_OF[type(event)], "zone": zone, "hidden": True}
    if isinstance(event, LockEvent):
        return locking.shown(event)
    return encode(discretion.told(state, event, may_see=may_see))


def shown_entry(entry: Entry, state: State, *, may_see: bool = False) -> dict[str, Any]:
    """An entry as a reader may see it now; of one about a zone in private use neither who nor what."""
    events = [shown_event(event, state, entry.at, may_see=may_see) for event in entry.events]
    hidden = any("hidden" in event for event in events)
    return {
        "seq": entry.seq,
        "at": view.rfc3339(entry.at),
        "who": discretion.HIDDEN if hidden else entry.who,
        "via": entry.via,
        "where": "" if hidden else entry.where,
        "did": {"command": entry.did.get("command")} if hidden else entry.did,
        "events": events,
    }
