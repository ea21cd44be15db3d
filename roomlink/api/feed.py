"""``/events``: the journal as JSON pages, or as a stream of server-sent events that goes on."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from itertools import islice

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from roomlink import limits
from roomlink.api.encoding import Json, dumps, shown_entry
from roomlink.api.rest import writer
from roomlink.core.events import Entry
from roomlink.errors import BadValue
from roomlink.runtime.writer import Writer

QUERY = (
    ("after", "journal position to start behind; by default the newest `limit` entries"),
    ("limit", f"entries at most, 1 to {limits.EVENTS_PAGE_MAX} (100)"),
    ("zone", "only entries with an event in this zone"),
    ("who", "only entries of this actor"),
    ("type", "only entries with an event of this type"),
)

SILENCE_S = 15.0
"""After this long without an entry a stream says a comment, so that a dead peer is noticed."""


def _whole(request: Request, name: str, default: int, least: int, most: int) -> int:
    text = request.query_params.get(name)
    if text is None:
        return default
    if not text.isdecimal() or not least <= int(text) <= most:
        raise BadValue(name, f"{text!r} is not a whole number from {least} to {most}", minimum=least, maximum=most)
    return int(text)


def _wanted(request: Request, entry: Entry) -> bool:
    """Whether an entry passes the filters of the query."""
    query = request.query_params
    if "who" in query and entry.who != query["who"]:
        return False
    if "zone" not in query and "type" not in query:
        return True
    for event in shown_entry(entry)["events"]:
        if "type" in query and event["type"] != query["type"]:
            continue
        touched = (event.get("zone"), *event.get("zones", ()), *(z for g in event.get("groups", ()) for z in g))
        if "zone" not in query or query["zone"] in touched:
            return True
    return False


async def get_events(request: Request) -> Response:
    venue = writer(request)
    head = venue.engine.seq
    limit = _whole(request, "limit", 100, 1, limits.EVENTS_PAGE_MAX)
    if "text/event-stream" in request.headers.get("accept", ""):
        last = request.headers.get("last-event-id", "")
        after = int(last) if last.isdecimal() else _whole(request, "after", head, 0, 2**53)
        return StreamingResponse(_stream(request, venue, after), media_type="text/event-stream")
    after = _whole(request, "after", -1, 0, 2**53)
    entries = await asyncio.to_thread(_page, request, venue, after, limit, head)
    upto = entries[-1].seq if len(entries) == limit and after >= 0 else head
    return Json({"events": [shown_entry(entry) for entry in entries], "next": upto})


def _page(request: Request, venue: Writer, after: int, limit: int, head: int) -> list[Entry]:
    """Entries behind ``after``, or the newest ones that pass the filters when it is negative."""
    if after >= 0:
        return list(islice((e for e in venue.journal.entries(after, head) if _wanted(request, e)), limit))
    found: list[Entry] = []
    upto = head
    while upto > 0 and len(found) < limit:
        start = max(0, upto - limits.EVENTS_PAGE_MAX)
        found = [e for e in venue.journal.entries(start, upto) if _wanted(request, e)] + found
        upto = start
    return found[-limit:]


async def _stream(request: Request, venue: Writer, after: int) -> AsyncIterator[bytes]:
    """Entries from the journal as they become durable; one who reads slowly just reads later."""
    news = asyncio.Event()

    def heard(entry: Entry) -> None:
        news.set()

    venue.hooks.append(heard)
    try:
        while True:
            news.clear()
            head = venue.engine.seq
            while after < head:
                upto = min(head, after + limits.EVENTS_PAGE_MAX)
                for entry in await asyncio.to_thread(lambda a, b: list(venue.journal.entries(a, b)), after, upto):
                    if _wanted(request, entry):
                        yield b"id: %d\nevent: entry\ndata: %b\n\n" % (entry.seq, dumps(shown_entry(entry)))
                after = upto
            try:
                await asyncio.wait_for(news.wait(), SILENCE_S)
            except TimeoutError:
                yield b": still here\n\n"
    finally:
        venue.hooks.remove(heard)
