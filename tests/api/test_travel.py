"""Joins, one-way overflows and microphones over HTTP and the sockets."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.testing.clock import VirtualClock
from tests.api.harness import HARBOUR, Running, write_venue

TRAVELLING = (
    HARBOUR.replace("gap: 300ms}", "gap: 0s, sources: true}")
    + """
venue_sources: {music: {name: Background music, carries: sound}}
overflows: {balcony: {name: To the balcony, from: heron, to: tern, carries: sound}}
microphones:
  lectern: {zone: heron, at: [6, 2], mute: {start: off}}
  handheld: {zone: heron, radio: true, zones: [heron, plover], mute: {}}
loudspeakers:
  heron-ceiling: {zone: heron, at: [6, 8]}
  tern-ceiling: {zone: tern, at: [6, 22]}
"""
)


@pytest.fixture
async def hall(folder: Path, start: Callable[..., Awaitable[Running]], clock: VirtualClock) -> Running:
    write_venue(folder, TRAVELLING)
    return await start(clock=clock)


async def get(hall: Running, path: str) -> dict[str, Any]:
    answer = await hall.http.get(path)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


async def test_an_overflow_goes_one_way_until_it_ends(hall: Running) -> None:
    """It is told beside the groups, which stay, and in words that were configured."""
    answer = await hall.http.put("/overflows/balcony")
    assert (answer.status_code, answer.json()["zones"]) == (200, ["tern"])
    groups = await get(hall, "/groups")
    assert groups["groups"] == [["heron"], ["plover"], ["tern"], ["foyer"]]
    flow = groups["one_way"]["balcony"]
    assert (flow["name"], flow["from"], flow["to"], flow["carries"], flow["ends"]) == (
        "To the balcony", "heron", "tern", ["sound"], "hand",
    )  # fmt: skip
    assert (await get(hall, "/state"))["one_way"] == groups["one_way"]
    tern = await get(hall, "/zones/tern")
    assert tern["controls"]["program"]["options"] == [
        "lectern", "laptop", "heron/lectern", "heron/laptop", "venue/music",
    ]  # fmt: skip
    assert (await hall.http.delete("/overflows/balcony")).status_code == 200
    assert (await get(hall, "/overflows"))["one_way"] == {}


async def test_a_body_with_zones_is_a_join(hall: Running) -> None:
    """Under either address, and told under either name."""
    await hall.http.put("/overflows/gala", json={"zones": ["heron", "tern"]})
    await hall.http.put("/joins/fair", json={"zones": ["plover", "foyer"]})
    joins = {"gala": ["heron", "tern"], "fair": ["plover", "foyer"]}
    groups = await get(hall, "/groups")
    assert (groups["joins"], groups["overflows"]) == (joins, joins)
    assert (await hall.http.delete("/joins/gala")).status_code == 200
    assert (await hall.http.delete("/overflows/fair")).status_code == 200
    assert (await get(hall, "/overflows"))["joins"] == {}


async def test_what_is_one_cannot_be_the_other(hall: Running) -> None:
    """A name is that of a join or of an overflow; a cabled microphone stays; and a dry run changes nothing."""
    await hall.http.put("/joins/gala", json={"zones": ["heron", "plover"]})
    for path, body, kind in [
        ("/overflows/gala", {"from": "heron", "to": "tern"}, "/taken"),
        ("/overflows/way", {"from": "heron", "to": "plover"}, "/joined"),
        ("/microphones/lectern", {"zone": "plover"}, "/not-radio"),
        ("/microphones/handheld", {"zone": "tern"}, "/out-of-reach"),
    ]:
        answer = await hall.http.put(path, json=body)
        assert (answer.status_code, answer.json()["type"].endswith(kind)) == (409, True), answer.text
    foreseen = await hall.http.put("/overflows/balcony?dry_run=true")
    assert [event["type"] for event in foreseen.json()["events"]] == ["one-way"]
    assert (await get(hall, "/groups"))["one_way"] == {}


async def test_microphones_say_where_they_are_heard(hall: Running) -> None:
    """Those that are open; and the sound plan goes by it."""
    await hall.http.put("/overflows/balcony")
    found = (await get(hall, "/microphones"))["microphones"]
    assert (found["lectern"]["open"], found["lectern"]["heard_in"]) == (True, ["heron", "tern"])
    assert (found["handheld"]["open"], found["handheld"]["heard_in"]) == (False, [])
    plan = (await get(hall, "/sound-plan"))["groups"][0]
    assert plan["gains"] == {
        "lectern": {"heron-ceiling": -6.0, "tern-ceiling": 0.0},
        "handheld": {"heron-ceiling": "off", "tern-ceiling": "off"},
    }


async def test_a_radio_microphone_is_assigned_to_another_zone(hall: Running) -> None:
    """Muted, and with its controls there."""
    await hall.http.post("/zones/heron/actions", json={"control": "handheld-mute", "do": "set", "value": False})
    answer = await hall.http.put("/microphones/handheld", json={"zone": "plover"})
    assert (answer.status_code, answer.json()["zones"]) == (200, ["heron", "plover"])
    assert "handheld-mute" not in (await get(hall, "/zones/heron"))["controls"]
    assert (await get(hall, "/zones/plover"))["controls"]["handheld-mute"]["value"] is True
    refused = await hall.http.post(
        "/zones/heron/actions", json={"control": "handheld-mute", "do": "set", "value": True}
    )
    assert (refused.status_code, refused.json()["zone"]) == (409, "plover")


async def test_panels_hear_of_an_overflow_and_of_what_they_may_choose(hall: Running) -> None:
    """In one message each: the receiving one has other options, the others the news alone."""
    async with hall.panel("tern-wall") as tern, hall.panel("foyer-wall") as foyer:
        assert tern.heard[0]["one_way"] == {}
        assert tern.heard[0]["microphones"]["lectern"]["heard_in"] == ["heron"]
        await hall.http.put("/overflows/balcony")
        await hall.http.put("/controllers/heron-wall/links/plover")
        await tern.fence()
        await foyer.fence()
        change = tern.changes()[0]
        assert list(change["one_way"]) == ["balcony"]
        assert change["microphones"]["lectern"]["heard_in"] == ["heron", "tern"]
        assert "heron/laptop" in change["controller"]["controls"]["program"]["options"]
        assert "controller" not in foyer.changes()[0]


async def test_a_microphone_that_goes_is_a_new_view(hall: Running) -> None:
    """As there are other controls; and what flows over from a group changes with the group."""
    async with hall.panel("plover-wall") as plover:
        assert "handheld-mute" not in plover.heard[0]["controller"]["controls"]
        await hall.http.put("/microphones/handheld", json={"zone": "plover"})
        fresh = await plover.until("welcome")
        assert fresh["controller"]["controls"]["handheld-mute"]["value"] is True
        await hall.http.put("/overflows/balcony")
    async with hall.panel("tern-wall") as tern:
        await hall.http.put("/partitions/heron-plover", json={"position": "open"})
        await hall.advance(3.0)
        await tern.fence()
        options = tern.changes()[-1]["controller"]["controls"]["program"]["options"]
        assert "plover/laptop" in options
        assert tern.changes()[-1]["microphones"]["handheld"]["heard_in"] == ["heron", "plover", "tern"]


async def test_the_venue_says_what_is_configured(hall: Running) -> None:
    """For those who offer it by name."""
    venue = await get(hall, "/venue")
    assert venue["venue_sources"] == {"music": {"name": "Background music", "carries": ["sound"]}}
    assert venue["overflows"]["balcony"]["from"] == "heron"
    assert venue["zones"]["heron"]["controls"]["lectern-mute"]["name"] == "Lectern muted"
