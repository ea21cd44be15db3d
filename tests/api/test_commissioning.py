"""``api.commissioning``: what is to be checked on site, over a real port."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.venue.load import load
from tests.api.harness import HARBOUR, Running, Served, write_venue

ITEM = "/commissioning/wall/plover-tern/open"
GOOD = {"result": "pass", "who": "A. Technician", "measured": 1.5}


async def listed(service: Running) -> dict[str, Any]:
    """The items by their ids."""
    answer = await service.http.get("/commissioning")
    assert answer.status_code == 200
    return {item["item"]: item for item in answer.json()["items"]}


async def test_the_list_says_what_to_do_and_how_it_stands(service: Running) -> None:
    """With the digest of the configuration that it is of."""
    items = await listed(service)
    assert items["wall/plover-tern/open"]["standing"] == "open"
    assert items["wall/plover-tern/open"]["how"]
    assert items["panel/heron-wall/links"]["record"] is None
    body = (await service.http.get("/commissioning")).json()
    assert body["digest"] == service.loaded.digest
    assert sum(body["summary"].values()) == len(items)


async def test_a_check_is_durable_when_it_is_answered(service: Running) -> None:
    """And shown with who and when."""
    answer = await service.http.put(ITEM, json=GOOD)
    assert answer.json() == {"seq": 2, "zones": [], "item": "wall/plover-tern/open", "standing": "pass"}
    assert service.writer.journal.last_seq == 2
    found = (await listed(service))["wall/plover-tern/open"]
    assert found["standing"] == "pass"
    assert (found["record"]["who"], found["record"]["measured"], found["record"]["unit"]) == ("A. Technician", 1.5, "s")


async def test_a_dry_run_puts_nothing_down(service: Running) -> None:
    """It tells the event."""
    answer = await service.http.put(ITEM, params={"dry_run": "true"}, json=GOOD)
    assert [event["type"] for event in answer.json()["events"]] == ["checked"]
    assert (await listed(service))["wall/plover-tern/open"]["standing"] == "open"


BAD = [
    (ITEM, {**GOOD, "result": "splendid"}, 422, "bad-value"),
    (ITEM, {"result": "pass"}, 422, "bad-value"),
    (ITEM, {**GOOD, "who": ""}, 422, "bad-value"),
    (ITEM, {**GOOD, "measured": "two"}, 422, "bad-value"),
    (ITEM, {"result": "fail", "who": "A. Technician"}, 422, "bad-value"),
    (ITEM, {**GOOD, "colour": "red"}, 422, "bad-value"),
    (ITEM, [], 422, "bad-value"),
    ("/commissioning/wall/attic/open", GOOD, 404, "unknown-name"),
    ("/commissioning/roof/attic/open", GOOD, 404, "unknown-name"),
    ("/commissioning/wall/plover-tern", GOOD, 404, "not-found"),
]


@pytest.mark.parametrize(("path", "body", "status", "kind"), BAD)
async def test_bad_input_gets_a_problem(service: Running, path: str, body: Any, status: int, kind: str) -> None:
    """With a stable type, and nothing put down."""
    answer = await service.http.put(path, json=body)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == f"/problems/{kind}"
    assert service.writer.journal.last_seq == 1


async def test_a_body_that_is_no_json_gets_a_problem(service: Running) -> None:
    """Status 400."""
    answer = await service.http.put(ITEM, content=b"{")
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/bad-request")


async def test_a_reload_that_changes_the_wall_voids_its_check(service: Running, folder: Path) -> None:
    """Other records stay."""
    await service.http.put(ITEM, json=GOOD)
    await service.http.put("/commissioning/wall/tern-heron/open", json=GOOD)
    await service.configure(load(write_venue(folder, HARBOUR.replace("settle: 0s", "settle: 4s"))))
    items = await listed(service)
    assert items["wall/plover-tern/open"]["standing"] == "again"
    assert items["wall/tern-heron/open"]["standing"] == "pass"


def test_checks_survive_a_power_cut(serve: Callable[..., Served]) -> None:
    """The service is killed and started again on its journal."""
    first = serve()
    first.call("PUT", ITEM, GOOD)
    first.stop()
    items = {item["item"]: item for item in serve().get("/commissioning")["items"]}
    assert items["wall/plover-tern/open"]["record"]["who"] == "A. Technician"
    assert items["wall/plover-tern/open"]["standing"] == "pass"
