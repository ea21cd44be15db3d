"""Walls that ask, walls kept apart, and named arrangements over HTTP and on panels' sockets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.api.harness import HARBOUR, Running, write_venue

ASKING = (
    HARBOUR.replace("tern], settle: 0s}", "tern], settle: 0s, combine: ask}")
    + """
arrangements:
  banquet: {walls: {heron-plover: open, plover-tern: open}, pin: 2h}
"""
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    assert ASKING.count("combine: ask") == 1
    return write_venue(tmp_path / "harbour", ASKING)


async def put(service: Running, path: str, body: Any, status: int = 200) -> dict[str, Any]:
    answer = await service.http.put(path, json=body)
    assert answer.status_code == status, answer.text
    found: dict[str, Any] = answer.json()
    return found


async def wall(service: Running, name: str = "plover-tern") -> dict[str, Any]:
    found: dict[str, Any] = (await service.http.get("/partitions")).json()["partitions"][name]
    return found


async def test_an_open_wall_is_combined_and_kept_apart_over_http(service: Running) -> None:
    """The answer says where; the wall says why it does not join its zones."""
    refused = await put(service, "/partitions/plover-tern/combining", {"combine": True}, 409)
    assert refused["type"] == "/problems/not-open"
    await put(service, "/partitions/plover-tern", {"position": "open"})
    seen = await wall(service)
    assert (seen["position"], seen["joins"], seen["division"]["why"]) == ("open", False, "ask")
    done = await put(service, "/partitions/plover-tern/combining", {"combine": True})
    assert done["zones"] == ["plover", "tern"]
    seen = await wall(service)
    assert (seen["joins"], seen["division"]) == (True, None)
    await put(service, "/partitions/plover-tern/combining", {"combine": False})
    assert (await wall(service))["division"]["why"] == "apart"
    await put(service, "/partitions/nowhere/combining", {"combine": False}, 404)
    await put(service, "/partitions/plover-tern/combining", {"combine": "yes"}, 422)


async def test_a_panel_is_asked_and_answers_on_its_socket(service: Running) -> None:
    """The question comes with the wall; a panel that has nothing to say there is refused."""
    async with service.panel("tern-wall") as panel, service.panel("heron-wall") as other:
        await put(service, "/partitions/plover-tern", {"position": "open"})
        asked = (
            next(c for c in panel.changes() if "partitions" in c) if panel.changes() else await panel.until("change")
        )
        assert asked["partitions"]["plover-tern"]["division"]["why"] == "ask"
        await other.send(type="combine", id=1, partition="plover-tern", combine=True)
        assert (await other.until("problem", 1))["problem"]["type"] == "/problems/out-of-reach"
        await panel.send(type="combine", id=2, partition="plover-tern", combine=True)
        assert (await panel.until("ok", 2))["zones"] == ["plover", "tern"]
    assert (await service.http.get("/groups")).json()["groups"][1] == ["plover", "tern"]


async def test_an_arrangement_is_stated_at_once_and_taken_back(service: Running) -> None:
    """For as long as configured, unless asked otherwise."""
    told = (await service.http.get("/arrangements")).json()["arrangements"]
    assert told["banquet"] == {
        "name": "Banquet",
        "walls": {"heron-plover": "open", "plover-tern": "open"},
        "pin": 7200.0,
        "stands": False,
        "mismatched": [],
    }
    done = await put(service, "/arrangements/banquet/pin", {})
    assert (done["zones"], done["mismatched"]) == (["heron", "plover", "tern"], [])
    assert (await wall(service, "heron-plover"))["trust"] == "pinned"
    assert (await service.http.get("/arrangements")).json()["arrangements"]["banquet"]["stands"]
    assert (await service.http.get("/venue")).json()["arrangements"]["banquet"]["name"] == "Banquet"
    await put(service, "/arrangements/banquet/pin", {"pin": 0})
    assert (await wall(service, "heron-plover"))["trust"] != "pinned"
    await put(service, "/arrangements/circus/pin", {}, 404)
    await put(service, "/arrangements/banquet/pin", {"pin": 1e9}, 422)
