"""``api.rest`` and ``api.routes``: every operation with good input, over a real port."""

from __future__ import annotations

import asyncio
from pathlib import Path

import httpx
import pytest

from roomlink import limits
from roomlink.api import rest
from roomlink.api.app import application
from roomlink.core.commands import SERVICE, Actor, Configure, RecallScene, ReportWall
from roomlink.core.snapshot import same
from roomlink.core.state import State
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.engine import Engine
from roomlink.runtime.writer import RETRY_S
from roomlink.testing.faults import FaultyJournal
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, Running, running, write_venue

SET = {"control": "volume", "do": "set", "value": -20}


async def get(service: Running, path: str) -> dict:
    answer = await service.http.get(path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/json"
    return answer.json()


async def test_the_venue_is_told_as_configured(service: Running) -> None:
    """Zones with their controls in real units, partitions, controllers, scenes."""
    venue = await get(service, "/venue")
    assert venue["venue"] == {"id": "harbour", "name": "Harbour Hall", "timezone": "America/Halifax"}
    assert list(venue["zones"]) == ["heron", "plover", "tern", "foyer"]
    volume = venue["zones"]["heron"]["controls"]["volume"]
    assert (volume["kind"], volume["unit"], volume["range"]) == ("level", "dB", [-60.0, 0.0])
    assert venue["partitions"]["tern-heron"]["simulated"] is True
    assert venue["partitions"]["heron-plover"]["between"] == ["heron", "plover"]
    assert venue["controllers"]["foyer-wall"]["reach"] == ["foyer"]
    assert venue["scenes"]["dinner"]["zones"] == ["heron", "plover", "tern"]


async def test_state_is_all_views_in_one(service: Running) -> None:
    """What the single views say is what the whole says."""
    await service.http.post("/zones/heron/actions", json=SET)
    whole = await get(service, "/state")
    assert whole["seq"] == 2
    assert whole["zones"]["heron"] == await get(service, "/zones/heron")
    assert whole["controllers"]["heron-wall"] == await get(service, "/controllers/heron-wall")
    assert whole["partitions"] == (await get(service, "/partitions"))["partitions"]
    assert whole["groups"] == (await get(service, "/groups"))["groups"]


async def test_an_action_on_a_zone_is_durable_when_it_is_answered(service: Running) -> None:
    """The reply carries the position and the zones."""
    answer = await service.http.post("/zones/heron/actions", json=SET)
    assert (answer.status_code, answer.json()) == (200, {"seq": 2, "zones": ["heron"]})
    assert service.writer.journal.last_seq == 2
    zone = await get(service, "/zones/heron")
    assert zone["controls"]["volume"] == {
        "kind": "level", "value": -20.0, "moving": None, "by": "http 127.0.0.1",
    }  # fmt: skip


async def test_an_action_through_a_controller_reaches_all_linked_zones(service: Running) -> None:
    """Linked one by one; a press reaches all; unlinking leaves the zone as it is."""
    for zone in ("plover", "tern"):
        linked = await service.http.put(f"/controllers/heron-wall/links/{zone}")
        assert linked.status_code == 200
    assert linked.json()["zones"] == ["heron", "plover", "tern"]
    acted = await service.http.post("/controllers/heron-wall/actions", json=SET)
    assert acted.json()["zones"] == ["heron", "plover", "tern"]
    unlinked = await service.http.delete("/controllers/heron-wall/links/plover")
    assert unlinked.json()["zones"] == ["plover"]
    assert (await get(service, "/zones/plover"))["controls"]["volume"]["value"] == -20.0
    face = await get(service, "/controllers/heron-wall")
    assert [(one["zone"], one["by"]) for one in face["links"]] == [("heron", "home"), ("tern", "hand")]
    await service.http.delete("/controllers/heron-wall/links")
    again = await service.http.delete("/controllers/heron-wall/links")
    assert (again.status_code, again.json()["zones"]) == (200, [])


async def test_a_put_without_a_body_may_carry_a_content_type(service: Running) -> None:
    """Clients that always send one are no less right."""
    answer = await service.http.put(
        "/controllers/heron-wall/links/plover", headers={"Content-Type": "application/json"}, content=b""
    )
    assert answer.status_code == 200


async def test_a_level_on_the_move_is_a_trajectory(service: Running) -> None:
    """Its value is the one of now; it says from where, to where, since when and for how long."""
    await service.http.post("/zones/heron/actions", json={**SET, "value": -10, "over": 4})
    await service.advance(1.0)
    level = (await get(service, "/zones/heron"))["controls"]["volume"]
    assert level["value"] == -25.0
    assert level["moving"] == {
        "from": -30.0, "to": -10.0, "start": "1970-01-12T13:46:40.000Z", "seconds": 4.0, "curve": "linear",
    }  # fmt: skip
    await service.advance(3.0)
    level = (await get(service, "/zones/heron"))["controls"]["volume"]
    assert (level["value"], level["moving"]) == (-10.0, None)


async def test_a_choice_breaks_before_it_makes(service: Running) -> None:
    """In the gap nothing is on and the new option is pending."""
    choose = {"control": "program", "do": "set"}
    await service.http.post("/zones/heron/actions", json={**choose, "value": "lectern"})
    await service.http.post("/zones/heron/actions", json={**choose, "value": "laptop"})
    seen = (await get(service, "/zones/heron"))["controls"]["program"]
    assert (seen["value"], seen["pending"]) == (None, "laptop")
    await service.advance(0.3)
    seen = (await get(service, "/zones/heron"))["controls"]["program"]
    assert (seen["value"], seen["pending"]) == ("laptop", None)


async def test_a_held_action_over_http_ends_by_itself(service: Running) -> None:
    """After `for` seconds, as no finger can be seen."""
    await service.http.post("/zones/heron/actions", json={"control": "talkback", "do": "press", "for": 2})
    await service.advance(1.9)
    assert (await get(service, "/zones/heron"))["controls"]["talkback"]["value"] is True
    await service.advance(0.1)
    assert (await get(service, "/zones/heron"))["controls"]["talkback"]["value"] is False


async def test_a_raise_over_http_moves_at_the_rate_and_stops(service: Running) -> None:
    """Full range in 3 s (common practice, no source): 1.5 s of raising moves half the range."""
    await service.http.post("/zones/heron/actions", json={**SET, "value": -60})
    await service.http.post("/controllers/heron-wall/actions", json={"control": "volume", "do": "raise", "for": 1.5})
    await service.advance(1.5)
    await service.advance(5.0)
    assert (await get(service, "/zones/heron"))["controls"]["volume"]["value"] == pytest.approx(-30.0, abs=0.3)


async def test_a_reported_position_counts_after_its_settle_time(service: Running) -> None:
    """And joins the zones then."""
    answer = await service.http.put("/partitions/heron-plover", json={"position": "open"})
    assert answer.json()["zones"] == ["heron", "plover"]
    wall = (await get(service, "/partitions"))["partitions"]["heron-plover"]
    assert (wall["position"], wall["reported"]) == ("unknown", "open")
    await service.advance(2.0)
    wall = (await get(service, "/partitions"))["partitions"]["heron-plover"]
    assert (wall["position"], wall["trust"], wall["reported"]) == ("open", "sensed", None)
    assert (await get(service, "/groups"))["groups"] == [["heron", "plover"], ["tern"], ["foyer"]]


async def test_contacts_mean_a_position(service: Running) -> None:
    """Neither end made is moving, both is unknown."""
    for contacts, position in (
        ({"closed": True, "stacked": False}, "closed"),
        ({"closed": False}, "moving"),
        ({"stacked": True}, "open"),
        ({"closed": True}, "unknown"),
    ):
        await service.http.put("/partitions/plover-tern", json={"contacts": contacts})
        assert (await get(service, "/partitions"))["partitions"]["plover-tern"]["position"] == position


async def test_a_pin_holds_against_the_sensor_for_its_time(service: Running) -> None:
    """From at once; then the sensed position counts again."""
    await service.http.put("/partitions/plover-tern", json={"position": "closed"})
    await service.http.put("/partitions/plover-tern", json={"position": "open", "pin": 60})
    wall = (await get(service, "/partitions"))["partitions"]["plover-tern"]
    assert (wall["position"], wall["trust"]) == ("open", "pinned")
    assert wall["pinned_until"] is not None
    assert (wall["sensed"], wall["reported"]) == ("closed", "closed")
    await service.advance(60.0)
    wall = (await get(service, "/partitions"))["partitions"]["plover-tern"]
    assert (wall["position"], wall["trust"], wall["pinned_until"]) == ("closed", "sensed", None)
    await service.http.put("/partitions/plover-tern", json={"position": "open", "pin": 60})
    await service.http.put("/partitions/plover-tern", json={"pin": 0})
    wall = (await get(service, "/partitions"))["partitions"]["plover-tern"]
    assert (wall["position"], wall["trust"]) == ("closed", "sensed")


async def test_a_report_over_http_is_refused_while_a_pin_stands(service: Running) -> None:
    """It would be lost on the way: who means it takes the pin away."""
    await service.http.put("/partitions/plover-tern", json={"position": "open", "pin": 60})
    answer = await service.http.put("/partitions/plover-tern", json={"position": "closed"})
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/pinned")
    assert "`pin` of 0" in answer.json()["detail"]
    answer = await service.http.put("/partitions/plover-tern", json={"position": "closed", "pin": 0})
    assert answer.status_code == 200
    wall = (await get(service, "/partitions"))["partitions"]["plover-tern"]
    assert (wall["position"], wall["pinned_until"]) == ("closed", None)


async def test_a_wall_says_that_its_position_was_told_over_http(service: Running) -> None:
    """And by whom; it counts like a sensed one."""
    await service.http.put("/partitions/plover-tern", json={"position": "open"})
    wall = (await get(service, "/partitions"))["partitions"]["plover-tern"]
    assert (wall["trust"], wall["source"], wall["by"]) == ("sensed", "http", "http 127.0.0.1")


async def test_a_simulated_wall_runs_to_its_end(service: Running) -> None:
    """It moves, arrives, and counts once steady."""
    await service.http.put("/partitions/tern-heron", json={"position": "closed"})
    await service.advance(1.0)
    answer = await service.http.put("/simulated/tern-heron", json={"position": "open"})
    assert answer.status_code == 200
    await service.advance(3.0)
    await service.advance(1.0)
    assert (await get(service, "/partitions"))["partitions"]["tern-heron"]["position"] == "open"
    assert ["heron", "tern"] in (await get(service, "/groups"))["groups"]


async def test_an_overflow_joins_zones_until_it_ends(service: Running) -> None:
    """Though no wall between them is open."""
    answer = await service.http.put("/overflows/gala", json={"zones": ["heron", "tern"]})
    assert answer.json() == {"seq": 2, "zones": ["heron", "tern"]}
    groups = await get(service, "/groups")
    joins = {"gala": ["heron", "tern"]}
    joined = [["heron", "tern"], ["plover"], ["foyer"]]
    leads = {"heron": "heron-wall"}
    assert groups == {"groups": joined, "leads": leads, "overflows": joins, "joins": joins, "one_way": {}}
    assert (await service.http.delete("/overflows/gala")).status_code == 200
    assert (await get(service, "/groups"))["overflows"] == {}


async def test_a_scene_is_recalled_where_it_is_asked_for(service: Running) -> None:
    """In its own scope without a body, in a controller's zones, in named zones, in a group."""
    await service.http.put("/controllers/plover-wall/links/tern")
    for body, zones in (
        (None, ["heron", "plover", "tern"]),
        ({"controller": "plover-wall"}, ["plover", "tern"]),
        ({"zones": ["tern"]}, ["tern"]),
        ({"group": "heron", "over": 2}, ["heron"]),
    ):
        answer = await service.http.post("/scenes/dinner/recall", json=body)
        assert (answer.status_code, answer.json()["zones"]) == (200, zones)
    controls = (await get(service, "/zones/plover"))["controls"]
    assert controls["volume"]["value"] == -38.0
    assert controls["mute"]["value"] is False


@pytest.mark.parametrize(("path", "body"), [
    ("/overflows/{name}", {"zones": ["heron", "tern"]}),
    ("/scenes/{name}", {"zone": "heron", "values": {"volume": -50}}),
])  # fmt: skip
@pytest.mark.parametrize("name", ["Gala", "2nd", "late night", "-", "caf\u00e9"])
async def test_a_name_given_over_http_follows_the_rule_of_the_configuration(
    service: Running, path: str, body: dict[str, object], name: str
) -> None:
    """The refusal names the rule."""
    answer = await service.http.put(path.format(name=name), json=body)
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/bad-value")
    assert "lower-case letters, digits and hyphens, beginning with a letter" in answer.json()["detail"]


async def test_a_saved_scene_is_removed_under_its_tag(service: Running) -> None:
    """The configured one counts again, and is not removed from here."""
    first = await service.http.get("/scenes/dinner")
    await service.http.put(
        "/scenes/dinner", json={"values": {"volume": -50}}, headers={"If-Match": first.headers["ETag"]}
    )
    assert (await service.http.delete("/scenes/dinner")).status_code == 428
    stale = await service.http.delete("/scenes/dinner", headers={"If-Match": first.headers["ETag"]})
    assert stale.status_code == 412
    tag = (await service.http.get("/scenes/dinner")).headers["ETag"]
    assert (await service.http.delete("/scenes/dinner", headers={"If-Match": tag})).status_code == 200
    assert (await service.http.get("/scenes/dinner")).json() == first.json()
    gone = await service.http.delete("/scenes/dinner", headers={"If-Match": "*"})
    assert (gone.status_code, gone.json()["type"]) == (404, "/problems/unknown-name")


async def test_a_scene_is_saved_captured_and_replaced_under_its_tag(service: Running) -> None:
    """New without a condition; replaced only by who saw the present version."""
    created = await service.http.put("/scenes/late", json={"zone": "heron", "values": {"volume": -50, "program": None}})
    assert created.status_code == 200
    tag = created.headers["etag"]
    seen = await service.http.get("/scenes/late")
    assert seen.headers["etag"] == tag == f'"{seen.json()["etag"]}"'
    assert seen.json()["values"] == {"volume": -50.0, "program": None}
    replaced = await service.http.put("/scenes/late", json={"capture": ["heron"]}, headers={"If-Match": tag})
    assert replaced.status_code == 200
    assert replaced.headers["etag"] != tag
    assert (await get(service, "/scenes/late"))["values"] == {"volume": -30.0, "program": None}
    assert set((await get(service, "/scenes"))["scenes"]) == {"dinner", "late"}


@pytest.mark.parametrize(
    ("header", "status"),
    [
        ('"{tag}"', 200),
        ('W/"{tag}"', 412),
        ('"other"', 412),
        ('W/"other"', 412),
        ('"other", "{tag}"', 200),
        ('W/"{tag}", "other"', 412),
        ("*", 200),
    ],
)
async def test_if_match_compares_strongly(service: Running, header: str, status: int) -> None:
    """RFC 9110 §8.8.3.2 and §13.1.1: a weak tag never matches; a false condition is 412."""
    tag = (await get(service, "/scenes/dinner"))["etag"]
    answer = await service.http.put(
        "/scenes/dinner", json={"values": {"volume": -35}}, headers={"If-Match": header.replace("{tag}", tag)}
    )
    assert answer.status_code == status
    seen = (await get(service, "/scenes/dinner"))["values"]["volume"]
    assert seen == (-35.0 if status == 200 else -38)


async def test_replacing_without_a_condition_says_how(service: Running) -> None:
    """428 (RFC 6585) explains how to resubmit; If-None-Match: * refuses to replace, and creates what is new."""
    body = {"values": {"volume": -35}}
    missing = await service.http.put("/scenes/dinner", json=body)
    assert missing.status_code == 428
    assert "If-Match" in missing.json()["detail"]
    refused = await service.http.put("/scenes/dinner", json=body, headers={"If-None-Match": "*"})
    assert (refused.status_code, refused.json()["type"]) == (412, "/problems/exists")
    gone = await service.http.put("/scenes/new", json={**body, "zone": "heron"}, headers={"If-Match": "*"})
    assert gone.status_code == 412
    created = await service.http.put("/scenes/new", json={**body, "zone": "heron"}, headers={"If-None-Match": "*"})
    assert created.status_code == 200


WRITES = [
    ("POST", "/zones/heron/actions", SET, "control"),
    ("POST", "/controllers/heron-wall/actions", SET, "control"),
    ("PUT", "/controllers/heron-wall/links/tern", None, "link"),
    ("DELETE", "/controllers/heron-wall/links/heron", None, "link-ended"),
    ("DELETE", "/controllers/heron-wall/links", None, "link-ended"),
    ("PUT", "/partitions/plover-tern", {"position": "open"}, "regrouped"),
    ("PUT", "/simulated/tern-heron", {"position": "open"}, "wall"),
    ("PUT", "/overflows/gala", {"zones": ["heron", "tern"]}, "overflow"),
    ("PUT", "/scenes/late", {"zone": "heron", "values": {"volume": -50}}, "scene"),
    ("POST", "/scenes/dinner/recall", None, "control"),
]


@pytest.mark.parametrize(("method", "path", "body", "event"), WRITES, ids=lambda value: str(value)[:40])
async def test_a_dry_run_tells_the_events_and_changes_nothing(
    service: Running, method: str, path: str, body: dict | None, event: str
) -> None:
    """On every write; then the real one causes those events."""
    before = service.writer.state.copy()
    dry = await service.http.request(method, path, json=body, params={"dry_run": "true"})
    assert dry.status_code == 200
    told = dry.json()
    assert (told["dry_run"], told["seq"]) == (True, 1)
    assert event in {one["type"] for one in told["events"]}
    await service.advance(10.0)
    assert service.writer.journal.last_seq == 1
    assert same(service.writer.state, before)
    assert (await service.http.request(method, path, json=body)).status_code == 200
    await service.settled()
    (entry,) = (await get(service, "/events?after=1&limit=1"))["events"]
    assert [one["type"] for one in entry["events"]] == [one["type"] for one in told["events"]]


async def test_a_dry_run_is_refused_like_the_real_thing(service: Running) -> None:
    """With the same problem."""
    dry = await service.http.post("/zones/heron/actions?dry_run=true", json={**SET, "value": 99})
    real = await service.http.post("/zones/heron/actions", json={**SET, "value": 99})
    assert (dry.status_code, dry.json()) == (real.status_code, real.json())


def test_a_dry_run_counts_what_is_due_by_then(folder: Path) -> None:
    """A wall whose settle time has passed stands where it was reported, even before anybody woke the venue for it."""
    loaded = load(folder)
    engine = Engine(State(), 0)
    by = Actor("crew")
    for command, now in (
        (Configure(SERVICE, loaded.data, loaded.digest), 1000.0),
        (ReportWall(by, "heron-plover", "open"), 1001.0),
    ):
        entry = engine.take(command, now).entry
        assert entry is not None
        engine.committed(entry)
    recall = RecallScene(by, "dinner", None, None, "heron", 0.0)
    assert rest.foreseen(engine, recall, 1002.0).reply["zones"] == ["heron"]
    before = engine.ahead.copy()
    assert rest.foreseen(engine, recall, 1004.0).reply["zones"] == ["heron", "plover"]
    assert same(engine.ahead, before)
    assert engine.head == 2


@pytest.mark.parametrize("path", ["/state", "/healthz", "/panel/heron-wall", "/web/src/store.js"])
async def test_a_host_that_is_not_ours_is_refused_for_everything(service: Running, path: str) -> None:
    """Another site's name can be made to lead here; reading is refused too, and told in a sentence."""
    base = service.url + ("/api/v1" if path == "/state" else "")
    for host in ("rebound.example", "rebound.example:8080", "127.0.0.1.rebound.example", "localhost.", "[::1", ""):
        answer = await service.http.get(base + path, headers={"Host": host})
        assert answer.status_code == 403, host
        assert answer.headers["content-type"] == "application/problem+json"
        found = answer.json()
        assert found["type"] == "/problems/foreign-host"
        assert "127.0.0.1" in found["detail"]
    for host in ("localhost", "LOCALHOST:1", "127.0.0.1", "[::1]", "[::1]:8080"):
        assert (await service.http.get(base + path, headers={"Host": host})).status_code == 200, host


async def test_whoever_puts_the_service_together_says_by_which_names_it_goes(service: Running) -> None:
    """By default by those of this machine to itself."""
    app = application(service.writer, service.simulated, hosts=("hall.example",))
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://hall.example") as client:
        assert (await client.get("/api/v1/state")).status_code == 200
        assert (await client.get("/api/v1/state", headers={"Host": "localhost"})).status_code == 403


async def test_a_request_with_a_key_is_carried_out_once(service: Running) -> None:
    """The second gets the first one's answer, whatever happened meanwhile; another payload is refused."""
    key = {"Idempotency-Key": "8e03978e-40d5-43dd-bc93-6894a57f9324"}
    first = await service.http.post("/zones/heron/actions", json=SET, headers=key)
    await service.http.post("/zones/heron/actions", json={**SET, "value": -50})
    second = await service.http.post("/zones/heron/actions", json=SET, headers=key)
    assert first.status_code == second.status_code == 200
    assert first.json() == second.json() == {"seq": 2, "zones": ["heron"]}
    assert (await get(service, "/zones/heron"))["controls"]["volume"]["value"] == -50.0
    other = await service.http.post("/zones/heron/actions", json={**SET, "value": -10}, headers=key)
    assert (other.status_code, other.json()["field"]) == (422, "Idempotency-Key")
    elsewhere = await service.http.post("/zones/tern/actions", json=SET, headers=key)
    assert elsewhere.status_code == 422


async def test_a_key_counts_also_when_all_are_sent_at_once(service: Running) -> None:
    """Twenty of the same at one time are one entry."""
    answers = await asyncio.gather(
        *(service.http.post("/zones/heron/actions", json=SET, headers={"Idempotency-Key": "once"}) for _ in range(20))
    )
    assert {answer.json()["seq"] for answer in answers} == {2}
    assert service.writer.journal.last_seq == 2


async def test_a_null_is_another_payload_than_nothing(service: Running) -> None:
    """`align` to none and `align` to what is shown are two requests."""
    key = {"Idempotency-Key": "k"}
    path = "/controllers/heron-wall/actions"
    await service.http.post(path, json={"control": "program", "do": "align"}, headers=key)
    other = await service.http.post(path, json={"control": "program", "do": "align", "value": None}, headers=key)
    assert other.status_code == 422


async def test_a_key_outlives_a_restart(folder: Path) -> None:
    """It is part of the journal."""
    journal = MemoryJournal()
    answers = []
    for _ in range(2):
        async with running(folder, journal=journal) as service:
            answers.append(await service.http.post("/zones/heron/actions", json=SET, headers={"Idempotency-Key": "k"}))
    assert answers[0].json() == answers[1].json()


async def test_state_then_is_what_was_true_then(service: Running) -> None:
    """Also when a snapshot lies between; a time with an offset may be written with a bare plus sign."""
    await service.advance(10.0)
    await service.http.post("/zones/heron/actions", json=SET)
    then = await get(service, "/state")
    await service.advance(10.0)
    service.writer.save_snapshot()
    await service.http.put("/controllers/heron-wall/links/tern")
    await service.http.post("/zones/heron/actions", json={**SET, "value": -50})
    await service.advance(10.0)
    found = await get(service, f"/state?at={then['at']}")
    assert found == then
    found = await get(service, "/state?at=1970-01-12T09:46:55-04:00")
    assert found["zones"] == then["zones"]
    found = await get(service, "/state?at=1970-01-12T17:46:55+04:00")
    assert found["zones"] == then["zones"]


async def test_a_journal_that_fails_is_told_and_nothing_happens(start, clock) -> None:
    """503 with Retry-After, not ready; then all is well again."""
    journal = FaultyJournal(MemoryJournal())
    service = await start(clock=clock, journal=journal)
    journal.fail(1, "no space left on the disk")
    answer = await service.http.post("/zones/heron/actions", json=SET)
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/journal-failed")
    assert "no space left" in answer.json()["detail"]
    assert answer.headers["retry-after"] == "1"
    assert (await get(service, "/zones/heron"))["controls"]["volume"]["value"] == -30.0
    ready = await service.http.get(service.url + "/readyz")
    assert (ready.status_code, "no space left" in ready.text) == (503, True)
    assert (await service.http.post("/zones/heron/actions", json=SET)).json()["seq"] == 2
    assert (await service.http.get(service.url + "/readyz")).status_code == 200


async def test_who_unlinks_while_the_disk_is_full_is_told_that_it_counts(start, clock, monkeypatch) -> None:
    """What goes towards safe waits for the disk, a person does not; an answer that never comes looks like no stop."""
    monkeypatch.setattr(limits, "SAFE_ANSWER_S", 0.05)
    journal = FaultyJournal(MemoryJournal())
    service = await start(clock=clock, journal=journal)
    journal.fail()
    answer = await service.http.delete("/controllers/heron-wall/links")
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/journal-failed")
    assert answer.json()["detail"].startswith("it was acted on at once, and is put down as soon as the journal")
    journal.heal()
    await service.advance(RETRY_S)
    assert (await get(service, "/controllers/heron-wall"))["links"] == []


async def test_a_locked_controller_says_who_leads(start, clock, folder: Path) -> None:
    """While another leads its group; after the wall has closed it acts again."""
    write_venue(folder, HARBOUR.replace("others: mirror", "others: lock"))
    service = await start(clock=clock)
    await service.http.put("/partitions/plover-tern", json={"position": "open"})
    face = await get(service, "/controllers/tern-wall")
    assert face["locked"] == {"by": "plover-wall"}
    for method, path, body in (
        ("POST", "/controllers/tern-wall/actions", SET),
        ("PUT", "/controllers/tern-wall/links/heron", None),
    ):
        answer = await service.http.request(method, path, json=body)
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/locked")
        assert answer.json()["by"] == "plover-wall"
    # Unlinking lets go and reaches less than before: nothing stands in the way.
    assert (await service.http.delete("/controllers/tern-wall/links")).status_code == 200
    await service.http.put("/partitions/plover-tern", json={"position": "closed"})
    assert (await service.http.post("/controllers/tern-wall/actions", json=SET)).status_code == 200


async def test_a_reloaded_configuration_is_served_at_once(service: Running, folder: Path) -> None:
    """New names are there, the rest keeps its state."""
    await service.http.post("/zones/heron/actions", json=SET)
    loaded = load(
        write_venue(folder, HARBOUR.replace("foyer: {type: lobby}", "foyer: {type: lobby}\n  gull: {type: section}"))
    )
    await service.configure(loaded)
    assert (await get(service, "/zones/gull"))["controls"]["volume"]["value"] == -30.0
    assert (await get(service, "/zones/heron"))["controls"]["volume"]["value"] == -20.0
    assert (await get(service, "/venue"))["digest"] == loaded.digest
