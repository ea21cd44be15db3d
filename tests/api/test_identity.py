"""``api.identity``: who asks, and whether they may. The matrix is made from the tables of routes, pages and sockets."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

import httpx
import pytest
from starlette.routing import Mount, Route, WebSocketRoute
from websockets.exceptions import InvalidStatus

from roomlink import limits
from roomlink.api import models, pages
from roomlink.api.app import application
from roomlink.api.openapi import BASE
from roomlink.api.routes import ROUTES, Row
from roomlink.api.socket import SOCKETS
from roomlink.core.access import INTEGRATION, ROLES
from roomlink.core.access_commands import AddKey, RemoveKey
from roomlink.core.commands import SERVICE
from roomlink.core.instants import rfc3339
from roomlink.runtime.credentials import digest
from roomlink.testing.clock import VirtualClock
from tests.api.doors import ALEX, PANEL_OF_HERON, bearer, cookie, door, let_in, sign_in, token_of, with_sign_in
from tests.api.harness import WITHIN_S, Panel, Running

CALLERS: dict[str, dict[str, str]] = {
    "nobody": {},
    **{role: bearer(token_of(role)) for role in ROLES},
    "panel": PANEL_OF_HERON,
}
NAMES = {
    "zone": "heron", "controller": "plover-wall", "partition": "heron-plover", "scene": "dinner", "kind": "problem",
    "path": "page.css", "overflow": "gala",
}  # fmt: skip
"""What is put into addresses; for the rest any name does."""


@pytest.fixture
async def guarded(start: Callable[..., Awaitable[Running]], clock: VirtualClock) -> Running:
    service = await start(clock=clock, parts=with_sign_in)
    await let_in(service)
    return service


def filled(path: str, controller: str = "plover-wall") -> str:
    return re.sub(r"{(\w+)(:path)?}", lambda m: {**NAMES, "controller": controller}.get(m[1], "anything"), path)


def may(caller: str, role: str | None, panel: bool, own: bool) -> bool:
    """What the tables say, worked out here once more."""
    if role is None:
        return True
    if caller == "panel":
        return panel and own
    return caller in ROLES and ROLES.index(caller) >= ROLES.index(role)


def refused(answer: httpx.Response) -> str | None:
    """The kind of refusal for lack of a role; None where the request got as far as its handler."""
    if answer.status_code in (401, 403) and answer.headers["content-type"] == "application/problem+json":
        kind = answer.json()["type"].rpartition("/")[2]
        return kind if kind in ("not-signed-in", "not-allowed") else None
    if answer.status_code == 403 and "Not allowed" in answer.text:
        return "not-allowed"
    return "not-signed-in" if answer.headers.get("location", "").startswith("/sign-in?next=") else None


@pytest.mark.parametrize("caller", CALLERS)
async def test_everybody_gets_as_far_as_the_routes_say(guarded: Running, caller: str) -> None:
    """Each route of the API, by every role, by a panel and by nobody: refused exactly where it should be."""
    expected = "not-signed-in" if caller == "nobody" else "not-allowed"
    wrong = []
    for row in ROUTES:
        for controller in ("heron-wall", "plover-wall") if "{controller}" in row.path else ("heron-wall",):
            answer = await guarded.http.request(
                row.method, filled(row.path, controller), headers=CALLERS[caller], content=b"{}" if row.body else None
            )
            should = may(caller, row.role, row.panel, controller == "heron-wall")
            if refused(answer) != (None if should else expected):
                wrong.append((row.method, row.path, controller, answer.status_code, answer.text[:200]))
    assert wrong == []


@pytest.mark.parametrize("caller", CALLERS)
async def test_everybody_gets_as_far_as_the_pages_say(guarded: Running, caller: str) -> None:
    """Every page, and what machines ask for."""
    expected = "not-signed-in" if caller == "nobody" else "not-allowed"
    wrong = []
    for path, _, rule in pages.TABLE:
        for controller in ("heron-wall", "plover-wall") if "{controller}" in path else ("heron-wall",):
            url = guarded.url + filled(path, controller)
            answer = await guarded.http.get(url, headers=CALLERS[caller])
            should = may(caller, rule.role, rule.panel, controller == "heron-wall")
            if refused(answer) != (None if should else expected):
                wrong.append((path, controller, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("caller", CALLERS)
async def test_everybody_gets_as_far_as_the_sockets_say(guarded: Running, caller: str) -> None:
    """Refused at the handshake, with the reason."""
    for path, (_, rule) in SOCKETS.items():
        for controller in ("heron-wall", "plover-wall") if "{controller}" in path else ("heron-wall",):
            opening = guarded.socket(filled(path, controller), additional_headers=CALLERS[caller])
            if may(caller, rule.role, rule.panel, controller == "heron-wall"):
                async with opening as socket:
                    assert (await Panel(socket).next())["type"] == "welcome"
                continue
            with pytest.raises(InvalidStatus) as caught:
                async with opening:
                    pass
            assert caught.value.response.status_code == (401 if caller == "nobody" else 403)


@pytest.mark.parametrize("caller", [*ROLES, "panel"])
async def test_every_message_needs_its_role(guarded: Running, caller: str) -> None:
    """On whatever socket the caller may open."""
    path = "/panels/heron-wall" if caller not in ("view",) else "/watch"
    async with guarded.socket(path, additional_headers=CALLERS[caller]) as socket:
        panel = Panel(socket)
        await panel.next()
        for kind, role in models.MESSAGE_ROLES.items():
            given: dict[str, Any] = {"act": {"control": "volume", "do": "stop"}, "recall": {"scene": "dinner"}}
            given["combine"] = {"partition": "heron-plover", "combine": False}
            given["extend"] = {"booking": "b1", "occurrence": "k", "minutes": 15}
            given["keep-on"] = {"routine": "all-off"}
            more = given.get(kind, {"zone": "tern"} if kind in ("link", "unlink") else {})
            await panel.send(type=kind, id=kind, **more)
            if kind == "holding":
                continue  # it has no answer; the next message has one
            while (answer := await panel.next()).get("id") != kind:
                pass
            should = may(caller, role, True, True)
            said = answer.get("problem", {}).get("type", "")
            assert (said != "/problems/not-allowed") is should, (kind, answer)


def test_nothing_is_served_that_no_table_has(guarded: Running) -> None:
    """Every route of the application comes from a table that says who may; but for the kit's own files."""
    known = {BASE + row.path for row in ROUTES} | {path for path, _, _ in pages.TABLE}
    sockets = {BASE + path for path in SOCKETS}
    for route in application(guarded.writer, guarded.simulated).routes:
        if isinstance(route, WebSocketRoute):
            assert route.path in sockets
        elif isinstance(route, Route):
            assert route.path in known
        else:
            assert isinstance(route, Mount)
            assert route.path == "/web"


def test_a_row_without_a_role_cannot_be_made() -> None:
    """So that nobody forgets one."""
    with pytest.raises(ValueError, match="must say its role"):
        Row("GET", "/attic", ROUTES[0].handler, "An attic")


@pytest.mark.parametrize(
    ("method", "path", "role"),
    [
        ("GET", "/state", "view"),
        ("POST", "/motion/stop", "view"),
        ("POST", "/zones/{zone}/actions", "operate"),
        ("POST", "/bookings", "manage"),
        ("PUT", "/scenes/{scene}", "manage"),
        ("PUT", "/overflows/{overflow}", "manage"),
        ("POST", "/bindings/{binding}/arm", "engineer"),
        ("DELETE", "/bindings/{binding}/arm", "engineer"),
        ("PUT", "/simulated-devices/{device}", "engineer"),
        ("PUT", "/people/{person}", "engineer"),
        ("POST", "/tokens", "engineer"),
        ("POST", "/pairing-codes", "engineer"),
        ("POST", "/session", None),
    ],
)
def test_what_matters_most_has_the_role_that_it_should(method: str, path: str, role: str | None) -> None:
    """Said here once more, as a wrong word in the table would be right by the matrix."""
    (row,) = (row for row in ROUTES if (row.method, row.path) == (method, path))
    assert row.role == role


def test_only_signing_in_is_for_everybody() -> None:
    """Nothing else under the API has no role."""
    free = {(row.method, row.path) for row in ROUTES if row.role is None}
    assert free == {
        ("GET", "/session"), ("POST", "/session"), ("DELETE", "/session"), ("POST", "/engineers"), ("POST", "/pairings")
    }  # fmt: skip


# Who it was, and from where


async def test_the_journal_says_who_acted_and_from_where(guarded: Running) -> None:
    """An integration by its name, a person by theirs, a panel by what it is called."""
    act = {"control": "volume", "do": "set", "value": -20}
    await guarded.http.post("/zones/heron/actions", json=act, headers=CALLERS["operate"])
    async with sign_in(guarded) as alex:
        await alex.post("/zones/heron/actions", json={**act, "value": -21})
        events = (await alex.get("/events")).json()["events"]
    async with guarded.socket("/panels/heron-wall", additional_headers=PANEL_OF_HERON) as socket:
        await Panel(socket).act("volume", "set", value=-22)
    events += (await guarded.http.get("/events?limit=1", headers=CALLERS["view"])).json()["events"]
    acts = [(e["who"], e["via"], e["where"]) for e in events if e["did"]["command"] == "Act"]
    assert acts == [
        ("program-operate", "http", "127.0.0.1"),
        (ALEX, "http", "127.0.0.1"),
        ("heron-wall", "panel", "127.0.0.1"),
    ]


async def test_a_refusal_says_which_role_is_needed(guarded: Running) -> None:
    """To a program as a member, to a person on a page, with the way to sign in."""
    answer = await guarded.http.delete("/bindings/lamp/arm", headers=CALLERS["view"])
    assert (answer.json()["role"], answer.json()["has"]) == ("engineer", "view")
    answer = await guarded.http.get("/venue")
    assert answer.headers["www-authenticate"].startswith("Bearer")
    page = await guarded.http.get(guarded.url + "/panel/heron-wall", headers=CALLERS["view"])
    assert (page.status_code, "needs operate" in page.text, 'href="/sign-in"' in page.text) == (403, True, True)
    page = await guarded.http.get(guarded.url + "/plan", headers=PANEL_OF_HERON)
    assert 'href="/panel/heron-wall"' in page.text


async def test_a_wrong_token_is_not_made_good_by_a_cookie(guarded: Running) -> None:
    """Whoever sends a token means it; one kind of secret does not do for another."""
    for headers in (
        {**bearer("wrong"), **PANEL_OF_HERON},
        bearer("token-panel"),
        cookie("panel", token_of("engineer")),
        cookie("session", token_of("engineer")),
        {"Authorization": "Basic YWxleDp4"},
        cookie("session", "x" * 3000),
    ):
        assert (await guarded.http.get("/venue", headers=headers)).status_code == 401


async def test_who_sends_a_token_that_is_not_known_is_told_so(guarded: Running) -> None:
    """Nobody can sign in with a program; who sends nothing is told of both ways."""
    answer = (await guarded.http.get("/venue", headers=bearer("wrong"))).json()
    assert answer["title"] == "Not signed in"
    assert answer["detail"].startswith("the token is not known: it was taken back, has ended or is mistyped; ")
    nobody = (await guarded.http.get("/venue", headers={"Authorization": ""})).json()
    assert nobody["detail"] == "sign in, or send a token; this needs the role view"


async def test_a_page_of_another_site_cannot_write_with_a_cookie(guarded: Running) -> None:
    """By its Origin, or by what browsers say of the site; this service's own pages may."""
    async with sign_in(guarded) as alex:
        for headers in ({"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}):
            answer = await alex.post("/motion/stop", headers=headers)
            assert answer.json()["type"] == "/problems/foreign-origin"
        answer = await alex.post("/motion/stop", headers={"Origin": guarded.url, "Sec-Fetch-Site": "same-origin"})
        assert answer.status_code == 200


async def test_what_a_request_says_of_its_origin_is_believed_behind_a_proxy_alone(guarded: Running) -> None:
    """Else anybody could write another address into the journal."""
    said = {"X-Forwarded-For": "192.0.2.99", "X-Forwarded-Proto": "https"}
    answer = await guarded.http.post("/motion/stop", headers={**CALLERS["view"], **said})
    assert "strict-transport-security" not in answer.headers
    events = (await guarded.http.get("/events", headers={**CALLERS["view"], **said})).json()["events"]
    assert {entry["where"] for entry in events} == {"", "127.0.0.1"}


# Uses


async def test_a_session_that_is_used_goes_on(guarded: Running, clock: VirtualClock) -> None:
    """And one that is not ends; the use itself writes no entry each time."""
    async with sign_in(guarded) as alex:
        before = guarded.writer.journal.last_seq
        for _ in range(10):
            await alex.get("/venue")
        assert guarded.writer.journal.last_seq == before
        await guarded.advance(limits.SESSION_IDLE_S - 60.0)
        assert (await alex.get("/venue")).status_code == 200
        await guarded.settled()
        await guarded.advance(limits.SESSION_IDLE_S - 60.0)
        assert (await alex.get("/venue")).status_code == 200
        await guarded.settled()
        await guarded.advance(limits.SESSION_IDLE_S)
        assert (await alex.get("/venue")).status_code == 401


async def test_the_use_of_a_token_is_put_down(guarded: Running) -> None:
    """Once a day at most."""
    for _ in range(5):
        await guarded.http.get("/venue", headers=CALLERS["manage"])
    await guarded.settled()
    tokens = (await guarded.http.get("/tokens", headers=CALLERS["engineer"])).json()["tokens"]
    assert tokens["program-manage"]["where"] == "127.0.0.1"
    assert tokens["program-view"]["last"] is None
    uses = [e for e in guarded.writer.journal.entries() if e.did["command"] == "UseKey" and e.who == "program-manage"]
    assert len(uses) == 1


async def test_nobody_is_told_why_the_service_is_not_ready(guarded: Running) -> None:
    """But that it is not; whoever is known hears the reason."""
    guarded.writer.failure = "no space left"
    told = await guarded.http.get(guarded.url + "/readyz")
    assert (told.status_code, told.text) == (503, "not ready\n")
    told = await guarded.http.get(guarded.url + "/readyz", headers=CALLERS["view"])
    assert "no space left" in told.text


def test_the_door_is_this_service_s_own(guarded: Running) -> None:
    """Codes and tries are kept with it, and start empty."""
    assert not door(guarded).engineer_code.is_open


@pytest.mark.parametrize("anew", [False, True])
async def test_a_body_that_comes_slowly_does_not_outlast_what_its_sender_was_known_by(
    guarded: Running, anew: bool
) -> None:
    """Who begins a request before they are put out must not finish it afterwards, and let themselves in again; not
    even where somebody else has got a new token of that name meanwhile."""
    writer = guarded.writer

    async def slowly() -> AsyncIterator[bytes]:
        yield b'{"role": "engineer", '
        async with asyncio.timeout(WITHIN_S):
            while writer.state.keys["program-engineer"].last is None:  # noqa: ASYNC110 - it is let in by then
                await asyncio.sleep(0.001)
        await writer.submit(RemoveKey(SERVICE, INTEGRATION, "program-engineer"))
        if anew:
            await writer.submit(AddKey(SERVICE, INTEGRATION, "program-engineer", "engineer", digest("another")))
        yield b'"password": "four words in a row"}'

    answer = await guarded.http.put("/people/eve", content=slowly(), headers=bearer(token_of("engineer")))
    assert (answer.status_code, answer.json()["type"].rpartition("/")[2]) == (401, "not-signed-in")
    assert "eve" not in writer.state.people


async def test_who_keeps_the_diary_may_see_what_is_private(guarded: Running, clock: VirtualClock) -> None:
    """On each read face, while others are told only that a zone is in use."""
    start = clock.stamp()
    times = {"start": rfc3339(float(int(start) - 60)), "end": rfc3339(float(int(start)) + 3600.0)}
    body = {"title": "Merger", "zones": ["heron"], "private": True, **times}
    made = await guarded.http.post("/bookings", json=body, headers=bearer(token_of("manage")))
    assert made.status_code == 200, made.text
    clock.advance(1.0)
    await guarded.settled()
    name = made.json()["booking"]
    lock = {"zone": "heron", "why": "Merger talks"}
    assert (await guarded.http.put("/locks/quiet", json=lock, headers=bearer(token_of("manage")))).status_code == 200
    clock.advance(1.0)
    then = rfc3339(clock.stamp()).replace("+", "%2B")
    faces = ["/zones/heron", "/state", f"/state?at={then}", "/bookings", f"/bookings/{name}", "/events?limit=500"]
    faces += ["/turns", "/locks"]
    for role, sees in (("view", False), ("operate", False), ("manage", True), ("engineer", True)):
        for face in faces:
            answer = await guarded.http.get(face, headers=bearer(token_of(role)))
            assert answer.status_code == 200, answer.text
            assert ("Merger" in answer.text) is sees, (role, face)
        shown = (await guarded.http.get("/controllers/heron-wall", headers=bearer(token_of(role)))).json()
        assert bool(shown["controls"]) is (role != "view"), "who may open its panel sees what that shows"
        zone = (await guarded.http.get("/zones/heron", headers=bearer(token_of(role)))).json()
        assert bool(zone["controls"]) is sees
    async with guarded.socket("/watch", additional_headers=bearer(token_of("engineer"))) as socket:
        watcher = Panel(socket)
        assert "Merger" not in repr(await watcher.next()), "its frames are shared by all who watch"
