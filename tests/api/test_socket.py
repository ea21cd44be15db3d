"""``api.socket``: the live sockets, over a real port."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import json
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus

from roomlink import limits
from roomlink.api.socket import IN_FLIGHT_MAX, UNREAD_MAX, Sockets
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.clock import SystemClock
from roomlink.testing.clock import VirtualClock, VirtualTimer
from roomlink.testing.faults import FaultyJournal
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, WITHIN_S, Panel, Running, write_venue


async def refused(service: Running, path: str, **options: Any) -> dict[str, Any]:
    """The problem with which a handshake is refused."""
    with pytest.raises(InvalidStatus) as caught:
        async with service.socket(path, **options):
            pass
    response = caught.value.response
    found: dict[str, Any] = json.loads(response.body or b"")
    assert response.headers["content-type"] == "application/problem+json"
    assert found["status"] == response.status_code
    return found


# The handshake


async def test_a_panel_is_welcomed_with_its_face_and_the_place(service: Running) -> None:
    """Everything that it needs to draw itself, as of a journal position."""
    async with service.panel() as panel:
        (welcome,) = panel.heard
        assert panel.socket.subprotocol == "roomlink.v1"
        assert (welcome["type"], welcome["seq"], welcome["resumed"]) == ("welcome", 1, False)
        assert welcome["at"] == "1970-01-12T13:46:40.000Z"
        face = (await service.http.get("/controllers/heron-wall")).json()
        assert welcome["controller"] == face
        assert welcome["groups"] == [["heron"], ["plover"], ["tern"], ["foyer"]]
        assert welcome["zones"]["heron"] == {"linked_by": ["heron-wall"], "in_use": None}
        assert set(welcome["partitions"]) == {"heron-plover", "plover-tern", "tern-heron"}


async def test_a_watcher_is_welcomed_with_everything(service: Running) -> None:
    """All faces, and all controls of all zones."""
    async with service.watch() as watcher:
        (welcome,) = watcher.heard
        whole = (await service.http.get("/state")).json()
        for zone in whole["zones"].values():
            assert zone.pop("group") in welcome["groups"]
        assert {name: welcome[name] for name in ("zones", "controllers", "partitions", "groups")} == {
            name: whole[name] for name in ("zones", "controllers", "partitions", "groups")
        }


async def test_the_accept_key_is_the_one_of_the_standard(service: Running) -> None:
    """RFC 6455 §1.3: dGhlIHNhbXBsZSBub25jZQ== gives s3pPLMBiTxaQ9kYGzzhZRbK+xOo=; and no extension is agreed."""
    host = service.url.removeprefix("http://")
    reader, writer = await asyncio.open_connection(*host.split(":"))
    writer.write(
        f"GET /api/v1/watch HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n"
        "Sec-WebSocket-Protocol: chat, roomlink.v1\r\n\r\n".encode()
    )
    head = (await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), WITHIN_S)).decode().lower()
    writer.close()
    await writer.wait_closed()
    assert head.startswith("http/1.1 101")
    assert "sec-websocket-accept: s3pplmbitxaq9kygzzhzrbk+xoo=" in head
    assert "sec-websocket-protocol: roomlink.v1\r\n" in head
    assert "sec-websocket-extensions" not in head


async def test_an_unknown_controller_is_refused_at_the_handshake(service: Running) -> None:
    """With the problem that HTTP gives too."""
    found = await refused(service, "/panels/attic-wall")
    assert (found["status"], found["type"], found["field"]) == (404, "/problems/unknown-name", "controller")
    assert "heron-wall" in found["allowed"]


async def test_a_page_of_another_site_is_refused(service: Running) -> None:
    """RFC 6455 §10.2: an unacceptable Origin gets 403 at the handshake; the service's own is welcome."""
    for origin in ("https://elsewhere.example", "null", service.url + "0"):
        found = await refused(service, "/panels/heron-wall", origin=origin)
        assert (found["status"], found["type"]) == (403, "/problems/foreign-origin")
    async with service.socket("/panels/heron-wall", origin=service.url) as socket:
        assert json.loads(await socket.recv())["type"] == "welcome"


async def test_a_name_that_is_not_our_own_is_refused_on_sockets_too(service: Running) -> None:
    """Another site's name that leads here: its pages send an Origin that agrees with Host, and get 403 for the Host."""
    found = await refused(service, "/panels/heron-wall", additional_headers={"Host": "rebound.example"})
    assert (found["status"], found["type"]) == (403, "/problems/foreign-host")
    assert "rebound.example" in found["detail"]


async def test_another_subprotocol_is_refused_and_none_is_borne(service: Running) -> None:
    """400 that names the right one; without any offer the messages are the same."""
    found = await refused(service, "/watch", subprotocols=["chat"])
    assert (found["status"], "roomlink.v1" in found["detail"]) == (400, True)
    async with service.socket("/watch", subprotocols=None) as socket:
        assert socket.subprotocol is None
        assert json.loads(await socket.recv())["type"] == "welcome"


@pytest.mark.parametrize("after", ["soon", "-1", "9" * 5000, ""])
async def test_a_position_that_is_none_is_refused(service: Running, after: str) -> None:
    """422 that names the parameter."""
    found = await refused(service, f"/panels/heron-wall?after={after}")
    assert (found["status"], found["field"]) == (422, "after")


# Acting


async def test_an_action_is_answered_and_everybody_concerned_hears_the_change(service: Running) -> None:
    """`ok` with the id, the position and the zones; one `change` with only what changed; others hear nothing."""
    async with service.panel() as heron, service.panel() as twin, service.panel("tern-wall") as tern:
        ok = await heron.act("volume", "set", value=-20)
        assert ok == {"type": "ok", "id": "a", "seq": 2, "zones": ["heron"], "at": "1970-01-12T13:46:40.000Z"}
        await heron.fence()
        (mine,) = heron.changes()
        assert set(mine) == {"type", "seq", "at", "controller"}
        assert list(mine["controller"]) == ["controls"]
        assert mine["controller"]["controls"]["volume"]["value"] == -20.0
        assert await twin.fence() == [mine]
        assert await tern.fence() == []


@pytest.mark.parametrize("name", [7, 0, -(2**53), 2**63 - 1, "seven", "", "é🎛", None])
async def test_an_id_comes_back_as_it_was(service: Running, name: Any) -> None:
    """An integer or a string; in `ok` and in `problem`."""
    async with service.panel() as panel:
        assert (await panel.act("volume", "set", name, value=-20))["type"] == "ok"
        assert (await panel.act("volume", "set", name, value=99))["type"] == "problem"


async def test_links_are_made_and_ended(service: Running) -> None:
    """One at a time and all at once; the panel hears its links and its whole face."""
    async with service.panel() as panel:
        await panel.send(type="link", id=1, zone="tern")
        assert (await panel.until("ok", 1))["zones"] == ["heron", "tern"]
        (change,) = panel.changes()
        assert [one["zone"] for one in change["controller"]["links"]] == ["heron", "tern"]
        assert set(change["controller"]["controls"]) == {"program", "volume", "mute", "house", "talkback"}
        assert change["zones"]["tern"]["linked_by"] == ["tern-wall", "heron-wall"]
        await panel.send(type="unlink", id=2, zone="heron")
        assert (await panel.until("ok", 2))["zones"] == ["heron"]
        await panel.send(type="unlink-all", id=3)
        assert (await panel.until("ok", 3))["zones"] == ["tern"]
        refused = await panel.act("volume", "set", value=-20)
        assert refused["problem"]["type"] == "/problems/nothing-linked"


async def test_a_scene_is_recalled_in_the_linked_zones(service: Running) -> None:
    """Those of the panel, not the scene's whole scope."""
    async with service.panel() as panel:
        await panel.send(type="recall", id=1, scene="dinner", over=2)
        assert (await panel.until("ok", 1))["zones"] == ["heron"]
        controls = panel.changes()[0]["controller"]["controls"]
        assert set(controls) == {"volume", "mute", "program"}
        assert controls["volume"]["moving"]["to"] == -38.0


BAD_MESSAGES = [
    ("{", None, 400, ""),
    ("[]", None, 400, "object"),
    ('"act"', None, 400, "object"),
    ("{}", None, 404, "act"),
    ('{"id": 5}', 5, 404, "act"),
    ('{"type": ["act"], "id": "x"}', "x", 404, "act"),
    ('{"type": "dance", "id": "x"}', "x", 404, "act"),
    ('{"type": "act", "id": "x"}', "x", 422, "required"),
    ('{"type": "act", "id": "x", "control": "bass", "do": "set"}', "x", 404, "volume"),
    ('{"type": "act", "id": 5, "control": "volume", "do": "set", "value": 99}', 5, 422, "-60"),
    ('{"type": "act", "id": 5, "control": "volume", "do": "jump"}', 5, 422, "raise"),
    ('{"type": "act", "id": 5, "control": "volume", "do": "set", "value": -20, "loud": true}', 5, 422, "permitted"),
    ('{"type": "act", "id": true, "control": "volume", "do": "set", "value": -20}', None, 422, "id"),
    ('{"type": "act", "id": 1.5, "control": "volume", "do": "set", "value": -20}', None, 422, "id"),
    ('{"type": "act", "id": 99999999999999999999, "control": "volume", "do": "set", "value": -20}', None, 422, "id"),
    ('{"type": "link", "id": 5, "zone": "attic"}', 5, 404, "heron"),
    ('{"type": "recall", "id": 5, "scene": "brunch"}', 5, 404, "dinner"),
]


@pytest.mark.parametrize(("text", "name", "status", "says"), BAD_MESSAGES, ids=lambda value: str(value)[:60])
async def test_a_bad_message_is_answered_with_a_problem(
    service: Running, text: str, name: Any, status: int, says: str
) -> None:
    """With its id where it has one; the socket stays, and nothing was changed."""
    async with service.panel() as panel:
        await panel.socket.send(text)
        answer = await panel.next()
        assert (answer["type"], answer["id"]) == ("problem", name)
        assert answer["problem"]["status"] == status
        assert says in answer["problem"]["detail"]
        assert (await panel.act("volume", "set", value=-20))["seq"] == 2


async def test_a_watcher_acts_on_nothing(service: Running) -> None:
    """It gets a problem, whatever it sends."""
    async with service.watch() as watcher:
        for message in (
            {"type": "act", "control": "volume", "do": "set", "value": -20},
            {"type": "link", "zone": "heron"},
            {"type": "unlink-all"},
            {"type": "recall", "scene": "dinner"},
        ):
            await watcher.send(id=1, **message)
            assert (await watcher.until("problem", 1))["problem"]["status"] == 400
        assert service.writer.journal.last_seq == 1


async def test_a_journal_that_fails_is_told_to_the_one_who_asked(start, clock) -> None:
    """As a problem; nobody hears of a change."""
    journal = FaultyJournal(MemoryJournal())
    service = await start(clock=clock, journal=journal)
    async with service.panel() as panel, service.panel() as twin:
        journal.fail(1)
        answer = await panel.act("volume", "set", value=-20)
        assert answer["problem"]["type"] == "/problems/journal-failed"
        assert panel.changes() == []
        assert await twin.fence() == []
        assert (await panel.act("volume", "set", value=-20))["type"] == "ok"


# What cannot be borne closes one socket, and no other


async def closing(panel: Panel) -> tuple[int | None, list[dict[str, Any]]]:
    """The code with which a socket is closed, and the messages before."""
    found = []
    try:
        while True:
            found.append(json.loads(await asyncio.wait_for(panel.socket.recv(), WITHIN_S)))
    except ConnectionClosed as closed:
        return (closed.rcvd.code if closed.rcvd else None), found


async def test_a_binary_message_closes_with_a_bye(service: Running) -> None:
    """1003, and nobody else notices."""
    async with service.panel() as panel, service.panel("tern-wall") as other:
        await panel.socket.send(b"\x00\x01")
        code, messages = await closing(panel)
        assert code == 1003
        assert [message["type"] for message in messages] == ["bye"]
        assert "text" in messages[0]["why"]
        assert await other.fence() == []
    assert service.writer.hub.everyone() == []


async def test_an_oversized_message_closes_with_1009(service: Running) -> None:
    """Of 64 KiB one byte too much; 64 KiB are borne."""
    async with service.panel() as panel, service.panel("tern-wall") as other:
        longest = json.dumps({"type": "act", "id": "x", "control": ""})
        longest = longest[:-2] + "y" * (limits.MESSAGE_BYTES_MAX - len(longest)) + '"}'
        assert len(longest) == limits.MESSAGE_BYTES_MAX
        await panel.socket.send(longest)
        assert (await panel.next())["problem"]["status"] == 422
        await panel.socket.send(longest + " ")
        code, _ = await closing(panel)
        assert code == 1009
        assert await other.fence() == []


async def test_text_that_is_none_closes_one_socket(service: Running) -> None:
    """Bytes that are no UTF-8, in a text frame: 1007."""
    async with service.panel() as panel, service.panel("tern-wall") as other:
        await panel.socket.send(b"\xff\xfe", text=True)
        code, _ = await closing(panel)
        assert code == 1007
        assert await other.fence() == []


async def test_sockets_that_closed_leave_nothing_behind(service: Running) -> None:
    """Neither listeners nor holders, however they went; and while they are there, entries do not ask each of them."""
    hooks = len(service.writer.hooks)
    for _ in range(5):
        async with service.panel() as panel, service.watch() as watcher:
            await panel.act("talkback", "press")
            assert len(service.writer.hooks) == hooks
            watcher.socket.transport.abort()
    async with asyncio.timeout(WITHIN_S):
        while service.writer.hub.everyone():  # noqa: ASYNC110 - no event for it
            await asyncio.sleep(0.002)
    await service.settled()
    assert not list(service.writer.state.holds.live())
    assert holders(service) == {}


def holders(service: Running) -> dict[str, Any]:
    """The sockets that hold something."""
    (heard,) = (hook for hook in service.writer.hooks if isinstance(getattr(hook, "__self__", None), Sockets))
    found: dict[str, Any] = heard.__self__.holding  # type: ignore[attr-defined]  # a bound method, as was asked
    return found


async def test_who_let_go_holds_nothing_any_more(service: Running) -> None:
    """Of two things held, letting go of the first still leaves it watched; of the last, nobody watches over it."""
    async with service.panel() as panel:
        await panel.act("talkback", "press")
        await panel.act("volume", "raise")
        await panel.act("talkback", "release")
        assert len(holders(service)) == 1
        await panel.act("volume", "stop")
        assert holders(service) == {}
        seq = service.writer.engine.head
        await service.advance(limits.HOLD_SILENCE_S + 1)
        assert service.writer.engine.head == seq


# Coming back


@pytest.mark.parametrize("journal", ["", "&journal=", "&journal=another"])
async def test_a_position_of_another_run_gets_a_fresh_view(service: Running, journal: str) -> None:
    """A service without a data folder counts anew after a restart: the same number is another entry."""
    async with service.panel() as panel:
        assert panel.heard[0]["journal"] == service.writer.journal.identity != ""
    async with service.panel("heron-wall", f"?after=1{journal}") as panel:
        assert panel.heard[0]["resumed"] is False


async def test_a_saved_scene_reaches_panels_without_a_new_view(service: Running) -> None:
    """As a change with all the scenes that there are."""
    async with service.panel() as panel, service.watch() as watcher:
        await service.http.put(
            "/scenes/late", json={"zone": "heron", "values": {"volume": -50}}, headers={"If-None-Match": "*"}
        )
        for one in (panel, watcher):
            (change,) = await one.fence()
            assert (change["type"], set(change["scenes"])) == ("change", {"dinner", "late"})


async def test_who_comes_back_gets_exactly_what_was_missed(service: Running) -> None:
    """A welcome without a view, and one change with the latest values."""
    async with service.panel() as panel:
        seq = (await panel.act("volume", "set", value=-20))["seq"]
    await service.http.post("/zones/heron/actions", json={"control": "volume", "do": "set", "value": -25})
    await service.http.post("/zones/heron/actions", json={"control": "mute", "do": "set", "value": False})
    await service.http.post("/zones/heron/actions", json={"control": "volume", "do": "set", "value": -28})
    await service.http.post("/zones/tern/actions", json={"control": "volume", "do": "set", "value": -10})
    async with service.panel("heron-wall", f"?after={seq}&journal={service.writer.journal.identity}") as panel:
        welcome = panel.heard[0]
        assert (welcome["resumed"], welcome["seq"]) == (True, seq + 4)
        assert not {"controller", "zones", "partitions", "groups"} & set(welcome)
        (change,) = await panel.fence()
        assert change["seq"] == seq + 4
        assert {name: c["value"] for name, c in change["controller"]["controls"].items()} == {
            "volume": -28.0,
            "mute": False,
        }


async def test_who_missed_nothing_hears_nothing(service: Running) -> None:
    """But that it was resumed."""
    async with service.panel("heron-wall", f"?after=1&journal={service.writer.journal.identity}") as panel:
        assert panel.heard[0]["resumed"] is True
        assert await panel.fence() == []


@pytest.mark.parametrize("after", [0, 99])
async def test_who_comes_back_from_nowhere_gets_a_fresh_view(service: Running, after: int) -> None:
    """A position too old or of another journal."""
    async with service.panel("heron-wall", f"?after={after}&journal={service.writer.journal.identity}") as panel:
        assert panel.heard[0]["resumed"] is False
        assert panel.heard[0]["controller"]["controller"] == "heron-wall"


async def test_a_watcher_comes_back_too(service: Running) -> None:
    """With all that changed in the venue."""
    await service.http.put("/partitions/plover-tern", json={"position": "open"})
    async with service.watch(f"?after=1&journal={service.writer.journal.identity}") as watcher:
        (change,) = await watcher.fence()
        assert change["partitions"]["plover-tern"]["joins"] is True
        assert ["plover", "tern"] in change["groups"]


async def test_a_reload_drops_no_panel(service: Running, folder: Path) -> None:
    """Each gets a fresh welcome on its socket, and acts on."""
    async with service.panel() as panel, service.watch() as watcher:
        more = HARBOUR.replace("foyer: {type: lobby}", "foyer: {type: lobby}\n  gull: {type: section}")
        await service.configure(load(write_venue(folder, more)))
        for one in (panel, watcher):
            welcome = await one.until("welcome")
            assert welcome["resumed"] is False
            assert "gull" in welcome["zones"]
        await panel.send(type="link", id=1, zone="gull")
        assert (await panel.until("ok", 1))["zones"] == ["heron", "gull"]


async def test_a_panel_whose_controller_is_gone_is_told_and_closed(service: Running, folder: Path) -> None:
    """With the reason; the others stay."""
    less = HARBOUR.replace("  foyer-wall: {home: foyer, reach: [foyer]}\n", "")
    async with service.panel("foyer-wall") as foyer, service.panel() as heron:
        await service.configure(load(write_venue(folder, less)))
        code, messages = await closing(foyer)
        assert code == 1001
        assert messages == [{"type": "bye", "why": "controller foyer-wall is no longer configured"}]
        assert (await heron.until("welcome"))["resumed"] is False


# Holding


async def test_a_held_level_stops_on_release_where_it_is(service: Running) -> None:
    """Full range in 3 s (common practice, no source): held for 1.5 s it moves half the range."""
    async with service.panel() as panel:
        await panel.act("volume", "set", value=-60)
        await panel.act("volume", "raise", "up")
        for _ in range(6):
            await service.advance(0.25)
            await panel.send(type="holding")
            await panel.fence()
        await panel.act("volume", "stop", "done")
        await panel.fence()
        changes = panel.changes()
        assert len(changes) == 3
        assert changes[1]["controller"]["controls"]["volume"]["moving"]["to"] == 0.0
        stopped = changes[2]["controller"]["controls"]["volume"]
        assert stopped["value"] == pytest.approx(-30.0, abs=0.3)
        assert stopped["moving"] is None
        assert "let-go" not in {message["type"] for message in panel.heard}


async def test_silence_lets_go_as_of_the_last_sign_and_the_silence(service: Running) -> None:
    """While connected, 750 ms after the last message; the panel is told."""
    async with service.panel() as panel:
        await panel.act("volume", "set", value=-60)
        await panel.act("talkback", "press", "talk")
        await panel.act("volume", "raise", "up")
        await service.advance(0.5)
        await panel.send(type="holding")
        await panel.fence()
        # The fence itself was the last sign.
        await service.advance(0.749)
        assert len(list(service.writer.state.holds.live())) == 2
        await service.advance(0.001)
        told = [await panel.until("let-go"), await panel.until("let-go")]
        assert {one["control"] for one in told} == {"volume", "talkback"}
        assert {one["why"] for one in told} == {"no sign of life from the panel"}
        await panel.fence()
        zone = (await service.http.get("/zones/heron")).json()["controls"]
        assert zone["talkback"]["value"] is False
        assert zone["volume"]["value"] == pytest.approx(-60.0 + 1.25 * 20.0, abs=0.1)
        assert zone["volume"]["moving"] is None
        assert not list(service.writer.state.holds.live())


async def test_a_socket_that_is_closed_lets_go_at_once(service: Running) -> None:
    """Properly closed or cut by force, without waiting for silence."""
    for end in ("close", "abort"):
        async with service.panel() as panel, service.panel() as twin:
            await panel.act("talkback", "press")
            if end == "close":
                await panel.socket.close()
            else:
                panel.socket.transport.abort()
            while True:
                change = await twin.until("change")
                if change["controller"]["controls"]["talkback"]["value"] is False:
                    break
    assert not list(service.writer.state.holds.live())


async def test_a_cut_socket_lets_go_within_a_second_of_real_time(start) -> None:
    """On the machine's own clock; a momentary goes off and a level stands."""
    service = await start(clock=SystemClock())
    async with service.panel() as panel, service.panel() as twin:
        await panel.act("volume", "raise")
        panel.socket.transport.abort()
        loop = asyncio.get_running_loop()
        cut = loop.time()
        while True:
            volume = (await twin.until("change"))["controller"]["controls"]["volume"]
            if volume["moving"] is None:
                break
        assert loop.time() - cut < 1.0


async def test_a_mute_socket_lets_go_within_a_second_of_real_time(start) -> None:
    """Connected, but without a word; as of 750 ms: at 20 dB a second from −60 dB that is −45 dB."""
    service = await start(clock=SystemClock())
    async with service.panel() as panel:
        await panel.act("volume", "set", value=-60)
        await panel.act("volume", "raise")
        loop = asyncio.get_running_loop()
        began = loop.time()
        await panel.until("let-go")
        assert 0.7 < loop.time() - began < 1.0
        zone = (await service.http.get("/zones/heron")).json()
        assert zone["controls"]["volume"]["value"] == pytest.approx(-45.0, abs=0.5)


async def test_a_hold_that_waited_while_its_panel_fell_silent_does_not_begin(start) -> None:
    """A disk that stalls holds what is sent back: long after the finger nothing begins to move."""
    journal = FaultyJournal(MemoryJournal())
    service = await start(clock=SystemClock(), journal=journal)
    async with service.panel() as panel:
        journal.pause()
        for number in range(IN_FLIGHT_MAX + 2):  # one more waits here, and what comes behind it is read no more
            await panel.send(type="act", control="volume", do="set", value=-20 - number, id=number)
        await asyncio.sleep(0.1)
        await panel.send(type="act", control="volume", do="raise", id="raise")
        await asyncio.sleep(limits.HOLD_SILENCE_S + 0.1)
        journal.go_on()
        assert (await panel.until("problem"))["problem"]["type"] == "/problems/too-late"
        await panel.send(type="act", control="volume", do="raise", id="again")
        assert (await panel.until("ok"))["type"] == "ok"


async def test_after_a_stall_whoever_is_heard_first_what_was_held_stands_where_it_was_let_go(start) -> None:
    """Held up for 30 s, timers later still: another panel's order does not let a ramp run to its end first."""

    class Late(VirtualClock):
        def call_at(self, stamp: float, call: Callable[[], None]) -> VirtualTimer:
            return super().call_at(stamp + 60.0, call)

    late = Late()
    service = await start(clock=late)
    async with service.panel() as panel, service.panel("tern-wall") as other:
        await panel.act("volume", "set", value=-60)
        await panel.act("volume", "raise")
        late.advance(30.0)
        assert (await other.act("volume", "set", value=-20))["type"] == "ok"
        await panel.until("let-go")
        volume = (await service.http.get("/zones/heron")).json()["controls"]["volume"]
        assert (volume["value"], volume["moving"]) == (pytest.approx(-45.0), None)


async def test_two_who_hold_a_momentary_hold_it_together(service: Running) -> None:
    """It goes off when the last one lets go."""
    async with service.panel() as first, service.panel() as second:
        await first.act("talkback", "press")
        await second.act("talkback", "press")
        await first.act("talkback", "release")
        state = service.writer.state
        assert state.controls["heron", "talkback"].value is True
        await second.act("talkback", "release")
        assert state.controls["heron", "talkback"].value is False


async def test_a_newer_order_ends_an_older_hold_with_the_reason(service: Running) -> None:
    """On a level the later wins; the earlier holder is told."""
    await service.http.put("/controllers/tern-wall/links/heron")
    async with service.panel() as first, service.panel("tern-wall") as second:
        await first.act("volume", "raise")
        await second.act("volume", "set", value=-40)
        told = await first.until("let-go")
        assert (told["control"], told["zones"]) == ("volume", ["heron"])
        assert "tern-wall" in told["why"]


# What it costs


async def test_a_ramp_costs_each_panel_two_messages(service: Running) -> None:
    """One at the start, with the whole trajectory, and one at the arrival; none between."""
    async with service.panel() as panel, service.panel() as twin, service.watch() as watcher:
        await panel.act("volume", "set", value=-10, over=3)
        for _ in range(40):
            await service.advance(0.1)
        for one in (panel, twin, watcher):
            await one.fence()
            assert len(one.changes()) == 2
        start, arrival = (change["controller"]["controls"]["volume"] for change in twin.changes())
        assert start["moving"]["from"] == -30.0
        assert start["moving"]["to"] == -10.0
        assert (start["moving"]["seconds"], start["moving"]["curve"]) == (3.0, "linear")
        assert (arrival["value"], arrival["moving"]) == (-10.0, None)


async def test_a_wall_that_opens_costs_each_panel_one_change_and_one_at_the_arrival(service: Running) -> None:
    """Groups, roles, links and levels in one message; nobody sees half of it."""
    await service.http.post("/zones/plover/actions", json={"control": "volume", "do": "set", "value": -40})
    async with service.panel() as heron, service.panel("plover-wall") as plover, service.panel("tern-wall") as tern:
        await service.http.put("/partitions/heron-plover", json={"position": "open"})
        for _ in range(25):
            await service.advance(0.1)
        for one in (heron, plover, tern):
            await one.fence()
            assert len(one.changes()) == 1
            assert one.changes()[0]["groups"] == [["heron", "plover"], ["tern"], ["foyer"]]
        assert heron.changes()[0]["controller"]["controls"]["volume"]["outliers"] == ["heron", "plover"]
        assert plover.changes()[0]["controller"]["lead"] is False
        for _ in range(10):
            await service.advance(0.1)
        for one, count in ((heron, 2), (plover, 2), (tern, 1)):
            await one.fence()
            assert len(one.changes()) == count
        assert heron.changes()[1]["controller"]["controls"]["volume"]["value"] == -40.0


async def slow_socket(service: Running, path: str) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """A panel that has shaken hands and reads nothing more, with little room on its side."""
    host, port = service.url.removeprefix("http://").split(":")
    small = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    small.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 8192)
    small.setblocking(False)
    await asyncio.get_running_loop().sock_connect(small, (host, int(port)))
    reader, writer = await asyncio.open_connection(sock=small, limit=1024)
    key = base64.b64encode(hashlib.sha256(path.encode()).digest()[:16]).decode()
    writer.write(
        f"GET /api/v1{path} HTTP/1.1\r\nHost: {host}:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n".encode()
    )
    await reader.readuntil(b"\r\n\r\n")
    writer.transport.pause_reading()  # type: ignore[attr-defined]  # a socket's transport can
    return reader, writer


async def read_messages(reader: asyncio.StreamReader, until_seq: int) -> list[dict[str, Any]]:
    """Text messages from raw frames (RFC 6455 §5.2, unmasked from the service) up to one of this position."""
    found: list[dict[str, Any]] = []
    while True:
        head = await asyncio.wait_for(reader.readexactly(2), WITHIN_S)
        length = head[1] & 0x7F
        if length > 125:
            length = int.from_bytes(await reader.readexactly(2 if length == 126 else 8), "big")
        payload = await reader.readexactly(length)
        if head[0] & 0x0F == 1:
            found.append(json.loads(payload))
            if found[-1]["seq"] >= until_seq:
                return found


async def test_a_panel_that_never_reads_holds_up_nobody_and_gets_the_latest(service: Running) -> None:
    """Hundreds of changes later it gets a merged one; the others have heard each of theirs meanwhile."""
    reader, writer = await slow_socket(service, "/watch")
    async with service.panel() as panel:
        rounds = 3000
        for i in range(rounds):
            last = await panel.act("volume", "set", i, value=-1.0 - i % 50)
        await panel.fence()
        assert panel.changes()[-1]["seq"] == last["seq"]
        assert panel.changes()[-1]["controller"]["controls"]["volume"]["value"] == -50.0
    writer.transport.resume_reading()  # type: ignore[attr-defined]
    messages = await read_messages(reader, last["seq"])
    writer.close()
    assert len(messages) < rounds / 2
    assert messages[-1]["seq"] == last["seq"]
    assert messages[-1]["zones"]["heron"]["controls"]["volume"]["value"] == -50.0


async def test_twenty_sockets_that_storm_are_all_answered(service: Running) -> None:
    """Every command gets its answer, in order; all panels end with the same picture."""

    async def storm(number: int) -> int:
        async with service.panel("heron-wall" if number % 2 else "plover-wall") as panel:
            for i in range(50):
                await panel.send(type="act", id=i, control="volume", do="set", value=-float(number + i % 7))
            answers = [(await panel.until("ok"))["id"] for _ in range(50)]
            assert answers == list(range(50))
            return number

    assert sorted(await asyncio.gather(*(storm(n) for n in range(20)))) == list(range(20))
    whole = (await service.http.get("/state")).json()
    for zone in whole["zones"].values():
        del zone["group"]
    async with service.watch() as watcher:
        assert watcher.heard[0]["zones"] == whole["zones"]
    assert service.writer.state.controls == service.writer.engine.ahead.controls


async def test_a_flood_without_reading_is_not_read_further(service: Running) -> None:
    """Back-pressure: answers that nobody reads do not pile up in the service."""
    _reader, writer = await slow_socket(service, "/panels/heron-wall")
    (listener,) = service.writer.hub.everyone()
    message = b'{"type":"dance","id":"' + b"x" * 80 + b'"}'
    frame = bytes([0x81, 0x80 | len(message), 0, 0, 0, 0]) + message
    for _ in range(200):
        writer.write(frame * 500)
        await asyncio.sleep(0)
    async with asyncio.timeout(WITHIN_S):
        while listener.waiting <= UNREAD_MAX:  # noqa: ASYNC110 - there is no event for it
            await asyncio.sleep(0.002)
    async with service.panel("tern-wall") as other:
        for _ in range(50):
            await other.fence()
    assert listener.waiting <= UNREAD_MAX + 1
    writer.transport.abort()
    async with asyncio.timeout(WITHIN_S):
        while service.writer.hub.everyone():  # noqa: ASYNC110 - there is no event for it
            await asyncio.sleep(0.002)


async def test_a_panel_that_cannot_be_served_any_more_is_not_left_in_belief(service: Running) -> None:
    """An error of ours while making its messages closes it with 1011 and a bye; the others go on."""
    async with service.panel() as panel:
        (listener,) = service.writer.hub.everyone()

        def broken() -> bytes:
            raise KeyError("a bug")

        listener.straight = None
        listener.take = broken  # type: ignore[method-assign]  # the error that this is about
        async with service.panel("tern-wall") as other:
            await panel.send(type="fence", id=1)
            code, messages = await closing(panel)
            assert (code, [message["type"] for message in messages]) == (1011, ["bye"])
            assert await other.fence() == []
