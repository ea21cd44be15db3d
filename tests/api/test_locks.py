"""``api.locks``: locks over HTTP, and their PINs."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from roomlink import limits
from roomlink.testing.clock import VirtualClock
from tests.api.doors import PANEL_OF_HERON, bearer, let_in, token_of, with_sign_in
from tests.api.harness import Panel, Running

MANAGER, OPERATOR = bearer(token_of("manage")), bearer(token_of("operate"))


@pytest.fixture
async def guarded(start: Callable[..., Awaitable[Running]], clock: VirtualClock) -> Running:
    service = await start(clock=clock, parts=with_sign_in)
    await let_in(service)
    return service


async def put(service: Running, name: str = "quiet", until: float | None = None, **body: Any) -> Any:
    given = body if until is None else {**body, "for": until}
    return await service.http.put(f"/locks/{name}", json=given, headers=MANAGER)


async def release(service: Running, pin: str | None, headers: dict[str, str], name: str = "quiet") -> Any:
    return await service.http.post(f"/locks/{name}/release", json={} if pin is None else {"pin": pin}, headers=headers)


async def test_a_lock_is_set_shown_and_released(guarded: Running) -> None:
    """Everybody who may look sees by whom and until when; orders are refused and name it."""
    answer = await put(guarded, zone="heron", controls=["volume"], why="speech", until=600)
    assert (answer.status_code, answer.json()["zones"]) == (200, ["heron"])
    shown = (await guarded.http.get("/locks", headers=OPERATOR)).json()["locks"]["quiet"]
    assert (shown["zone"], shown["controls"], shown["why"], shown["pin"]) == ("heron", ["volume"], "speech", False)
    assert shown["by"] == "program-manage"
    assert shown["until"]
    order = {"control": "volume", "do": "set", "value": -10.0}
    refused = await guarded.http.post("/controllers/heron-wall/actions", json=order, headers=OPERATOR)
    assert (refused.status_code, refused.json()["type"], refused.json()["lock"]) == (409, "/problems/locked", "quiet")
    assert (await guarded.http.delete("/locks/quiet", headers=MANAGER)).status_code == 200
    again = await guarded.http.post("/controllers/heron-wall/actions", json=order, headers=OPERATOR)
    assert again.status_code == 200
    found = (await guarded.http.get("/events?zone=heron", headers=OPERATOR)).json()["events"]
    kinds = [event["type"] for entry in found for event in entry["events"]]
    assert (kinds.count("lock"), kinds.count("lock-ended")) == (1, 1), "found by the zone"


async def test_a_lock_on_a_controller_shows_on_its_face_and_panel(guarded: Running) -> None:
    """As ``locked``, with its name; the panel hears of it at once, and of its end."""
    async with guarded.socket("/panels/heron-wall", additional_headers=PANEL_OF_HERON) as socket:
        panel = Panel(socket)
        assert (await panel.next())["locks"] == {}
        await put(guarded, controller="heron-wall", pin="2468")
        change = await panel.until("change")
        assert change["controller"]["locked"] == {"by": "program-manage", "lock": "quiet"}
        assert change["locks"]["quiet"]["pin"] is True
        assert (await release(guarded, "2468", PANEL_OF_HERON)).status_code == 200
        change = await panel.until("change")
        assert (change["controller"]["locked"], change["locks"]) == (None, {})


async def test_a_pin_releases_for_whoever_knows_it(guarded: Running) -> None:
    """A paired panel too; without it the role manage is needed, and a wrong PIN is not made good by a role."""
    await put(guarded, zone="heron", pin="2468")
    assert (await release(guarded, None, OPERATOR)).json()["type"] == "/problems/locked"
    for headers in (OPERATOR, MANAGER):
        wrong = await release(guarded, "1111", headers)
        assert (wrong.status_code, wrong.json()["type"]) == (403, "/problems/pin-refused")
    assert (await release(guarded, "2468", PANEL_OF_HERON)).status_code == 200
    await put(guarded, zone="heron", pin="2468")
    assert (await release(guarded, None, MANAGER)).status_code == 200
    await put(guarded, zone="heron")
    assert (await release(guarded, "2468", OPERATOR)).json()["type"] == "/problems/pin-refused"
    assert (await release(guarded, "2468", OPERATOR, "nothing")).status_code == 404


async def test_pins_are_not_guessed(guarded: Running) -> None:
    """After a few wrong ones each further one costs a longer wait, also the right one; then it is good again."""
    await put(guarded, zone="heron", pin="2468")
    for guess in range(limits.TRIES_FREE):
        assert (await release(guarded, f"{guess:04}", OPERATOR)).status_code == 403
    waits = await release(guarded, "2468", PANEL_OF_HERON)
    assert (waits.status_code, waits.json()["type"]) == (429, "/problems/too-many-attempts")
    await guarded.advance(limits.TRY_WAIT_S)
    assert (await release(guarded, "2468", PANEL_OF_HERON)).status_code == 200


async def test_neither_a_pin_nor_its_hash_is_told(guarded: Running) -> None:
    """Not in the reply, a dry run, the events, the state or the journal's words; refused tries are put down without."""
    dry = await guarded.http.put("/locks/quiet?dry_run=true", json={"zone": "heron", "pin": "2468"}, headers=MANAGER)
    assert dry.json()["events"][0]["now"]["pin"] is True
    done = await put(guarded, zone="heron", pin="2468")
    await release(guarded, "97531", OPERATOR)
    await guarded.settled()
    events = await guarded.http.get("/events", headers=MANAGER)
    state = await guarded.http.get("/state", headers=MANAGER)
    told = "".join(answer.text for answer in (dry, done, events, state))
    for secret in ("argon2", "2468", "97531"):
        assert secret not in told
    assert "PIN of quiet" in events.text


@pytest.mark.parametrize("pin", ["", "123", "1234567890123", "12a4", "     "])
async def test_a_pin_is_4_to_12_digits(guarded: Running, pin: str) -> None:
    """Else nothing is locked."""
    assert (await put(guarded, zone="heron", pin=pin)).status_code == 422
    assert guarded.writer.state.locks == {}


async def test_what_cannot_be_locked_is_refused(guarded: Running) -> None:
    """A name that is none, nothing to lock, two things at once, what there is not."""
    assert (await put(guarded, "Quiet!", zone="heron")).status_code == 422
    assert (await put(guarded)).status_code == 422
    assert (await put(guarded, zone="heron", controller="heron-wall")).status_code == 422
    assert (await put(guarded, zone="nowhere")).status_code == 404
    assert (await guarded.http.delete("/locks/none", headers=MANAGER)).status_code == 404
