"""The evening over HTTP and on a panel's socket: more time, what is kept on, paging, presence, and marked walls."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from roomlink.core.commands import CLOCK, AnnounceRoutine
from roomlink.core.instants import rfc3339
from roomlink.testing.clock import VirtualClock
from tests.api.harness import HARBOUR, Panel, Running, write_venue

Data = dict[str, Any]
EVENING = (
    HARBOUR
    + """
bookings: {warn: 10min, extend: [15min, 30min]}
routines:
  all-off: {name: All off, scene: dinner, cron: {hour: 23}, unless_used: 20min, zones: [heron, plover]}
paging:
  desk: {control: heron.talkback, zones: [plover], ducks: [volume], by: 12}
presence:
  heron: {device: relays, point: {name: somebody}}
devices:
  relays: {driver: simulated}
"""
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_venue(tmp_path / "harbour", EVENING)


async def gala(service: Running, clock: VirtualClock, minutes: float) -> tuple[str, str]:
    """A booking of Heron that is on; gives its name and its date."""
    now = service.writer.clock.stamp()
    times = {"start": rfc3339(float(int(now) - 60)), "end": rfc3339(float(int(now)) + 60.0 * minutes)}
    body = {"title": "Gala", "zones": ["heron"], "set_up": 0, "clear_down": 0, **times}
    answer = await service.http.post("/bookings", json=body)
    assert answer.status_code == 200, answer.text
    name: str = answer.json()["booking"]
    clock.advance(1.0)
    await service.settled()
    seen = (await service.http.get(f"/bookings/{name}")).json()
    return name, seen["occurrences"][0]["occurrence"]


async def ask(panel: Panel, **message: Any) -> Data:
    """The answer: ``ok`` or ``problem``."""
    await panel.send(id="q", **message)
    while (data := await panel.next()).get("id") != "q":
        pass
    return data


async def test_a_date_that_is_on_is_extended(service: Running, clock: VirtualClock) -> None:
    """And refused with the time until which the zones are free."""
    name, key = await gala(service, clock, 5.0)
    told = (await service.http.get("/evening")).json()
    assert [offer["minutes"] for offer in told["endings"][0]["offers"]] == [15.0, 30.0]
    path = f"/bookings/{name}/occurrences/{key}/extend"
    done = await service.http.post(path, json={"minutes": 15})
    assert (done.status_code, done.json()["zones"]) == (200, ["heron"])
    for body, status, kind in (
        ({"minutes": 0}, 422, "bad-value"),
        ({}, 422, "bad-value"),
        ({"minutes": 1000}, 422, "bad-value"),
    ):
        answer = await service.http.post(path, json=body)
        assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{kind}")
    now = service.writer.clock.stamp()
    later = {"start": rfc3339(float(int(now)) + 3600.0), "end": rfc3339(float(int(now)) + 7200.0)}
    await service.http.post(
        "/bookings", json={"title": "Next", "zones": ["heron"], "set_up": 0, "clear_down": 0, **later}
    )
    answer = await service.http.post(path, json={"minutes": 60})
    assert (answer.status_code, answer.json()["type"], answer.json()["until"]) == (
        409,
        "/problems/not-free",
        later["start"],
    )


async def test_people_at_a_panel_take_more_time_and_keep_on_what_is_theirs(
    service: Running, clock: VirtualClock
) -> None:
    """A panel of other zones speaks for its own."""
    name, key = await gala(service, clock, 5.0)
    async with service.panel("heron-wall") as heron, service.panel("tern-wall") as tern:
        welcome = heron.heard[0]
        assert [one["booking"] for one in welcome["controller"]["endings"]] == [name]
        wish = {"type": "extend", "booking": name, "occurrence": key, "minutes": 15}
        refused = await ask(tern, **wish)
        assert refused["type"] == "problem"
        assert refused["problem"]["type"] == "/problems/out-of-reach"
        assert (await ask(heron, **wish))["type"] == "ok"
        await service.http.post("/zones/plover/actions", json={"control": "volume", "do": "set", "value": -20})
        stamp = service.writer.clock.stamp()
        await service.writer.submit(AnnounceRoutine(CLOCK, "all-off", stamp + 300.0))
        refused = await ask(heron, type="keep-on", routine="all-off")
        assert refused["problem"]["type"] == "/problems/nothing-closes"
    async with service.panel("plover-wall") as plover:
        told = plover.heard[0]["controller"]["closings"]
        assert [(one["zone"], one["warned"]) for one in told] == [("plover", True)]
        assert (await ask(plover, type="keep-on", routine="all-off"))["type"] == "ok"
    told = (await service.http.get("/evening")).json()["closings"]
    assert [(one["why"], one["warned"]) for one in told] == [("kept on by plover-wall", False)]
    done = await service.http.post("/routines/all-off/keep-on", json={"zones": ["plover"]})
    assert done.json()["zones"] == ["plover"]


async def test_a_wall_is_marked_and_shown_so(service: Running) -> None:
    """With who says so and why."""
    assert (await service.http.put("/partitions/heron-plover/do-not-move", json={"why": ""})).status_code == 422
    done = await service.http.put("/partitions/heron-plover/do-not-move", json={"why": "the track is bent"})
    assert done.json()["zones"] == ["heron", "plover"]
    wall = (await service.http.get("/partitions")).json()["partitions"]["heron-plover"]
    assert wall["do_not_move"]["why"] == "the track is bent"
    assert (await service.http.delete("/partitions/heron-plover/do-not-move")).status_code == 200
    assert (await service.http.get("/partitions")).json()["partitions"]["heron-plover"]["do_not_move"] is None


async def test_paging_and_presence_are_told_over_http_too(service: Running) -> None:
    """And seen in the zones that they concern."""
    assert (await service.http.put("/paging/desk", json={"active": True})).json()["zones"] == ["plover"]
    zone = (await service.http.get("/zones/plover")).json()
    assert zone["controls"]["volume"]["ducked"] == 12.0
    assert (await service.http.put("/presence/heron", json={"present": True})).status_code == 200
    assert (await service.http.get("/zones/heron")).json()["present"] is True
    told = (await service.http.get("/evening")).json()
    assert told["paging"]["desk"]["active"] is not None
    assert told["presence"]["heron"] is not None
    assert (await service.http.put("/paging/door", json={"active": True})).status_code == 404
