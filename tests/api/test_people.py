"""``api.people``: what engineers do about people, tokens and panels."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import pytest
from websockets.exceptions import ConnectionClosed

from roomlink.testing.clock import VirtualClock
from tests.api.doors import ALEX, PANEL_OF_HERON, PASSWORD, bearer, let_in, sign_in, with_sign_in
from tests.api.harness import Panel, Running

ENGINEER = bearer("token-engineer")


@pytest.fixture
async def guarded(start: Callable[..., Awaitable[Running]], clock: VirtualClock) -> Running:
    service = await start(clock=clock, parts=with_sign_in)
    await let_in(service)
    service.http.headers.update(ENGINEER)
    return service


async def test_an_engineer_makes_somebody_who_then_signs_in(guarded: Running) -> None:
    """With the role that was given, which can be changed; then one signs in anew."""
    body = {"role": "operate", "password": PASSWORD}
    assert (await guarded.http.put("/people/kim", json=body)).status_code == 200
    async with sign_in(guarded, "kim") as kim:
        assert (await kim.get("/session")).json()["role"] == "operate"
        assert (await guarded.http.put("/people/kim", json={"role": "manage"})).status_code == 200
        assert (await kim.get("/venue")).status_code == 401
    people = (await guarded.http.get("/people")).json()["people"]
    assert (people["kim"]["role"], people["kim"]["by"], people["kim"]["sessions"]) == ("manage", "program-engineer", [])


async def test_a_person_is_shown_with_sessions_and_where_they_are(guarded: Running) -> None:
    """All of them can be ended at once."""
    async with sign_in(guarded) as alex, sign_in(guarded):
        sessions = (await alex.get("/people")).json()["people"][ALEX]["sessions"]
        assert [one["where"] for one in sessions] == ["127.0.0.1"] * 2
        assert (await guarded.http.delete(f"/people/{ALEX}/sessions")).status_code == 200
        assert (await alex.get("/venue")).status_code == 401


async def test_a_removed_person_is_out_at_once(guarded: Running) -> None:
    """The last engineer is not removed."""
    await guarded.http.put("/people/kim", json={"role": "engineer", "password": PASSWORD})
    async with sign_in(guarded, "kim") as kim:
        assert (await guarded.http.delete("/people/kim")).status_code == 200
        assert (await kim.get("/venue")).status_code == 401
    answer = await guarded.http.delete(f"/people/{ALEX}")
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/last-engineer")
    assert (await guarded.http.delete("/people/kim")).status_code == 404


@pytest.mark.parametrize(
    ("name", "body", "status"),
    [
        ("kim", {"role": "admiral", "password": PASSWORD}, 422),
        ("kim", {"role": "view"}, 422),
        ("kim", {"password": PASSWORD}, 422),
        ("kim", {"role": "view", "password": "kim-kim-kim"}, 422),
        ("Kim", {"role": "view", "password": PASSWORD}, 422),
        ("heron-wall", {"role": "view", "password": PASSWORD}, 409),
        ("service", {"role": "view", "password": PASSWORD}, 409),
    ],
)
async def test_a_wrong_person_is_not_made(guarded: Running, name: str, body: dict[str, str], status: int) -> None:
    """And the answer does not repeat the password."""
    answer = await guarded.http.put(f"/people/{name}", json=body)
    assert answer.status_code == status
    assert body.get("password", "\0") not in answer.text
    assert name not in guarded.writer.state.people


async def test_a_token_is_shown_once_and_works_until_it_is_taken_back(guarded: Running) -> None:
    """Its socket closes then."""
    made = (await guarded.http.post("/tokens", json={"name": "office", "role": "operate"})).json()
    shown = (await guarded.http.get("/tokens")).json()["tokens"]["office"]
    assert (shown["role"], shown["by"], made["token"] in str(shown)) == ("operate", "program-engineer", False)
    headers = bearer(made["token"])
    async with guarded.socket("/panels/heron-wall", additional_headers=headers) as socket:
        panel = Panel(socket)
        await panel.next()
        assert (await guarded.http.delete("/tokens/office")).status_code == 200
        bye = await panel.until("bye")
        assert bye["why"] == "taken back by program-engineer"
        with pytest.raises(ConnectionClosed):
            await panel.next()
    assert (await guarded.http.get("/venue", headers=headers)).status_code == 401


async def test_a_token_may_end_by_itself(guarded: Running) -> None:
    """After so many days."""
    made = (await guarded.http.post("/tokens", json={"name": "office", "role": "view", "days": 2})).json()
    headers = bearer(made["token"])
    await guarded.advance(2 * 86400.0 - 1.0)
    assert (await guarded.http.get("/venue", headers=headers)).status_code == 200
    await guarded.advance(1.0)
    assert (await guarded.http.get("/venue", headers=headers)).status_code == 401
    for days in (0, -1, 4000, 1.5):
        answer = await guarded.http.post("/tokens", json={"name": "late", "role": "view", "days": days})
        assert answer.status_code == 422


async def test_a_repeated_request_for_a_token_makes_no_second_one(guarded: Running) -> None:
    """The name is taken: a token that was lost on the way is taken back and made anew."""
    body = {"name": "office", "role": "view"}
    headers = {"Idempotency-Key": "once"}
    assert (await guarded.http.post("/tokens", json=body, headers=headers)).status_code == 200
    assert (await guarded.http.post("/tokens", json=body, headers=headers)).status_code == 409


async def test_a_panel_that_is_taken_back_closes(guarded: Running) -> None:
    """At once, and its cookie is worth nothing any more."""
    async with guarded.socket("/panels/heron-wall", additional_headers=PANEL_OF_HERON) as socket:
        panel = Panel(socket)
        await panel.next()
        assert "heron-wall" in (await guarded.http.get("/panels")).json()["panels"]
        assert (await guarded.http.delete("/panels/heron-wall")).status_code == 200
        assert (await panel.until("bye"))["again"] is False
    guarded.http.headers.pop("Authorization")
    assert (await guarded.http.get("/venue", headers=PANEL_OF_HERON)).status_code == 401


async def test_tokens_and_panels_are_not_taken_for_each_other(guarded: Running) -> None:
    """404 with those that there are."""
    assert (await guarded.http.delete("/panels/program-view")).status_code == 404
    answer = await guarded.http.delete("/tokens/heron-wall")
    assert "program-view" in answer.json()["allowed"]
