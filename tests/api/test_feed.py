"""``api.feed``: the journal over HTTP, in pages and as a stream."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from roomlink.core.instants import rfc3339
from tests.api.harness import WITHIN_S, Running


async def events(service: Running, query: str = "") -> dict[str, Any]:
    found: dict[str, Any] = (await service.http.get(f"/events{query}")).raise_for_status().json()
    return found


async def seqs(service: Running, query: str = "") -> list[int]:
    return [entry["seq"] for entry in (await events(service, query))["events"]]


@pytest.fixture
async def busy(service: Running) -> Running:
    """Entries 2 to 11: levels of two zones in turn, by HTTP; then a link by a panel and a wall."""
    for i in range(8):
        zone = "tern" if i % 2 else "heron"
        await service.http.post(f"/zones/{zone}/actions", json={"control": "volume", "do": "set", "value": -20 - i})
        await service.advance(1.0)
    async with service.panel("plover-wall") as panel:
        await panel.send(type="link", id=1, zone="tern")
        await panel.until("ok")
    await service.http.put("/partitions/plover-tern", json={"position": "open"})
    return service


async def test_an_entry_says_when_who_and_what(busy: Running) -> None:
    """With the command in short and all its events; a configuration by its digest alone."""
    entry = (await events(busy, "?after=1&limit=1"))["events"][0]
    assert entry["at"] == "1970-01-12T13:46:40.000Z"
    assert (entry["who"], entry["via"]) == ("http 127.0.0.1", "http")
    assert entry["did"] == {"command": "Act", "control": "volume", "do": "set", "value": -20.0, "zone": "heron"}
    assert [one["type"] for one in entry["events"]] == ["control", "used"]
    first = (await events(busy, "?after=0&limit=1"))["events"][0]
    assert first["events"][0] == {"type": "configured", "digest": busy.loaded.digest}


async def test_pages_follow_one_another(busy: Running) -> None:
    """`next` of one is `after` of the following; together they are everything, once."""
    found: list[int] = []
    after = 0
    for _ in range(5):
        page = await events(busy, f"?after={after}&limit=3")
        found += [entry["seq"] for entry in page["events"]]
        after = page["next"]
    assert found == list(range(1, 12))
    assert after == 11


async def test_without_a_position_the_newest_come(busy: Running) -> None:
    """The newest last."""
    assert await seqs(busy, "?limit=3") == [9, 10, 11]
    assert await seqs(busy) == list(range(1, 12))


async def test_filters_narrow_the_pages(busy: Running) -> None:
    """By zone, by who acted, by the type of event, and by several at once."""
    assert await seqs(busy, "?zone=tern&type=control&after=1&limit=4") == [3, 5, 7, 9]
    assert await seqs(busy, "?who=plover-wall") == [10]
    assert await seqs(busy, "?type=regrouped&after=1") == [11]
    assert await seqs(busy, "?type=regrouped&zone=tern&after=1") == [11]
    assert await seqs(busy, "?type=regrouped&zone=foyer&after=1") == []
    assert await seqs(busy, "?zone=heron&limit=1&after=1") == [2]
    assert await seqs(busy, "?zone=attic") == []


@asynccontextmanager
async def stream(service: Running, query: str = "", **headers: str) -> AsyncIterator[AsyncIterator[dict[str, Any]]]:
    """The entries of a stream of server-sent events, as a browser's EventSource reads them."""
    wanted = {"Accept": "text/event-stream", **headers}
    async with service.http.stream("GET", f"/events{query}", headers=wanted) as answer:
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")

        async def read() -> AsyncIterator[dict[str, Any]]:
            fields: dict[str, str] = {}
            async for line in answer.aiter_lines():
                if line:
                    name, _, value = line.partition(":")
                    fields[name] = value.strip()
                elif fields:
                    entry = json.loads(fields["data"])
                    assert (fields["event"], fields["id"]) == ("entry", str(entry["seq"]))
                    yield entry
                    fields = {}

        yield read()


async def heard(entries: AsyncIterator[dict[str, Any]], count: int) -> list[int]:
    """The positions of the next entries."""
    async with asyncio.timeout(WITHIN_S):
        return [(await anext(entries))["seq"] for _ in range(count)]


async def test_a_stream_goes_on_with_what_happens(busy: Running) -> None:
    """It begins with what comes next, and tells each entry once it is durable."""
    async with stream(busy) as entries:
        await busy.http.put("/controllers/heron-wall/links/tern")
        await busy.http.put("/controllers/heron-wall/links/plover")
        assert await heard(entries, 2) == [12, 13]


async def test_a_stream_resumes_behind_the_last_one_seen(busy: Running) -> None:
    """By Last-Event-ID, which counts for more than `after`; nothing is missed, nothing comes twice."""
    async with stream(busy, "?after=2", **{"Last-Event-ID": "8"}) as entries:
        assert await heard(entries, 3) == [9, 10, 11]
        await busy.http.put("/controllers/heron-wall/links/tern")
        assert await heard(entries, 1) == [12]
    async with stream(busy, "?after=9") as entries:
        assert await heard(entries, 2) == [10, 11]


async def test_a_stream_filters_too(busy: Running) -> None:
    """As the pages do."""
    async with stream(busy, "?after=1&type=control&zone=tern") as entries:
        assert await heard(entries, 4) == [3, 5, 7, 9]


async def test_a_last_event_id_that_is_none_is_refused(busy: Running) -> None:
    """With the name of the header."""
    for text in ("x", "-1", "9" * 5000):
        answer = await busy.http.get("/events", headers={"Accept": "text/event-stream", "Last-Event-ID": text})
        assert (answer.status_code, answer.json()["field"]) == (422, "Last-Event-ID")


async def test_a_stream_that_is_left_leaves_nothing_behind(busy: Running) -> None:
    """The service forgets it."""
    hooks = len(busy.writer.hooks)
    async with stream(busy, "?after=10") as entries:
        await heard(entries, 1)
        assert len(busy.writer.hooks) == hooks + 1
    async with asyncio.timeout(WITHIN_S):
        while len(busy.writer.hooks) > hooks:  # noqa: ASYNC110 - there is no event for it
            await asyncio.sleep(0.002)


# The diary


def gala(service: Running, **members: Any) -> dict[str, Any]:
    """A booking of two hours that begins in an hour."""
    start = service.writer.clock.stamp() + 3600.0
    usual = {"title": "Gala", "zones": ["heron"], "start": rfc3339(start), "end": rfc3339(start + 7200.0)}
    return {**usual, **members}


async def test_what_happens_to_the_bookings_of_a_zone_is_found_by_it(service: Running) -> None:
    """That it was booked, its dates, and how it goes through its time; and the same by the booking."""
    done = (await service.http.post("/bookings", json=gala(service))).json()
    await service.http.post("/bookings", json=gala(service, zones=["plover"]))
    await service.advance(3600.0)
    for query in ("zone=heron", f"booking={done['booking']}"):
        found = (await events(service, f"?after=1&{query}"))["events"]
        kinds = [one["type"] for entry in found for one in entry["events"]]
        assert {"booking", "occurrences", "phase"} <= set(kinds), query
        assert done["seq"] in [entry["seq"] for entry in found]
    assert [e["seq"] for e in (await events(service, "?zone=plover&type=booking"))["events"]] == [done["seq"] + 1]
    assert await seqs(service, "?booking=unheard-of") == []


async def test_a_booking_made_private_is_so_in_all_that_was_told_before(service: Running) -> None:
    """In pages, in the stream and in the state of an earlier time; who may write still can."""
    secret = {"title": "Merger", "organiser": "Kim", "attendance": 77}
    done = (await service.http.post("/bookings", json=gala(service, **secret))).json()
    await service.advance(3700.0)
    at = rfc3339(service.writer.clock.stamp())
    await service.advance(10.0)
    assert "Merger" in (await service.http.get("/events")).text
    assert "Merger" in (await service.http.get("/state", params={"at": at})).text
    private = await service.http.patch(
        f"/bookings/{done['booking']}", json={"private": True}, headers={"If-Match": f'"{done["etag"]}"'}
    )
    assert private.status_code == 200, private.text
    for text in (
        (await service.http.get("/events")).text,
        (await service.http.get("/state", params={"at": at})).text,
        (await service.http.get("/state")).text,
    ):
        assert "Merger" not in text
        assert "Kim" not in text
        assert '"attendance":77' not in text
    async with stream(service, f"?after={done['seq'] - 1}&booking={done['booking']}") as entries:
        async with asyncio.timeout(WITHIN_S):
            first = await anext(entries)
    assert first["events"][0]["now"]["title"] == "in use"


async def test_of_a_zone_in_private_use_neither_who_nor_what_is_told(service: Running) -> None:
    """Not in `/zones`, not in what happened, not by asking for who did it; the panel in the room works as ever."""
    await service.http.post("/bookings", json=gala(service, private=True))
    await service.advance(3600.0)
    async with service.panel("heron-wall") as panel:
        assert panel.heard[0]["controller"]["controls"]["volume"]["value"] == -30.0
        assert (await panel.act("volume", "set", value=-12.5))["type"] == "ok"
    seen = (await service.http.get("/zones/heron")).json()
    assert (seen["in_use"]["title"], seen["linked_by"], seen["controls"]) == ("in use", [], {})
    entry = (await events(service, "?zone=heron&type=control&limit=1"))["events"][0]
    assert (entry["who"], entry["did"]) == ("in use", {"command": "Act"})
    assert {"type": "control", "zone": "heron", "hidden": True} in entry["events"]
    assert entry["seq"] not in await seqs(service, "?who=heron-wall")
    answer = await service.http.put("/controllers/tern-wall/links/heron")
    assert answer.json()["type"] == "/problems/reserved"


async def test_a_watcher_is_shown_a_zone_in_private_use_as_in_use_only(service: Running) -> None:
    """When the private hour begins it gets a whole new view without it, and one with it when the guests are gone."""
    await service.http.post("/bookings", json=gala(service, private=True))
    async with service.watch() as watcher, service.panel("tern-wall") as elsewhere:
        assert watcher.heard[0]["zones"]["heron"]["controls"]
        await service.advance(3600.0)
        veiled = await watcher.until("welcome")
        assert veiled["zones"]["heron"]["controls"] == {}
        assert veiled["zones"]["heron"]["in_use"]["title"] == "in use"
        assert veiled["controllers"]["heron-wall"]["controls"] == {}
        async with service.panel("heron-wall") as panel:
            await panel.act("volume", "set", value=-12.5)
            await panel.act("talkback", "press")
        await service.http.post("/zones/tern/actions", json={"control": "volume", "do": "set", "value": -11})
        while not (heard := await watcher.next()).get("zones", {}).get("tern", {}).get("controls"):
            assert "-12.5" not in repr(heard)
            assert "heron-wall" not in heard.get("controllers", {})
        assert all("-12.5" not in repr(message) for message in await elsewhere.fence())
        assert elsewhere.changes()[0]["zones"]["heron"]["linked_by"] == []
        await service.advance(7200.0)
        assert (await watcher.until("welcome"))["zones"]["heron"]["controls"]["volume"]["value"] == -12.5
