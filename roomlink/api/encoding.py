"""JSON out, fast; and how a journal entry is shown."""

from __future__ import annotations

from typing import Any

import orjson
from starlette.responses import Response

from roomlink.core import diary_view, view
from roomlink.core.events import Configured, Entry, Event

dumps = orjson.dumps


class Json(Response):
    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        return orjson.dumps(content)


def shown_event(event: Event) -> dict[str, Any]:
    """An event for people and programs; a configuration only by its digest, as it is large; nothing private."""
    if isinstance(event, Configured):
        return {"type": "configured", "digest": event.digest}
    return diary_view.event(event)


def shown_entry(entry: Entry) -> dict[str, Any]:
    return {
        "seq": entry.seq,
        "at": view.rfc3339(entry.at),
        "who": entry.who,
        "via": entry.via,
        "did": entry.did,
        "events": [shown_event(event) for event in entry.events],
    }
