"""``api.signing``: coming in and leaving."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable

import httpx
import pytest
from websockets.exceptions import ConnectionClosed

from roomlink import limits
from roomlink.core import snapshot
from roomlink.core.access_commands import SetPerson
from roomlink.core.commands import SERVICE
from roomlink.core.events import encode
from roomlink.core.records import Momentary
from roomlink.testing.clock import VirtualClock
from tests.api.doors import ALEX, PASSWORD, browser, door, let_in, sign_in, with_sign_in
from tests.api.harness import Panel, Running

Start = Callable[..., Awaitable[Running]]
OTHER = "another four words here"


@pytest.fixture
async def empty(start: Start, clock: VirtualClock) -> Running:
    """A service that nobody can sign in to yet."""
    return await start(clock=clock, parts=with_sign_in)


@pytest.fixture
async def guarded(empty: Running) -> Running:
    await let_in(empty)
    return empty


def kind(answer: httpx.Response) -> str:
    found: str = answer.json()["type"].rpartition("/")[2]
    return found


def header(client: httpx.AsyncClient) -> dict[str, str]:
    return {"Cookie": "; ".join(f"{name}={value}" for name, value in client.cookies.items())}


# The first engineer


async def test_the_code_on_the_terminal_makes_the_first_engineer(empty: Running) -> None:
    """Once; the engineer is signed in with it, and the page that asks for it is told that it is wanted."""
    code = door(empty).engineer_code.make()
    async with browser(empty) as first, browser(empty) as second:
        assert (await first.get("/session")).json() == {
            "kind": "nobody", "who": None, "role": None, "controller": None, "open": False, "first": True
        }  # fmt: skip
        body = {"code": code.lower(), "name": "kim", "password": PASSWORD}
        assert (await first.post("/engineers", json=body)).status_code == 200
        assert (await first.get("/session")).json()["role"] == "engineer"
        assert (await first.get("/people")).json()["people"]["kim"]["role"] == "engineer"
        answer = await second.post("/engineers", json={**body, "name": "eve"})
        assert (answer.status_code, kind(answer)) == (403, "sign-in-refused")
        assert (await second.get("/session")).json()["first"] is False


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"code": "AAAA-BBBB-CCCC-DDDD"}, 403),
        ({"password": "short"}, 422),
        ({"password": "aaaaaaaaaaaaaaaa"}, 422),
        ({"name": "Kim Ruiz"}, 422),
        ({"name": "heron-wall"}, 409),
        ({"password": "x" * 201}, 422),
    ],
)
async def test_a_wrong_first_engineer_leaves_the_code_good(empty: Running, change: dict[str, str], status: int) -> None:
    """And makes nobody."""
    code = door(empty).engineer_code.make()
    body = {"code": code, "name": "kim", "password": PASSWORD}
    async with browser(empty) as first:
        assert (await first.post("/engineers", json={**body, **change})).status_code == status
        assert not empty.writer.state.people
        assert (await first.post("/engineers", json=body)).status_code == 200


async def test_a_lost_password_is_replaced_with_a_code(guarded: Running) -> None:
    """Whoever may start the service has it; older sessions of that name end."""
    async with sign_in(guarded) as old, browser(guarded) as new:
        code = door(guarded).engineer_code.make()
        assert (await new.post("/engineers", json={"code": code, "name": ALEX, "password": OTHER})).status_code == 200
        assert (await old.get("/venue")).status_code == 401
    async with sign_in(guarded, password=OTHER):
        pass


# Sign-in


async def test_a_person_signs_in_and_out(guarded: Running) -> None:
    """By a cookie that no script can read and no other site can use."""
    async with browser(guarded) as alex:
        answer = await alex.post("/session", json={"name": ALEX, "password": PASSWORD})
        assert answer.json()["role"] == "engineer"
        given = answer.headers["set-cookie"]
        for part in ("roomlink-session=", "HttpOnly", "Path=/", "SameSite=strict", f"Max-Age={7 * 86400}"):
            assert part in given
        assert (await alex.get("/session")).json()["who"] == ALEX
        before = header(alex)
        assert (await alex.delete("/session")).status_code == 200
        assert not alex.cookies
        assert (await alex.get("/venue", headers=before)).status_code == 401
        assert (await alex.delete("/session")).status_code == 200


async def test_signing_in_anew_ends_the_session_before(guarded: Running) -> None:
    """And makes a fresh one: a cookie that somebody planted is worth nothing."""
    async with sign_in(guarded) as alex:
        before = header(alex)
        await alex.post("/session", json={"name": ALEX, "password": PASSWORD})
        assert header(alex) != before
    async with browser(guarded) as other:
        assert (await other.get("/venue", headers=before)).status_code == 401


@pytest.mark.parametrize("name", [ALEX, "nobody-here", "program-view", "heron-wall"])
async def test_a_wrong_sign_in_does_not_say_what_was_wrong(guarded: Running, name: str) -> None:
    """The same answer for a name that nobody has, which is looked at as long; the journal has it."""
    async with browser(guarded) as eve:
        answer = await eve.post("/session", json={"name": name, "password": "not the password"})
        assert (answer.status_code, answer.json()["detail"]) == (403, "name or password is not right")
    await guarded.settled()
    *_, last = guarded.writer.journal.entries()
    event = encode(last.events[0])
    told = ALEX if name == ALEX else ""
    assert (event["type"], event["name"], event["where"]) == ("sign-in-refused", told, "127.0.0.1")


async def test_guessing_is_slowed_down_by_name_and_by_address(guarded: Running, clock: VirtualClock) -> None:
    """429 with Retry-After, also for the right password; when the time has passed, it is right again."""
    right, wrong = {"name": ALEX, "password": PASSWORD}, {"name": ALEX, "password": "wrong"}
    async with browser(guarded) as eve:
        for _ in range(limits.TRIES_FREE):
            assert (await eve.post("/session", json=wrong)).status_code == 403
        answer = await eve.post("/session", json=right)
        assert (answer.status_code, kind(answer), answer.headers["retry-after"]) == (429, "too-many-attempts", "1")
        assert (await eve.post("/session", json={**wrong, "name": "kim"})).status_code == 429
        clock.advance(1.0)
        assert (await eve.post("/session", json=wrong)).status_code == 403
        clock.advance(1.9)
        assert (await eve.post("/session", json=right)).status_code == 429
        clock.advance(0.1)
        assert (await eve.post("/session", json=right)).status_code == 200


async def test_a_session_s_end_closes_its_sockets(guarded: Running) -> None:
    """With a bye that says why, and that there is no use in coming back; held things are let go."""
    async with sign_in(guarded) as alex, sign_in(guarded) as other:
        opening = guarded.socket("/panels/heron-wall", additional_headers=header(alex))
        async with opening as socket, guarded.socket("/watch", additional_headers=header(other)) as staying:
            panel, watcher = Panel(socket), Panel(staying)
            await panel.next()
            await panel.act("talkback", "press")
            await alex.delete("/session")
            bye = await panel.until("bye")
            assert (bye["why"], bye["again"]) == ("signed out", False)
            with pytest.raises(ConnectionClosed) as caught:
                await panel.next()
            assert caught.value.rcvd is not None
            assert caught.value.rcvd.code == 1008
            await guarded.settled()
            talkback = guarded.writer.state.controls["heron", "talkback"]
            assert isinstance(talkback, Momentary)
            assert talkback.value is False
            await watcher.send(type="alive", id=1)
            await watcher.until("ok", 1)


async def test_a_stream_of_events_ends_with_its_session(guarded: Running) -> None:
    """It tells nothing after that."""
    async with sign_in(guarded) as alex:
        head = {"Accept": "text/event-stream"}
        async with alex.stream("GET", "/events?after=0", headers=head) as answer:
            lines = answer.aiter_lines()
            assert await anext(lines) == "id: 1"
            async with browser(guarded) as same:
                await same.delete("/session", headers=header(alex))
            rest = [line async for line in lines]
        assert "session-ended" not in "".join(rest)


async def test_one_changes_one_s_own_password(guarded: Running) -> None:
    """With the present one; this session goes on, the others end."""
    async with sign_in(guarded) as alex, sign_in(guarded) as elsewhere:
        answer = await alex.put("/session/password", json={"password": "wrong", "new": OTHER})
        assert kind(answer) == "sign-in-refused"
        answer = await alex.put("/session/password", json={"password": PASSWORD, "new": "short"})
        assert (answer.status_code, answer.json()["minimum"]) == (422, 12)
        assert answer.json()["detail"] == "new: take 12 characters or more; four words in a row are good"
        assert (await alex.put("/session/password", json={"password": PASSWORD, "new": OTHER})).status_code == 200
        assert (await alex.get("/venue")).status_code == 200
        assert (await elsewhere.get("/venue")).status_code == 401


async def test_a_password_that_changes_while_it_is_looked_at_lets_nobody_in(
    guarded: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is changed because somebody else has it, who may be signing in at that moment."""
    passwords = door(guarded).passwords
    really = passwords.verify

    async def late(stored: str | None, password: str) -> bool:
        right = await really(stored, password)
        await guarded.writer.submit(SetPerson(SERVICE, ALEX, None, await passwords.hash(OTHER)))
        return right

    monkeypatch.setattr(passwords, "verify", late)
    async with browser(guarded) as eve:
        assert kind(await eve.post("/session", json={"name": ALEX, "password": PASSWORD})) == "sign-in-refused"
    assert not list(guarded.writer.state.sessions.live())


# Panels


async def test_a_browser_is_paired_with_a_code_and_works_its_panel_alone(guarded: Running) -> None:
    """The code comes as text, and as a picture whose address has it where no server sees it."""
    async with sign_in(guarded) as alex, browser(guarded) as tablet:
        made = (await alex.post("/pairing-codes", json={"controller": "tern-wall"})).json()
        assert made["url"] == f"{guarded.url}/pair#{made['code']}"
        assert made["picture"].startswith("data:image/svg+xml")
        answer = await tablet.post("/pairings", json={"code": made["code"]})
        assert (answer.json()["panel"], answer.json()["controller"]) == ("tern-wall", "tern-wall")
        assert "HttpOnly" in answer.headers["set-cookie"]
        act = {"control": "volume", "do": "set", "value": -20}
        assert (await tablet.post("/controllers/tern-wall/actions", json=act)).status_code == 200
        assert (await tablet.post("/controllers/heron-wall/actions", json=act)).status_code == 403
        assert (await tablet.get("/session")).json()["controller"] == "tern-wall"
        again = await tablet.get(guarded.url + "/panel/tern-wall")
        assert "Max-Age=34560000" in again.headers["set-cookie"]
        await guarded.settled()
        second = (await alex.post("/pairing-codes", json={"controller": "plover-wall"})).json()["code"]
        assert (await tablet.post("/pairings", json={"code": second})).status_code == 200
        assert list((await alex.get("/panels")).json()["panels"]) == ["heron-wall", "plover-wall"]
        async with browser(guarded) as thief:
            assert kind(await thief.post("/pairings", json={"code": made["code"]})) == "sign-in-refused"


async def test_one_browser_is_one_panel_whoever_has_signed_in_at_it(guarded: Running) -> None:
    """The key that it had before is worth nothing any more."""
    async with sign_in(guarded) as alex:
        for controller in ("tern-wall", "plover-wall"):
            code = (await alex.post("/pairing-codes", json={"controller": controller})).json()["code"]
            assert (await alex.post("/pairings", json={"code": code})).status_code == 200
        assert list((await alex.get("/panels")).json()["panels"]) == ["heron-wall", "plover-wall"]


async def test_a_pairing_code_is_worth_nothing_once_its_maker_is_no_engineer(guarded: Running) -> None:
    """Who is removed leaves no way in behind."""
    async with sign_in(guarded) as alex, browser(guarded) as tablet:
        await guarded.writer.submit(SetPerson(SERVICE, "sam", "engineer", await door(guarded).passwords.hash(OTHER)))
        code = (await alex.post("/pairing-codes", json={"controller": "tern-wall"})).json()["code"]
        await guarded.writer.submit(SetPerson(SERVICE, ALEX, "view"))
        assert kind(await tablet.post("/pairings", json={"code": code})) == "sign-in-refused"


async def test_a_second_panel_of_a_controller_gets_a_name_of_its_own(guarded: Running) -> None:
    """Or the one that it is given, if nobody has it."""
    async with sign_in(guarded) as alex:
        ask = {"controller": "heron-wall"}
        assert (await alex.post("/pairing-codes", json=ask)).json()["panel"] == "heron-wall-2"
        assert (await alex.post("/pairing-codes", json=ask)).json()["panel"] == "heron-wall-3"
        assert (await alex.post("/pairing-codes", json={**ask, "name": "foh"})).json()["panel"] == "foh"
        assert (await alex.post("/pairing-codes", json={**ask, "name": ALEX})).status_code == 409
        assert (await alex.post("/pairing-codes", json={**ask, "name": "tern-wall"})).status_code == 409
        assert (await alex.post("/pairing-codes", json={"controller": "attic"})).status_code == 404


async def test_guessing_codes_is_slowed_down(guarded: Running) -> None:
    """For all addresses together as well."""
    async with browser(guarded) as eve:
        answers = [await eve.post("/pairings", json={"code": f"AAAA-{n:04}"}) for n in range(limits.TRIES_FREE + 1)]
        assert [answer.status_code for answer in answers] == [403] * limits.TRIES_FREE + [429]
        assert "retry-after" in answers[-1].headers
    assert door(guarded).attempts._wait(guarded.writer.clock.stamp(), ("codes", "")) > 0.0


# Nothing leaks


async def test_no_secret_is_seen_anywhere(guarded: Running) -> None:
    """Not in events, states, metrics or the venue; what is on the disk opens nothing."""
    async with sign_in(guarded) as alex:
        session = alex.cookies["roomlink-session"]
        made = (await alex.post("/tokens", json={"name": "office", "role": "manage"})).json()
        code = (await alex.post("/pairing-codes", json={"controller": "tern-wall"})).json()["code"]
        await alex.post("/session", json={"name": "nobody", "password": "typed-into-the-void"})
        await alex.post("/session", json={"name": "typed-into-the-void", "password": "x"})
        await guarded.settled()
        secrets = [session, made["token"], code, PASSWORD, "typed-into-the-void"]
        state = guarded.writer.state
        hashes = [person.secret for person in state.people.values()] + [key.secret for key in state.keys.values()]
        seen = ""
        for path in (
            "/events?limit=1000", "/events?format=csv", "/events?format=jsonl", "/state", "/venue", "/people",
            "/tokens", "/panels", guarded.url + "/metrics",
        ):  # fmt: skip
            seen += (await alex.get(path)).text
        for one in (*secrets, *hashes, *state.sessions):
            assert one not in seen
        stored = json.dumps([encode(event) for event in snapshot.snapshot(state)])
        stored += json.dumps([[encode(e) for e in entry.events] for entry in guarded.writer.journal.entries()])
        for one in secrets:
            assert one not in stored


async def test_without_sign_in_there_is_nobody_to_manage(service: Running) -> None:
    """The pages are told so; a sign-in is refused with the reason."""
    assert (await service.http.get("/session")).json()["open"] is True
    for method, path, body in (
        ("POST", "/session", {"name": ALEX, "password": PASSWORD}),
        ("POST", "/engineers", {"code": "x", "name": "kim", "password": PASSWORD}),
        ("POST", "/pairings", {"code": "x"}),
        ("GET", "/people", None),
        ("PUT", "/people/kim", {"role": "view", "password": PASSWORD}),
        ("POST", "/tokens", {"name": "office", "role": "view"}),
        ("POST", "/pairing-codes", {"controller": "tern-wall"}),
        ("GET", "/panels", None),
    ):
        answer = await service.http.request(method, path, json=body)
        assert (answer.status_code, kind(answer)) == (409, "no-sign-in"), path
