"""``/events``: the journal as JSON pages, or as a stream of server-sent events that goes on."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator
from itertools import islice

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from roomlink import limits
from roomlink.api.encoding import Json, dumps, shown_entry
from roomlink.api.reading import SEQ_MAX, instant, whole
from roomlink.api.rest import writer
from roomlink.core.events import Entry
from roomlink.runtime.writer import Writer

QUERY = (
    ("after", "journal position to start behind; by default the newest `limit` entries"),
    ("limit", f"entries at most, 1 to {limits.EVENTS_PAGE_MAX} (100)"),
    ("from", "RFC 3339 time: only entries from then on"),
    ("to", "RFC 3339 time: only entries before then"),
    ("zone", "only entries with an event in this zone"),
    ("who", "only entries of this actor"),
    ("type", "only entries with an event of this type"),
)

SILENCE_S = 15.0
"""After this long without an entry a stream says a comment, so that a dead peer is noticed."""


def _given(request: Request, name: str, default: int, least: int, most: int) -> int:
    text = request.query_params.get(name)
    return default if text is None else whole(name, text, least, most)


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
    limit = _given(request, "limit", 100, 1, limits.EVENTS_PAGE_MAX)
    if "text/event-stream" in request.headers.get("accept", ""):
        last = request.headers.get("last-event-id")
        after = whole("Last-Event-ID", last, 0, SEQ_MAX) if last else _given(request, "after", head, 0, SEQ_MAX)
        return StreamingResponse(_stream(request, venue, after), media_type="text/event-stream")
    after = _given(request, "after", -1, 0, SEQ_MAX)
    if "from" in request.query_params:
        start = instant("from", request.query_params["from"])
        after = max(after, await asyncio.to_thread(venue.journal.seq_at, math.nextafter(start, 0.0)))
    if "to" in request.query_params:
        end = instant("to", request.query_params["to"])
        head = await asyncio.to_thread(venue.journal.seq_at, math.nextafter(end, 0.0))
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


class Streams:
    """The streams that are open, so that a service that stops need not wait for them."""

    def __init__(self) -> None:
        self.ended = False
        self.news: set[asyncio.Event] = set()

    def end(self) -> None:
        """Let each finish what it is saying, and no more."""
        self.ended = True
        for news in self.news:
            news.set()


async def _stream(request: Request, venue: Writer, after: int) -> AsyncIterator[bytes]:
    """Entries from the journal as they become durable; one who reads slowly just reads later."""
    streams: Streams = request.app.state.streams
    news = asyncio.Event()

    def heard(entry: Entry) -> None:
        news.set()

    venue.hooks.append(heard)
    streams.news.add(news)
    try:
        while not streams.ended:
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
        streams.news.remove(news)
        venue.hooks.remove(heard)
