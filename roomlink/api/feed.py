"""``/events``: the journal as JSON pages, or as a stream of server-sent events that goes on."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator, Iterator
from functools import partial
from itertools import islice
from typing import Any

from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from roomlink import limits
from roomlink.api import export, identity
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
    ("zone", "only entries with an event in this zone, its bookings' included"),
    ("booking", "only entries about this booking"),
    ("who", "only entries of this actor"),
    ("type", "only entries with an event of this type"),
    ("format", "csv or jsonl: all of them as a file, whatever `limit` says"),
)

SILENCE_S = 15.0
"""After this long without an entry a stream says a comment, so that a dead peer is noticed."""


def _given(request: Request, name: str, default: int, least: int, most: int) -> int:
    text = request.query_params.get(name)
    return default if text is None else whole(name, text, least, most)


def _shown(request: Request, venue: Writer, entry: Entry) -> dict[str, Any] | None:
    """An entry as it may be seen, if it passes the filters of the query: what is hidden is not found by it either."""
    query = request.query_params
    if "who" in query and entry.who != query["who"]:
        return None
    shown = shown_entry(entry, venue.state, may_see=identity.may_see(request))
    if shown["who"] != query.get("who", shown["who"]):
        return None
    if not any(name in query for name in ("zone", "type", "booking")):
        return shown
    return shown if any(_passes(query, event) for event in shown["events"]) else None


def _passes(query: QueryParams, event: dict[str, Any]) -> bool:
    return (
        query.get("type", event["type"]) == event["type"]
        and ("zone" not in query or query["zone"] in _zones_of(event))
        and ("booking" not in query or query["booking"] in (event.get("booking"), _now(event).get("booking")))
    )


def _now(event: dict[str, Any]) -> dict[str, Any]:
    """The record that an event carries, if it does."""
    return event.get("now") or {}


def _zones_of(event: dict[str, Any]) -> Iterator[str]:
    for holder in (event, _now(event), *event.get("occurrences", ())):
        if holder.get("zone") is not None:
            yield holder["zone"]
        yield from holder.get("zones", ())
    for group in event.get("groups", ()):
        yield from group


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
    if "format" in request.query_params:
        between = partial(_between, request, venue)
        return export.response(request.query_params["format"], between, max(after, 0), head)
    entries = await asyncio.to_thread(_page, request, venue, after, limit, head)
    upto = entries[-1]["seq"] if len(entries) == limit and after >= 0 else head
    return Json({"events": entries, "next": upto})


def _passing(request: Request, venue: Writer, start: int, end: int) -> Iterator[dict[str, Any]]:
    return (shown for e in venue.journal.entries(start, end) if (shown := _shown(request, venue, e)) is not None)


def _between(request: Request, venue: Writer, start: int, end: int) -> list[dict[str, Any]]:
    return list(_passing(request, venue, start, end))


def _page(request: Request, venue: Writer, after: int, limit: int, head: int) -> list[dict[str, Any]]:
    """Entries behind ``after``, or the newest ones that pass the filters when it is negative."""
    if after >= 0:
        return list(islice(_passing(request, venue, after, head), limit))
    found: list[dict[str, Any]] = []
    upto = head
    while upto > 0 and len(found) < limit:
        start = max(0, upto - limits.EVENTS_PAGE_MAX)
        found = [*_passing(request, venue, start, upto), *found]
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
    caller, known = identity.caller(request), request.app.state.identity
    news = asyncio.Event()

    def heard(entry: Entry) -> None:
        news.set()

    venue.hooks.append(heard)
    streams.news.add(news)
    try:
        # Whoever is signed out meanwhile hears of that as little as of what comes after it.
        while not streams.ended and known.standing(caller):
            news.clear()
            head = venue.engine.seq
            while after < head and known.standing(caller):
                upto = min(head, after + limits.EVENTS_PAGE_MAX)
                for entry in await asyncio.to_thread(lambda a, b: list(venue.journal.entries(a, b)), after, upto):
                    if (shown := _shown(request, venue, entry)) is not None:
                        yield b"id: %d\nevent: entry\ndata: %b\n\n" % (entry.seq, dumps(shown))
                after = upto
            try:
                await asyncio.wait_for(news.wait(), SILENCE_S)
            except TimeoutError:
                yield b": still here\n\n"
    finally:
        streams.news.remove(news)
        venue.hooks.remove(heard)
