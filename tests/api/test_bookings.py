"""The diary over HTTP: bookings with their versions, single dates, free-busy, and nothing private to be read."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import httpx
import pytest

from roomlink.core.instants import rfc3339
from roomlink.testing.clock import VirtualClock
from tests.api.harness import HARBOUR, Running, write_venue
from tests.core.booked import overlaps

Data = dict[str, Any]
GALA: Data = {"title": "Gala", "zones": ["heron"], "start": "1970-02-01T18:00", "end": "1970-02-01T22:00"}
DIARY = HARBOUR + "bookings: {set_up: 30min, clear_down: 15min}\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_venue(tmp_path / "harbour", DIARY)


async def book(service: Running, **members: Any) -> Data:
    answer = await service.http.post("/bookings", json={**GALA, **members})
    assert answer.status_code == 200, answer.text
    data: Data = answer.json()
    return data


async def refused(answer: httpx.Response, status: int, kind: str) -> Data:
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json"), answer.text
    data: Data = answer.json()
    assert data["type"] == f"/problems/{kind}"
    return data


async def test_a_booking_is_made_and_read(service: Running) -> None:
    """Local times are the venue's; set-up and clear-down, in minutes, come from the configuration."""
    done = await book(service, attendance=100, scene="dinner")
    assert (done["zones"], done["dates"], done["warnings"], done["refused"]) == (["heron"], 1, [], [])
    answer = await service.http.get(f"/bookings/{done['booking']}")
    seen = answer.json()
    assert answer.headers["etag"] == f'"{done["etag"]}"'
    assert (seen["title"], seen["start"], seen["end"]) == (
        "Gala",
        "1970-02-01T22:00:00.000Z",
        "1970-02-02T02:00:00.000Z",
    )
    assert (seen["set_up"], seen["clear_down"], seen["uid"]) == (30.0, 15.0, f"{done['booking']}@harbour")
    assert [(o["from"], o["until"], o["phase"]) for o in seen["occurrences"]] == [
        ("1970-02-01T21:30:00.000Z", "1970-02-02T02:15:00.000Z", "waiting")
    ]


async def test_a_clash_is_a_problem_that_names_it_and_offers_what_is_free(service: Running) -> None:
    """With times that can be sent back."""
    first = await book(service, attendance=100)
    data = await refused(await service.http.post("/bookings", json={**GALA, "attendance": 100}), 409, "clash")
    assert [(c["booking"], c["zones"], c["title"]) for c in data["clashes"]] == [(first["booking"], ["heron"], "Gala")]
    assert len(data["alternatives"]) == 3
    for offer in data["alternatives"]:
        again = await service.http.post(
            "/bookings", params={"dry_run": "true"}, json={**GALA, **{n: offer[n] for n in ("start", "end", "zones")}}
        )
        assert again.status_code == 200, again.text


async def test_more_people_than_posted_are_a_problem(service: Running) -> None:
    """With the number on the sign."""
    answer = await service.http.post("/bookings", json={**GALA, "attendance": 161})
    assert (await refused(answer, 409, "over-posted"))["posted"] == 160


async def test_zones_are_chosen_by_capacity(service: Running) -> None:
    """Three sections hold 500 together."""
    done = await book(service, zones=None, capacity=400)
    assert done["zones"] == ["heron", "plover", "tern"]


async def test_a_recurring_booking_has_its_dates_in_local_time(service: Running) -> None:
    """The clocks go forward in Halifax on 1970-04-26."""
    done = await book(
        service, start="1970-04-19T18:00", end="1970-04-19T20:00", rrule="FREQ=WEEKLY;COUNT=3", exdates=[]
    )
    seen = (await service.http.get(f"/bookings/{done['booking']}")).json()
    assert [o["start"][:16] for o in seen["occurrences"]] == [
        "1970-04-19T22:00",
        "1970-04-26T21:00",
        "1970-05-03T21:00",
    ]


async def test_a_series_may_take_what_is_free(service: Running) -> None:
    """The rest is listed in the reply."""
    await book(service, start="1970-02-02T18:00", end="1970-02-02T19:00")
    rule = {"rrule": "FREQ=DAILY;COUNT=3"}
    await refused(await service.http.post("/bookings", json={**GALA, **rule}), 409, "clash")
    done = await book(service, **rule, accept_free=True)
    assert (done["dates"], [r["wanted"]["start"] for r in done["refused"]]) == (2, ["1970-02-02T22:00:00.000Z"])


@pytest.mark.parametrize(
    ("members", "field"),
    [
        ({"start": "soon"}, "start"),
        ({"end": "1970-02-01T17:00"}, "end"),
        ({"rrule": "FREQ=SECONDLY"}, "rrule"),
        ({"exdates": ["1970-02-01T18:00"]}, "exdates"),
        ({"set_up": -1}, "set_up"),
        ({"attendance": 0}, "attendance"),
        ({"zones": []}, "zones"),
        ({"colour": "red"}, "colour"),
        ({"status": "cancelled"}, "status"),
    ],
)
async def test_what_cannot_be_is_a_problem_with_its_field(service: Running, members: Data, field: str) -> None:
    """422, and nothing is booked."""
    data = await refused(await service.http.post("/bookings", json={**GALA, **members}), 422, "bad-value")
    assert data["field"] == field
    assert not service.writer.state.bookings


async def test_an_idempotency_key_books_once(service: Running) -> None:
    """The reply is the first one; another content with the same key is refused."""
    send = {"headers": {"Idempotency-Key": "k"}}
    first, second = [await service.http.post("/bookings", json=GALA, **send) for _ in range(2)]
    assert first.json() == second.json()
    assert len(service.writer.state.bookings) == 1
    await refused(await service.http.post("/bookings", json={**GALA, "title": "Ball"}, **send), 422, "bad-value")


async def test_a_dry_run_books_nothing(service: Running) -> None:
    """It tells what would happen, and nothing private."""
    answer = await service.http.post("/bookings", params={"dry_run": "true"}, json={**GALA, "private": True})
    assert [event["type"] for event in answer.json()["events"]] == ["booking", "occurrences"]
    assert "Gala" not in answer.text
    assert not service.writer.state.bookings


async def test_a_change_needs_the_version_that_was_read(service: Running) -> None:
    """428 says how to send it again, 412 that somebody was faster (RFC 6585; RFC 9110 §13.1.1: strong comparison)."""
    done = await book(service)
    path = f"/bookings/{done['booking']}"
    for method, body in (("PUT", GALA), ("PATCH", {"title": "Ball"}), ("DELETE", None)):
        await refused(await service.http.request(method, path, json=body), 428, "needs-if-match")
        for tag in ('"99"', f'W/"{done["etag"]}"'):
            answer = await service.http.request(method, path, json=body, headers={"If-Match": tag})
            await refused(answer, 412, "changed")


async def test_a_patch_changes_what_it_names(service: Running) -> None:
    """A moved start without an end keeps the length; null takes away what may be absent."""
    done = await book(service, attendance=100, scene="dinner", organiser="Kim")
    path, tag = f"/bookings/{done['booking']}", {"If-Match": f'"{done["etag"]}"'}
    answer = await service.http.patch(path, json={"start": "1970-02-01T19:00", "scene": None}, headers=tag)
    assert answer.status_code == 200, answer.text
    seen = (await service.http.get(path)).json()
    assert (seen["start"][:16], seen["end"][:16], seen["scene"]) == ("1970-02-01T23:00", "1970-02-02T03:00", None)
    assert (seen["title"], seen["attendance"], seen["organiser"], seen["set_up"]) == ("Gala", 100, "Kim", 30.0)
    tag = {"If-Match": answer.headers["etag"]}
    assert (await refused(await service.http.patch(path, json={"title": None}, headers=tag), 422, "bad-value"))["field"]
    answer = await service.http.patch(path, json={"capacity": 300}, headers=tag)
    assert answer.json()["zones"] == ["heron", "plover"]


async def test_a_put_replaces_all(service: Running) -> None:
    """What is not given has its usual value again."""
    done = await book(service, attendance=100, organiser="Kim")
    path = f"/bookings/{done['booking']}"
    answer = await service.http.put(path, json={**GALA, "title": "Ball"}, headers={"If-Match": "*"})
    assert answer.headers["etag"] == f'"{answer.json()["etag"]}"'
    seen = (await service.http.get(path)).json()
    assert (seen["title"], seen["attendance"], seen["organiser"], seen["uid"]) == ("Ball", None, "", seen["uid"])


async def test_a_cancelled_booking_is_free_and_still_told(service: Running) -> None:
    """In lists only when everything is asked for."""
    done = await book(service)
    answer = await service.http.delete(f"/bookings/{done['booking']}", headers={"If-Match": f'"{done["etag"]}"'})
    assert answer.status_code == 200
    assert (await service.http.get("/bookings")).json()["bookings"] == []
    listed = (await service.http.get("/bookings", params={"all": "true"})).json()["bookings"]
    assert [(b["booking"], b["status"]) for b in listed] == [(done["booking"], "cancelled")]
    await book(service)


async def test_one_date_is_moved_or_cancelled(service: Running) -> None:
    """Named by its key, or by the time at which the series has it."""
    done = await book(service, rrule="FREQ=DAILY;COUNT=3")
    base = f"/bookings/{done['booking']}/occurrences"
    answer = await service.http.patch(
        f"{base}/19700202T220000Z", json={"start": "1970-02-02T20:00", "zones": ["tern"]}, headers={"If-Match": "*"}
    )
    assert answer.json()["zones"] == ["tern"]
    answer = await service.http.delete(f"{base}/1970-02-03T18:00", headers={"If-Match": answer.headers["etag"]})
    assert answer.status_code == 200
    seen = (await service.http.get(f"/bookings/{done['booking']}")).json()["occurrences"]
    assert [(o["start"][8:16], o["zones"], o["status"], o["changed"]) for o in seen] == [
        ("01T22:00", ["heron"], "confirmed", False),
        ("03T00:00", ["tern"], "confirmed", True),
        ("03T22:00", ["heron"], "cancelled", True),
    ]
    answer = await service.http.delete(f"{base}/1970-02-09T18:00", headers={"If-Match": "*"})
    await refused(answer, 404, "unknown-name")


async def test_lists_are_by_time_and_zone(service: Running) -> None:
    """What touches the time asked for, with set-up and clear-down."""
    await book(service, title="one", rrule="FREQ=DAILY;COUNT=3")
    await book(service, title="two", zones=["tern"])
    query = {"from": "1970-02-02T17:45", "to": "1970-02-02T18:00"}
    (found,) = (await service.http.get("/bookings", params=query)).json()["bookings"]
    assert (found["title"], [o["start"][:10] for o in found["occurrences"]]) == ("one", ["1970-02-02"])
    found = (await service.http.get("/bookings", params={"zone": ["tern", "foyer"]})).json()["bookings"]
    assert [b["title"] for b in found] == ["two"]
    await refused(await service.http.get("/bookings", params={"zone": "attic"}), 404, "unknown-name")
    await refused(await service.http.get("/bookings", params={"to": "1970-01-01T00:00Z"}), 422, "bad-value")
    await refused(await service.http.get("/bookings/x"), 404, "unknown-name")


async def test_free_busy_tells_times_and_no_titles(service: Running) -> None:
    """BUSY and BUSY-TENTATIVE, and what is free between."""
    await book(service)
    await book(service, zones=["tern"], status="tentative")
    query: Data = {"from": "1970-02-01T17:00-04:00", "to": "1970-02-01T23:00-04:00", "zone": ["heron", "tern"]}
    answer = await service.http.get("/free-busy", params=query)
    taken = {"start": "1970-02-01T21:30:00.000Z", "end": "1970-02-02T02:15:00.000Z"}
    assert answer.json()["zones"]["heron"] == {
        "busy": [{**taken, "kind": "BUSY"}],
        "free": [
            {"start": "1970-02-01T21:00:00.000Z", "end": taken["start"]},
            {"start": taken["end"], "end": "1970-02-02T03:00:00.000Z"},
        ],
    }
    assert answer.json()["zones"]["tern"]["busy"] == [{**taken, "kind": "BUSY-TENTATIVE"}]
    assert "Gala" not in answer.text


async def test_nothing_private_is_read_on_any_face(service: Running) -> None:
    """Lists, the booking, the state now and then, zones, events, the clash of another, panels and watchers."""
    secret = {"title": "Merger", "organiser": "Kim Secret", "attendance": 137, "private": True}
    start = service.writer.clock.stamp()
    times = {"start": rfc3339(start + 3600.0), "end": rfc3339(start + 7200.0)}
    done = await book(service, **secret, **times)
    path = f"/bookings/{done['booking']}"
    patched = await service.http.patch(
        f"{path}/occurrences/{times['start']}", json={"title": "Merger too"}, headers={"If-Match": "*"}
    )
    assert patched.status_code == 200, patched.text
    async with service.watch() as watcher, service.panel() as panel:
        await service.advance(3700.0)
        told = [*await watcher.fence(), *await panel.fence(), *watcher.heard, *panel.heard]
        assert any(change["zones"]["heron"]["in_use"]["title"] == "in use" for change in panel.changes())
    faces = [json.dumps(told)]
    now = rfc3339(service.writer.clock.stamp())
    for read in (
        "/bookings",
        "/bookings?all=true",
        path,
        "/state",
        f"/state?at={now}",
        "/zones/heron",
        "/events",
        "/free-busy",
    ):
        answer = await service.http.get(read)
        assert answer.status_code == 200, answer.text
        faces.append(answer.text)
    faces.append((await service.http.post("/bookings", json={**GALA, **times})).text)
    for face in faces:
        assert not re.search('Merger|Kim Secret|"attendance": ?137', face)
    assert '"in use"' in faces[1]


async def test_a_patch_of_a_private_booking_keeps_what_it_does_not_name(service: Running) -> None:
    """Though the reader cannot see it."""
    done = await book(service, title="Merger", private=True)
    path = f"/bookings/{done['booking']}"
    await service.http.patch(path, json={"zones": ["tern"]}, headers={"If-Match": f'"{done["etag"]}"'})
    await service.http.patch(path, json={"private": False}, headers={"If-Match": "*"})
    seen = (await service.http.get(path)).json()
    assert (seen["title"], seen["zones"], seen["occurrences"][0]["private"]) == ("Merger", ["tern"], False)


async def test_walls_are_asked_for_at_set_up(service: Running) -> None:
    """The partition shows it, and so does every panel and watcher."""
    start = service.writer.clock.stamp() + 3600.0
    await book(service, zones=["heron", "plover"], start=rfc3339(start), end=rfc3339(start + 3600.0))
    async with service.panel() as panel:
        await service.advance(1800.0)
        await panel.fence()
        (change,) = panel.changes()
        assert change["partitions"]["heron-plover"]["requested"]["position"] == "open"
    seen = (await service.http.get("/partitions")).json()["partitions"]
    assert {name: wall["requested"] and wall["requested"]["position"] for name, wall in seen.items()} == {
        "heron-plover": "open",
        "plover-tern": "closed",
        "tern-heron": "closed",
    }
    assert seen["heron-plover"]["position"] == "unknown"


async def test_fifty_writers_at_once_book_nothing_twice(start: Callable[..., Awaitable[Running]]) -> None:
    """ASVS 5.0 requirement 2.3.4: each slot goes to one who wants it; the others are told who has it."""
    service = await start()
    limits = httpx.Limits(max_connections=50)
    slots = 10
    async with httpx.AsyncClient(base_url=service.url + "/api/v1", timeout=30.0, limits=limits) as http:
        answers = await asyncio.gather(
            *(
                http.post(
                    "/bookings",
                    json={
                        **GALA,
                        "title": f"w{n}",
                        "start": f"2040-02-{1 + n % slots:02}T18:00",
                        "end": f"2040-02-{1 + n % slots:02}T22:00",
                    },
                )
                for n in range(50)
            )
        )
    assert sorted(answer.status_code for answer in answers) == [200] * slots + [409] * 40
    held = {answer.json()["booking"] for answer in answers if answer.status_code == 200}
    told = {clash["booking"] for answer in answers if answer.status_code == 409 for clash in answer.json()["clashes"]}
    assert told == held
    assert overlaps(service.writer.state) == []


async def test_bookings_outlast_the_service(serve: Callable[..., Any]) -> None:
    """They are in the journal like everything else."""
    first = serve()
    done = first.call("POST", "/bookings", {**GALA, "start": "2040-02-01T18:00", "end": "2040-02-01T22:00"})
    before = first.get(f"/bookings/{done['booking']}")
    first.stop()
    assert serve().get(f"/bookings/{done['booking']}") == before


def test_the_virtual_clock_starts_before_the_bookings_here(clock: VirtualClock) -> None:
    """Or they would be over."""
    assert rfc3339(clock.stamp()).startswith("1970-01-12")
