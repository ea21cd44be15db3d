"""``service``: a process that is started, reloaded, stopped and killed."""

from __future__ import annotations

import asyncio
import contextlib
import os
import random
import signal
import socket
import sqlite3
import statistics
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import httpx
import pytest
from websockets.exceptions import ConnectionClosed, WebSocketException

from tests.api.harness import HARBOUR, NotStarted, Served, write_venue

Serve = Callable[..., Served]

KILLS = int(os.environ.get("ROOMLINK_KILLS", "5"))
"""How often the storm is cut short; more on request."""


def logged(served: Served, text: str, within: float = 5.0) -> bool:
    """Whether a line of the log holds ``text``; waits for it."""
    end = time.monotonic() + within
    while time.monotonic() < end:
        if any(text in line for line in served.log):
            return True
        time.sleep(0.01)
    return False


def refusal(serve: Serve) -> str:
    """The sentence with which a service does not start: status 1, and no traceback."""
    with pytest.raises(NotStarted) as caught:
        serve()
    assert caught.value.status == 1
    assert caught.value.said.startswith("roomlink: ")
    assert "Traceback" not in caught.value.said
    return caught.value.said


# Starting and stopping


async def test_a_term_signal_stops_it_cleanly(serve: Serve, tmp_path: Path) -> None:
    """Exit status 0, panels closed, the journal closed whole; one line was all that it said."""
    served = serve()
    async with served.panel() as panel, served.panel("tern-wall"):
        await panel.act("volume", "set", value=-20)
        served.signal(signal.SIGTERM)
        with pytest.raises(ConnectionClosed):
            await panel.until("never")
    assert await asyncio.to_thread(served.wait) == 0
    assert served.said == [served.url + "\n"]
    assert served.url.startswith("http://127.0.0.1:")
    assert not list((tmp_path / "data").glob("*-wal"))


async def test_one_who_listens_to_events_does_not_keep_it_from_stopping(serve: Serve) -> None:
    """A stream that would go on for ever is ended."""
    served = serve(data=None)
    async with httpx.AsyncClient() as client:
        stream = client.stream("GET", f"{served.url}/api/v1/events?after=0", headers={"Accept": "text/event-stream"})
        async with stream as answer:
            lines = answer.aiter_lines()
            assert await anext(lines) == "id: 1"
            served.signal(signal.SIGTERM)
            assert await asyncio.to_thread(served.wait) == 0
    assert not any("Traceback" in line for line in served.log)


def test_an_interrupt_stops_it_cleanly_too(serve: Serve) -> None:
    """As a person at a terminal does."""
    served = serve()
    served.signal(signal.SIGINT)
    assert served.wait() == 0
    assert not any("Traceback" in line for line in served.log)


def test_without_a_data_folder_nothing_is_kept(serve: Serve) -> None:
    """Each start is the first."""
    for _ in range(2):
        served = serve(data=None)
        assert served.get("/zones/heron")["controls"]["volume"]["value"] == -30.0
        served.call("POST", "/zones/heron/actions", {"control": "volume", "do": "set", "value": -20})
        served.signal(signal.SIGTERM)
        assert served.wait() == 0


def test_it_listens_on_the_other_loopback_too(serve: Serve) -> None:
    """The address that it says can be opened as it is."""
    try:
        socket.socket(socket.AF_INET6, socket.SOCK_STREAM).close()
        with socket.socket(socket.AF_INET6, socket.SOCK_STREAM) as probe:
            probe.bind(("::1", 0))
    except OSError:
        pytest.skip("this machine has no IPv6")
    served = serve("--host", "::1", data=None)
    assert served.url.startswith("http://[::1]:")
    assert served.get("/groups")["groups"]


# Coming back


async def test_a_restart_keeps_links_levels_walls_and_groups(serve: Serve) -> None:
    """Everything is as it was; who is linked last, too."""
    served = serve()
    served.call("PUT", "/controllers/heron-wall/links/tern")
    served.call("PUT", "/controllers/heron-wall/links/heron")
    served.call("POST", "/controllers/heron-wall/actions", {"control": "volume", "do": "set", "value": -20})
    served.call("PUT", "/partitions/plover-tern", {"position": "open"})
    served.call("PUT", "/partitions/heron-plover", {"position": "open", "pin": 3600})
    served.call("PUT", "/overflows/gala", {"zones": ["heron", "tern"]})
    await asyncio.sleep(1.2)  # the blend of the joining ends
    before = served.get("/state")
    served.signal(signal.SIGTERM)
    assert await asyncio.to_thread(served.wait) == 0
    after = serve().get("/state")
    for part in ("zones", "controllers", "groups", "overflows"):
        assert after[part] == before[part], part
    for name in ("plover-tern", "heron-plover"):
        assert after["partitions"][name] == before["partitions"][name]
        assert before["partitions"][name]["position"] == "open"


async def test_a_trajectory_goes_on_over_a_kill(serve: Serve) -> None:
    """The level is where it would be had nothing happened, and arrives."""
    served = serve()
    served.call("POST", "/zones/heron/actions", {"control": "volume", "do": "set", "value": -60, "over": 0})
    served.call("POST", "/zones/heron/actions", {"control": "volume", "do": "set", "value": 0, "over": 6})
    began = time.monotonic()
    served.signal(signal.SIGKILL)
    served.wait()
    served = serve()
    level = served.get("/zones/heron")["controls"]["volume"]
    assert level["moving"]["to"] == 0.0
    assert level["value"] == pytest.approx(-60.0 + 10.0 * (time.monotonic() - began), abs=4.0)
    while served.get("/zones/heron")["controls"]["volume"]["moving"] is not None:
        await asyncio.sleep(0.1)
        assert time.monotonic() - began < 8.0
    assert served.get("/zones/heron")["controls"]["volume"]["value"] == 0.0


async def test_what_was_held_is_let_go_after_a_kill(serve: Serve) -> None:
    """By the first entry after the start, as of the last stamp before: nothing runs on unheld."""
    served = serve()
    async with served.panel() as panel:
        await panel.act("volume", "set", value=-60)
        await panel.act("talkback", "press")
        await panel.act("volume", "raise")
        served.signal(signal.SIGKILL)
    await asyncio.to_thread(served.wait)
    served = serve()
    controls = served.get("/zones/heron")["controls"]
    assert controls["talkback"]["value"] is False
    assert controls["volume"]["moving"] is None
    assert controls["volume"]["value"] == pytest.approx(-60.0, abs=1.0)
    kinds = [entry["did"]["command"] for entry in served.get("/events")["events"]]
    assert "Recover" in kinds


async def book_on(client: httpx.AsyncClient, url: str, slots: Iterator[datetime], booked: asyncio.Queue[str]) -> None:
    """Book one slot after the other until the service dies; what was answered is noted."""
    with contextlib.suppress(httpx.TransportError):
        for slot in slots:
            times = {"start": slot.isoformat(), "end": (slot + timedelta(minutes=5)).isoformat()}
            answer = await client.post(f"{url}/bookings", json={"title": "Storm", "zones": ["foyer"], **times})
            assert answer.status_code == 200, answer.text
            booked.put_nowait(answer.json()["booking"])


ALARM = "wall-unknown/plover-tern"
SEEN = {"shelve": "ShelveAlarm", "unshelve": "UnshelveAlarm", "acknowledge": "AcknowledgeAlarm"}


async def see_on(client: httpx.AsyncClient, url: str, seen: asyncio.Queue[tuple[int, str]]) -> None:
    """Shelve an alarm, let it speak, acknowledge it, until the service dies; what was answered is noted."""
    with contextlib.suppress(httpx.TransportError):
        await client.post(f"{url}/alarms/{ALARM}/unshelve")  # it may be shelved since the last kill
        while True:
            for way, command in SEEN.items():
                body = {"for": 60, "why": "a storm"} if way == "shelve" else None
                answer = await client.post(f"{url}/alarms/{ALARM}/{way}", json=body)
                assert answer.status_code == 200, answer.text
                seen.put_nowait((answer.json()["seq"], command))


async def storm(served: Served, acknowledged: dict[int, float]) -> None:
    """Twenty sockets that command without a pause until the service dies; what got ``ok`` is noted."""

    async def one(number: int) -> None:
        controller = ("heron-wall", "plover-wall", "tern-wall")[number % 3]
        asked: dict[int, float] = {}
        try:
            async with served.panel(controller) as panel:
                for i in range(100_000):
                    asked[i] = -round(number + 1 + (i % 20_000) / 20_000, 5)
                    await panel.send(type="act", id=i, control="volume", do="set", value=asked[i])
                    while len(panel.heard) < i - 8:
                        message = await panel.next()
                        if message["type"] == "ok":
                            acknowledged[message["seq"]] = asked[message["id"]]
                while True:
                    await panel.next()
        except (WebSocketException, OSError, TimeoutError):
            return

    await asyncio.gather(*(one(number) for number in range(20)))


def entries_after(served: Served, seq: int) -> dict[int, Any]:
    """Position to the command and its value, of all entries behind ``seq``."""
    found: dict[int, Any] = {}
    while True:
        page = served.get(f"/events?after={seq}&limit=1000")
        found.update((one["seq"], (one["did"].get("command"), one["did"].get("value"))) for one in page["events"])
        if page["next"] == seq or not page["events"]:
            return found
        seq = page["next"]


async def test_nothing_acknowledged_is_lost_to_a_kill(serve: Serve) -> None:
    """In a storm from twenty sockets, of bookings and of alarms: what got an answer is there after the restart."""
    seed = random.randrange(10**6)
    chance = random.Random(seed)
    first = datetime.now(UTC).replace(microsecond=0) + timedelta(days=30)
    slots = (first + timedelta(minutes=5 * number) for number in count())
    served = serve("--log", "error")
    for position in ("closed", "unknown"):  # an alarm that stays
        served.call("PUT", "/partitions/plover-tern", {"position": position})
    commands, bookings, alarms, recovery_s = 0, 0, 0, []
    async with httpx.AsyncClient(verify=False) as client:
        for round_ in range(KILLS):
            start = served.get("/state")["seq"]
            acknowledged: dict[int, float] = {}
            booked: asyncio.Queue[str] = asyncio.Queue()
            alarms_seen: asyncio.Queue[tuple[int, str]] = asyncio.Queue()
            url = served.url + "/api/v1"
            tasks = storm(served, acknowledged), book_on(client, url, slots, booked), see_on(client, url, alarms_seen)
            raging = asyncio.gather(*tasks)
            some = [await asyncio.wait_for(booked.get(), 10.0)]
            seen = [await asyncio.wait_for(alarms_seen.get(), 10.0)]  # the storm is on
            await asyncio.sleep(chance.uniform(0.0, 0.4))
            served.signal(signal.SIGKILL)
            await raging
            some += [booked.get_nowait() for _ in range(booked.qsize())]
            seen += [alarms_seen.get_nowait() for _ in range(alarms_seen.qsize())]
            await asyncio.to_thread(served.wait)
            began = time.monotonic()
            served = serve("--log", "error")
            assert (await client.get(served.url + "/readyz")).text == "ready\n"
            recovery_s.append(time.monotonic() - began)
            kept = entries_after(served, start)
            assert sorted(kept) == list(range(start + 1, start + 1 + len(kept))), f"a hole; seed {seed}, round {round_}"
            lost = {seq: value for seq, value in acknowledged.items() if kept.get(seq, ("", None))[1] != value}
            assert not lost, f"{len(lost)} of {len(acknowledged)} lost; seed {seed}, round {round_}"
            unseen = {seq: command for seq, command in seen if kept.get(seq, ("", None))[0] != command}
            assert not unseen, f"{len(unseen)} of {len(seen)} of alarms lost; seed {seed}, round {round_}"
            for booking in some:
                assert served.get(f"/bookings/{booking}")["title"] == "Storm", f"lost; seed {seed}, round {round_}"
            commands, bookings, alarms = commands + len(acknowledged), bookings + len(some), alarms + len(seen)
    assert commands > 20 * KILLS, "the storm was none"
    middle, longest = statistics.median(recovery_s), max(recovery_s)
    print(f"{KILLS} kills; {commands} commands, {bookings} bookings and {alarms} words on alarms answered, none lost;")
    print(f"ready again after {middle:.2f} s (median), {longest:.2f} s (longest), from the start of the process")


# Reloading


async def test_a_sound_folder_is_taken_without_dropping_a_panel(serve: Serve, folder: Path) -> None:
    """On SIGHUP; each panel gets a fresh welcome, and state is kept."""
    served = serve()
    async with served.panel() as panel:
        await panel.act("volume", "set", value=-20)
        write_venue(folder, HARBOUR.replace("foyer: {type: lobby}", "foyer: {type: lobby}\n  gull: {type: section}"))
        served.signal(signal.SIGHUP)
        welcome = await panel.until("welcome")
        assert "gull" in welcome["zones"]
        assert welcome["controller"]["controls"]["volume"]["value"] == -20.0
        assert (await panel.act("volume", "set", value=-25))["type"] == "ok"


async def test_an_unsound_folder_is_refused_whole(serve: Serve, folder: Path) -> None:
    """The log says where it is wrong, nothing changes, and a later sound one is taken."""
    served = serve()
    before = served.get("/venue")
    async with served.panel() as panel:
        write_venue(folder, HARBOUR.replace("home: tern", "home: attic").replace("Harbour Hall", "Harbour House"))
        served.signal(signal.SIGHUP)
        assert await asyncio.to_thread(logged, served, "attic")
        assert any("venue.yaml:" in line for line in served.log)
        assert await panel.fence() == []
        assert served.get("/venue") == before
        write_venue(folder, HARBOUR.replace("Harbour Hall", "Harbour House"))
        served.signal(signal.SIGHUP)
        await panel.until("welcome")
    assert served.get("/venue")["venue"]["name"] == "Harbour House"


def test_a_folder_of_another_venue_is_refused(serve: Serve, folder: Path) -> None:
    """Its journal belongs to this one."""
    served = serve()
    write_venue(folder, HARBOUR.replace("id: harbour", "id: elsewhere"))
    served.signal(signal.SIGHUP)
    assert logged(served, "another venue")
    assert served.get("/venue")["venue"]["id"] == "harbour"


# What keeps it from starting is told in `tests/test_cli.py`; here what the journal says


def test_a_journal_of_another_venue_is_left_alone(serve: Serve, folder: Path, tmp_path: Path) -> None:
    """Status 1, a sentence, and the file as it was."""
    served = serve()
    served.signal(signal.SIGTERM)
    served.wait()
    before = (tmp_path / "data" / "journal.db").read_bytes()
    write_venue(folder, HARBOUR.replace("id: harbour", "id: elsewhere"))
    assert "harbour" in refusal(serve)
    assert (tmp_path / "data" / "journal.db").read_bytes() == before


def test_a_journal_in_use_is_left_alone(serve: Serve) -> None:
    """A second service on the same data refuses to start, and the first one goes on."""
    first = serve()
    assert "journal.db" in refusal(serve)
    assert first.call("POST", "/zones/heron/actions", {"control": "mute", "do": "set", "value": False})["seq"] > 1


def test_a_file_that_is_no_journal_is_left_alone(serve: Serve, tmp_path: Path) -> None:
    """Another program's database is not touched."""
    (tmp_path / "data").mkdir()
    path = tmp_path / "data" / "journal.db"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE invoices (number INTEGER)")
    other.close()
    before = path.read_bytes()
    assert "journal.db" in refusal(serve)
    assert path.read_bytes() == before
