"""``api.problems``: every refusal names the field and says what would be right (RFC 9457)."""

from __future__ import annotations

import json
from typing import Any

import httpx
import pytest

from roomlink import limits
from roomlink.api.problems import KINDS
from tests.api.harness import Running

VOLUME = {"control": "volume", "do": "set", "value": -20}


def problem(answer: httpx.Response) -> dict[str, Any]:
    """The problem of an answer, with what holds for each of them."""
    assert answer.headers["content-type"] == "application/problem+json"
    found: dict[str, Any] = answer.json()
    assert found["status"] == answer.status_code
    assert found["type"].startswith("/problems/")
    assert found["type"].removeprefix("/problems/") in KINDS
    assert found["title"]
    assert found["detail"]
    return found


def act(**changed: Any) -> dict[str, Any]:
    return {**VOLUME, **changed}


HERON = "/zones/heron/actions"
PANEL = "/controllers/heron-wall/actions"

BAD: list[tuple[str, str, Any, int, str | None, str]] = [
    # method, path, body, status, field, a part of what the detail says
    ("GET", "/zones/attic", None, 404, "zone", "heron"),
    ("GET", "/controllers/attic-wall", None, 404, "controller", "heron-wall"),
    ("GET", "/scenes/brunch", None, 404, "scene", "dinner"),
    ("GET", "/attic", None, 404, None, "/api/v1/attic"),
    ("POST", "/zones/attic/actions", VOLUME, 404, "zone", "heron"),
    ("POST", HERON, act(control="bass"), 404, "control", "volume"),
    ("POST", HERON, act(value=-60.01), 422, "value", "from -60 to 0 dB"),
    ("POST", HERON, act(value=0.01), 422, "value", "from -60 to 0 dB"),
    ("POST", HERON, act(value=10**400), 422, "value", ""),
    ("POST", HERON, act(value="loud"), 422, "value", "from -60 to 0 dB"),
    ("POST", HERON, act(value=True), 422, "value", "from -60 to 0 dB"),
    ("POST", HERON, act(value=None), 422, "value", "from -60 to 0 dB"),
    ("POST", HERON, act(value=[-20]), 422, "value", ""),
    ("POST", HERON, act(value={"dB": -20}), 422, "value", ""),
    ("POST", HERON, act(do="jump"), 422, "do", "'set'"),
    ("POST", HERON, act(do="press"), 422, "do", "raise"),
    ("POST", HERON, act(over=-1), 422, "over", "from 0 to 3600"),
    ("POST", HERON, act(over=3601), 422, "over", "from 0 to 3600"),
    ("POST", HERON, act(over="2s"), 422, "over", "number"),
    ("POST", HERON, act(speed=3), 422, "speed", "not permitted"),
    ("POST", HERON, {"do": "set"}, 422, "control", "required"),
    ("POST", HERON, act(control=""), 422, "control", ""),
    ("POST", HERON, act(control="x" * 300), 422, "control", ""),
    ("POST", HERON, act(control="program", value="gramophone"), 422, "value", "lectern, laptop, none"),
    ("POST", HERON, act(control="mute", value="perhaps"), 422, "value", "true or false"),
    ("POST", HERON, act(control="talkback", value=True), 422, "do", "press, release"),
    ("POST", HERON, act(do="align"), 422, "do", "controllers"),
    ("POST", HERON, act(do="raise"), 409, "for", "at most 10 seconds"),
    ("POST", HERON, act(**{"do": "raise", "for": 11}), 422, "for", "from 0 to 10"),
    ("POST", HERON, act(**{"do": "raise", "for": -1}), 422, "for", "from 0 to 10"),
    ("POST", HERON, [], 422, "body", ""),
    ("POST", HERON, "set", 422, "body", ""),
    ("POST", "/controllers/attic-wall/actions", VOLUME, 404, "controller", "heron-wall"),
    ("POST", PANEL, act(control="bass"), 404, "control", "volume"),
    ("POST", PANEL, act(control="program", value="gramophone"), 422, "value", "lectern"),
    ("PUT", "/controllers/heron-wall/links/attic", None, 404, "zone", "plover"),
    ("PUT", "/controllers/attic-wall/links/heron", None, 404, "controller", "heron-wall"),
    ("PUT", "/controllers/foyer-wall/links/heron", None, 409, None, "out of the reach"),
    ("DELETE", "/controllers/heron-wall/links/attic", None, 404, "zone", "plover"),
    ("PUT", "/partitions/attic", {"position": "open"}, 404, "partition", "heron-plover"),
    ("PUT", "/partitions/heron-plover", {"position": "ajar"}, 422, "position", "closed, open, moving, unknown"),
    ("PUT", "/partitions/heron-plover", {"position": "moving", "pin": 5}, 422, "position", "closed, open"),
    ("PUT", "/partitions/heron-plover", {"position": "open", "pin": -1}, 422, "pin", "from 0 to 604800"),
    ("PUT", "/partitions/heron-plover", {}, 422, "position", "position"),
    ("PUT", "/partitions/heron-plover", {"pin": 5}, 422, "position", "position"),
    ("PUT", "/partitions/heron-plover", {"position": "open", "contacts": {}}, 422, "position", "either"),
    ("PUT", "/partitions/heron-plover", {"position": "open", "contacts": {}, "pin": 0}, 422, "position", "either"),
    ("PUT", "/partitions/heron-plover", {"contacts": {"closed": True}, "pin": 5}, 422, "pin", "position"),
    ("PUT", "/partitions/heron-plover", {"contacts": {"closed": "yes"}}, 422, "contacts.closed", "boolean"),
    ("PUT", "/simulated/attic", {"position": "open"}, 404, "partition", "heron-plover"),
    ("PUT", "/simulated/heron-plover", {"position": "open"}, 409, None, "real wall"),
    ("PUT", "/simulated/tern-heron", {"position": "ajar"}, 422, "position", "closed, open"),
    ("PUT", "/overflows/gala", {"zones": ["heron"]}, 422, "zones", "at least two"),
    ("PUT", "/overflows/gala", {"zones": []}, 422, "zones", "at least two"),
    ("PUT", "/overflows/gala", {"zones": ["heron", "attic"]}, 404, "zone", "heron"),
    ("PUT", "/overflows/gala", {"zones": ["heron", 5]}, 422, "zones.1", "string"),
    ("PUT", "/overflows/gala", {"zones": [5, "heron"]}, 422, "zones.0", "string"),
    ("PUT", f"/overflows/{'x' * 65}", {"zones": ["heron", "tern"]}, 422, "overflow", "64"),
    ("DELETE", "/overflows/gala", None, 404, "overflow", ""),
    ("PUT", "/overflows/gala", None, 422, "from", "give `from` and `to`, or `zones`"),
    ("PUT", "/overflows/gala", {"from": "heron"}, 422, "to", "give `from` and `to`"),
    ("PUT", "/overflows/gala", {"from": "heron", "to": "attic"}, 404, "zone", "plover"),
    ("PUT", "/overflows/gala", {"from": "heron", "to": "heron"}, 422, "to", "another zone"),
    ("PUT", "/overflows/gala", {"from": "heron", "to": "tern", "carries": ["smell"]}, 422, "carries", "sound, picture"),
    ("PUT", "/overflows/gala", {"from": "heron", "zones": ["heron", "tern"]}, 422, "zones", "one or the other"),
    ("PUT", "/joins/gala", {"zones": []}, 422, "zones", "at least two"),
    ("DELETE", "/joins/gala", None, 404, "join", ""),
    ("PUT", "/microphones/trumpet", {"zone": "heron"}, 404, "microphone", ""),
    ("PUT", "/microphones/trumpet", {}, 422, "zone", ""),
    ("PUT", "/scenes/late", {"values": {"volume": -50}}, 422, "type", "`zone`"),
    ("PUT", "/scenes/late", {"zone": "attic", "values": {"volume": -50}}, 404, "zone", "heron"),
    ("PUT", "/scenes/late", {"type": "barn", "values": {"volume": -50}}, 404, "type", "section"),
    ("PUT", "/scenes/late", {"zone": "heron", "values": {"bass": 1}}, 404, "control", "volume"),
    ("PUT", "/scenes/late", {"zone": "heron", "values": {"volume": 1}}, 422, "value", "from -60 to 0 dB"),
    ("PUT", "/scenes/late", {"zone": "heron", "values": {}}, 422, "values", "at least one"),
    ("PUT", "/scenes/late", {"capture": ["attic"]}, 404, "zone", "heron"),
    ("POST", "/scenes/brunch/recall", None, 404, "scene", "dinner"),
    ("POST", "/scenes/dinner/recall", {"zones": ["attic"]}, 404, "zone", "heron"),
    ("POST", "/scenes/dinner/recall", {"zones": ["foyer"]}, 409, None, "heron, plover, tern"),
    ("POST", "/scenes/dinner/recall", {"over": 1e9}, 422, "over", "from 0 to 3600"),
    ("GET", "/state?at=yesterday", None, 422, "at", "RFC 3339"),
    ("GET", "/state?at=2026-05-01T19:42:00", None, 422, "at", "offset"),
    ("GET", "/state?at=2999-01-01T00:00:00Z", None, 422, "at", "lies ahead"),
    ("GET", "/state?at=0001-01-01T00:00:00%2B14:00", None, 422, "at", ""),
    ("GET", "/state?at=9999-12-31T23:59:59-14:00", None, 422, "at", ""),
    ("GET", "/events?limit=0", None, 422, "limit", "from 1 to 1000"),
    ("GET", "/events?limit=1001", None, 422, "limit", "from 1 to 1000"),
    ("GET", "/events?limit=many", None, 422, "limit", "whole number"),
    ("GET", f"/events?after={'9' * 5000}", None, 422, "after", "whole number"),
    ("GET", "/events?after=-1", None, 422, "after", "whole number"),
    ("POST", HERON + "?dry_run=perhaps", VOLUME, 422, "dry_run", "true"),
]


@pytest.mark.parametrize(("method", "path", "body", "status", "field", "says"), BAD, ids=lambda value: str(value)[:48])
async def test_bad_input_is_answered_with_the_field_and_what_is_right(
    service: Running, method: str, path: str, body: Any, status: int, field: str | None, says: str
) -> None:
    """Nothing is changed by it."""
    content = None if body is None else json.dumps(body)
    answer = await service.http.request(method, path, content=content)
    found = problem(answer)
    assert answer.status_code == status, found
    if field is not None:
        assert found["field"] == field, found
    assert says in found["detail"], found
    assert service.writer.journal.last_seq == 1


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b'{"control": }', b"\xff\xfe", b"volume=-20", b'{"control": "\xff"}'],
)
async def test_a_body_that_cannot_be_read_is_400(service: Running, body: bytes) -> None:
    """It says that JSON was expected."""
    answer = await service.http.post(HERON, content=body)
    assert (answer.status_code, "no JSON" in problem(answer)["detail"]) == (400, True)


async def test_numbers_that_are_none_are_refused(service: Running) -> None:
    """NaN and infinity, which some programs write into JSON."""
    for text in ("NaN", "Infinity", "-Infinity", "1e999"):
        for body in (
            f'{{"control": "volume", "do": "set", "value": {text}}}',
            f'{{"control": "volume", "do": "set", "value": -20, "over": {text}}}',
        ):
            answer = await service.http.post(HERON, content=body.encode())
            assert answer.status_code in (400, 422), body
            problem(answer)
    answer = await service.http.put("/partitions/plover-tern", content=b'{"position": "open", "pin": NaN}')
    assert answer.status_code in (400, 422)
    assert service.writer.journal.last_seq == 1


async def test_unknown_names_list_what_there_is(service: Running) -> None:
    """For programs in `allowed`, for people in the sentence."""
    found = problem(await service.http.get("/zones/attic"))
    assert found["allowed"] == ["foyer", "heron", "plover", "tern"]
    found = problem(await service.http.post(HERON, json=act(control="program", value="gramophone")))
    assert found["allowed"] == ["lectern", "laptop"]
    found = problem(await service.http.post(HERON, json=act(value=5)))
    assert (found["minimum"], found["maximum"]) == (-60.0, 0.0)


async def test_all_that_is_wrong_with_a_body_is_told_at_once(service: Running) -> None:
    """The first thing as the problem, the others in `errors`."""
    found = problem(await service.http.post(HERON, json={"do": "jump", "speed": 3}))
    assert {one["field"] for one in found["errors"]} == {"control", "do", "speed"}


async def test_a_body_that_is_too_large_is_413(service: Running) -> None:
    """Whether its length is announced or not."""
    large = b'{"control": "' + b"x" * limits.BODY_BYTES_MAX + b'"}'

    async def pieces():
        for start in range(0, len(large), 65536):
            yield large[start : start + 65536]

    for content in (large, pieces()):
        answer = await service.http.post(HERON, content=content)
        assert (answer.status_code, problem(answer)["type"]) == (413, "/problems/too-large")
    put = await service.http.put("/controllers/heron-wall/links/tern", content=large)
    assert put.status_code == 413


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("PATCH", "/zones/heron", {"GET", "HEAD"}),
        ("POST", "/controllers/heron-wall/links/tern", {"PUT", "DELETE"}),
        ("PATCH", "/scenes/dinner", {"GET", "HEAD", "PUT", "DELETE"}),
        ("DELETE", "/venue", {"GET", "HEAD"}),
    ],
)
async def test_a_wrong_method_lists_all_right_ones(service: Running, method: str, path: str, allowed: set[str]) -> None:
    """RFC 9110 §15.5.6: Allow names every method of the resource."""
    answer = await service.http.request(method, path)
    assert (answer.status_code, problem(answer)["type"]) == (405, "/problems/wrong-method")
    assert {one.strip() for one in answer.headers["allow"].split(",")} == allowed


async def test_every_kind_of_problem_is_served_at_its_type(service: Running) -> None:
    """With what it means; another name is 404."""
    for kind, meaning in KINDS.items():
        answer = await service.http.get(f"{service.url}/problems/{kind}")
        assert (answer.status_code, meaning in answer.text) == (200, True)
    assert (await service.http.get(f"{service.url}/problems/other")).status_code == 404


async def test_a_controller_without_links_says_so(service: Running) -> None:
    """An action reaches nothing, and the reason is given."""
    await service.http.delete("/controllers/heron-wall/links")
    found = problem(await service.http.post(PANEL, json=VOLUME))
    assert (found["status"], found["type"]) == (409, "/problems/nothing-linked")
    assert "linked to no zone" in found["detail"]


async def test_aligning_to_nothing_shown_asks_for_a_value(service: Running) -> None:
    """The zones disagree, and the policy shows none."""
    await service.http.put("/controllers/heron-wall/links/tern")
    await service.http.post(HERON, json=VOLUME)
    found = problem(await service.http.post(PANEL, json={"control": "volume", "do": "align"}))
    assert (found["status"], found["type"]) == (409, "/problems/undecided")
    answer = await service.http.post(PANEL, json={"control": "volume", "do": "align", "value": -25})
    assert answer.json()["zones"] == ["heron", "tern"]


@pytest.mark.parametrize("key", ["", "x" * 201])
async def test_a_key_has_its_bounds(service: Running, key: str) -> None:
    """1 to 200 characters."""
    found = problem(await service.http.post(HERON, json=VOLUME, headers={"Idempotency-Key": key}))
    assert (found["status"], found["field"]) == (422, "Idempotency-Key")


async def test_a_page_of_another_site_cannot_write(service: Running) -> None:
    """Its request is refused with 403 before anything is done; this service's own pages, and programs, may."""
    for origin in ("https://elsewhere.example", "null", service.url + "0"):
        answer = await service.http.post(HERON, json=VOLUME, headers={"Origin": origin})
        assert (answer.status_code, problem(answer)["type"]) == (403, "/problems/foreign-origin")
    assert service.writer.journal.last_seq == 1
    own = await service.http.post(HERON, json=VOLUME, headers={"Origin": service.url})
    assert own.status_code == 200


async def test_problems_are_counted(service: Running) -> None:
    """By kind, in the metrics."""
    await service.http.get("/zones/attic")
    text = (await service.http.get(service.url + "/metrics")).text
    assert 'roomlink_problems_total{kind="unknown-name"} 1.0' in text
