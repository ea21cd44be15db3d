"""The turn list over HTTP: a day, its crews, ticks by whoever made the move, and news for those who watch."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from roomlink.core.commands import Actor, ReportWall
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, Running, write_venue

Data = dict[str, Any]
DAY = "1970-02-01"
MORE = """
bookings: {set_up: 30min, clear_down: 15min, infeasible: refuse}
crews:
  evening: {start: "12:00", end: "18:00"}
"""
TIMED = HARBOUR.replace("plover], settle: 2s}", "plover], settle: 2s, move_minutes: 12}") + MORE
GALA: Data = {"title": "Gala", "zones": ["heron", "plover"], "start": f"{DAY}T18:00", "end": f"{DAY}T22:00"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_venue(tmp_path / "harbour", TIMED)


async def book(service: Running, **members: Any) -> str:
    answer = await service.http.post("/bookings", json={**GALA, **members})
    assert answer.status_code == 200, answer.text
    name: str = answer.json()["booking"]
    return name


async def turns(service: Running, **query: str) -> Data:
    answer = await service.http.get("/turns", params={"day": DAY, **query})
    assert answer.status_code == 200, answer.text
    data: Data = answer.json()
    return data


async def test_a_day_names_each_move_with_its_times_and_who_makes_it_when(service: Running) -> None:
    """In the shape that the crew's page is built on; Halifax is four hours behind in winter."""
    booking = await book(service)
    key = "19700201T220000Z"
    assert await turns(service) == {
        "day": DAY,
        "timezone": "America/Halifax",
        "crews": {
            "evening": {"name": "Evening", "from": "1970-02-01T16:00:00.000Z", "until": "1970-02-01T22:00:00.000Z"}
        },
        "feasible": True,
        "checked": "proved",
        "turns": [
            {
                "booking": booking,
                "occurrence": key,
                "title": "Gala",
                "zones": ["heron", "plover"],
                "people_from": "1970-02-01T22:00:00.000Z",
                "begins": "1970-02-01T21:30:00.000Z",
                "moves": [
                    {
                        "partition": "heron-plover",
                        "key": key,
                        "from": "closed",
                        "to": "open",
                        "not_before": None,
                        "not_after": "1970-02-01T22:00:00.000Z",
                        "minutes": 12.0,
                        "assumed": False,
                        "planned": {
                            "crew": "evening",
                            "start": "1970-02-01T16:00:00.000Z",
                            "end": "1970-02-01T16:12:00.000Z",
                        },
                        "tick": None,
                        "now": "unknown",
                        "met": False,
                        "late": False,
                        "disagrees": False,
                        "after": [],
                        "alarm": None,
                        "do_not_move": None,
                        "pass_door": None,
                    }
                ],
            }
        ],
        "problems": [],
    }


async def test_today_is_the_day_if_none_is_given(service: Running) -> None:
    """By the venue's clock; a zone may be asked for alone."""
    assert (await service.http.get("/turns")).json()["turns"] == []
    await book(service)
    assert len((await turns(service, zone="plover"))["turns"]) == 1
    assert (await turns(service, zone="tern"))["turns"] == []
    assert (await service.http.get("/turns", params={"zone": "nowhere"})).status_code == 404


@pytest.mark.parametrize("day", ["tomorrow", "1970-02-30", "19700201", "0001-01-01", "9999-12-31", ""])
async def test_what_is_no_day_is_a_problem(service: Running, day: str) -> None:
    """It says what would be one."""
    answer = await service.http.get("/turns", params={"day": day})
    assert (answer.status_code, answer.json()["type"], answer.json()["field"]) == (422, "/problems/bad-value", "day")


async def test_a_move_is_ticked_off_and_watchers_hear_of_it(service: Running) -> None:
    """The sensor may say otherwise: both are shown."""
    await book(service)
    path = "/turns/heron-plover/19700201T220000Z"
    async with service.watch() as watcher:
        answer = await service.http.put(path, json={"done": True, "note": "stiff"})
        assert answer.status_code == 200, answer.text
        assert (await watcher.until("change"))["turns"] is True
    (turn,) = (await turns(service))["turns"]
    assert (turn["moves"][0]["tick"]["note"], turn["moves"][0]["disagrees"]) == ("stiff", False)
    await service.writer.submit(ReportWall(Actor("kim"), "heron-plover", "closed"))
    await service.advance(3.0)
    (turn,) = (await turns(service))["turns"]
    assert (turn["moves"][0]["now"], turn["moves"][0]["disagrees"]) == ("closed", True)
    assert (await service.http.put(path, json={"done": False})).status_code == 200
    assert (await turns(service))["turns"][0]["moves"][0]["tick"] is None


async def test_watchers_hear_that_the_diary_changed(service: Running) -> None:
    """A booking for another day changes nothing else that they see."""
    async with service.watch() as watcher:
        await book(service)
        assert (await watcher.until("change"))["turns"] is True


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("/turns/heron-plover/19700201T220001Z", {"done": True}, 404),
        ("/turns/no-wall/19700201T220000Z", {"done": True}, 404),
        ("/turns/heron-plover/19700201T220000Z", {}, 422),
        ("/turns/heron-plover/19700201T220000Z", {"done": True, "note": "x" * 201}, 422),
    ],
)
async def test_what_cannot_be_ticked_off_is_a_problem(service: Running, path: str, body: Data, status: int) -> None:
    """And nothing is put down."""
    await book(service)
    assert (await service.http.put(path, json=body)).status_code == status
    assert not service.writer.state.ticks


async def test_a_booking_that_the_crews_cannot_make_is_a_problem_with_ways_out(service: Running) -> None:
    """What it says would do, does."""
    await book(service, zones=["heron"], start=f"{DAY}T11:00", end=f"{DAY}T17:35", title="Tea", private=True)
    members = {"start": f"{DAY}T17:50", "set_up": 0}
    answer = await service.http.post("/bookings", json={**GALA, **members, "zones": ["heron", "plover", "tern"]})
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/turns-infeasible"), answer.text
    (problem,) = answer.json()["problems"]
    assert problem["day"] == DAY
    assert "Tea" not in answer.text
    assert any(way.startswith("one more crew from") for way in problem["ways"])
    assert not [b for b in service.writer.state.bookings.values() if b.title == "Gala"]
    await book(service, **members)


async def test_without_crews_nothing_is_checked(service: Running, tmp_path: Path) -> None:
    """The reply says so."""
    await service.configure(load(write_venue(tmp_path / "bare", HARBOUR)))
    await book(service)
    seen = await turns(service)
    assert (seen["feasible"], seen["checked"], seen["crews"]) == (None, "no crews", {})
