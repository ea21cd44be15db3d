"""Calendars that are followed, from a real server on a free port that changes and fails; time is virtual."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest

from roomlink.core.alarms import stands
from roomlink.core.commands import SERVICE, Configure
from roomlink.core.state import State
from roomlink.diary.feeds import ALARM_TRIES, FILE_BYTES_MAX
from roomlink.errors import UnknownName
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.feeds import Feeds
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, quiet, write_venue
from tests.diary.desk import NOW, calendar, event
from tests.runtime.peer import Asked, Peer, Reply, always, never, peer

WITHIN_S = 5.0
EVERY_S = 900.0


class Office:
    """A calendar server: what it has, and how it names its version."""

    def __init__(self, *events: str) -> None:
        self.events = events
        self.version = 1
        self.raw: bytes | None = None

    def now(self, *events: str) -> None:
        self.events = events
        self.version += 1

    async def answer(self, asked: Asked) -> Reply:
        etag = f'"v{self.version}"'
        if asked.headers.get("if-none-match") == etag:
            return Reply(304, {"etag": etag})
        text = calendar(*self.events).replace("\n", "\r\n").encode() if self.raw is None else self.raw
        return Reply(200, {"etag": etag, "content-type": "text/calendar"}, text)


class Bench:
    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        self.folder = folder
        self.clock = clock
        self.writer = Writer(State(), 0, MemoryJournal(), clock, Metrics())
        self.feeds = Feeds(self.writer, folder)

    async def configure(self, *feeds: dict[str, Any]) -> None:
        rooms = {"Ballroom A": ["heron"]}
        section = json.dumps({"rooms": rooms, "feeds": feeds})
        text = HARBOUR.replace("America/Halifax", "America/New_York")
        loaded = load(write_venue(self.folder, f"{text}\ncalendar: {section}\n"))
        await self.writer.submit(Configure(SERVICE, loaded.data, loaded.digest))

    async def holds(self, true: Callable[[], object]) -> None:
        async with asyncio.timeout(WITHIN_S):
            while not true():  # noqa: ASYNC110 - what is waited for has no event
                await asyncio.sleep(0.002)

    async def done(self) -> None:
        """The feed is done with the last answer, and waits for its time again."""
        await self.holds(lambda: self.clock.stamp() + EVERY_S in self.clock.waiting)

    async def later(self, seconds: float = EVERY_S) -> None:
        await self.done()
        self.clock.advance(seconds)
        await asyncio.sleep(0)
        await quiet(self.writer)

    def status(self) -> dict[str, Any]:
        return self.feeds.status()[0]

    def booked(self, uid: str = "a@example.test") -> str:
        name = self.writer.state.booking_of_uid.get(uid)
        return "" if name is None else self.writer.state.bookings[name].status

    async def stop(self) -> None:
        await self.feeds.stop()
        await self.writer.stop()


@pytest.fixture
async def begin(tmp_path: Path) -> AsyncIterator[Callable[..., Awaitable[Bench]]]:
    async with AsyncExitStack() as stack:

        async def start(url: str, **members: Any) -> Bench:
            bench = Bench(tmp_path / "harbour", VirtualClock(NOW))
            bench.writer.start()
            stack.push_async_callback(bench.stop)
            await bench.configure({"name": "office", "url": url, **members})
            bench.feeds.start()
            return bench

        yield start


@pytest.fixture
def office() -> Office:
    return Office(event(LOCATION="Ballroom A"))


@pytest.fixture
async def server(office: Office) -> AsyncIterator[Peer]:
    async with peer(office.answer) as one:
        yield one


async def test_a_calendar_is_taken_in_at_once_and_followed(begin: Any, server: Peer, office: Office) -> None:
    """What it has is booked, what it changes is changed, what it drops is cancelled."""
    bench = await begin(server.url)
    await bench.holds(lambda: bench.booked() == "confirmed")
    assert bench.writer.state.bookings[bench.writer.state.booking_of_uid["a@example.test"]].zones == ("heron",)
    office.now(event(LOCATION="Tern"), event("b@example.test"))
    await bench.holds(lambda: bench.status()["taken"])
    await bench.later()
    await bench.holds(lambda: bench.booked("b@example.test") == "confirmed")
    assert bench.writer.state.bookings[bench.writer.state.booking_of_uid["a@example.test"]].zones == ("tern",)
    office.now(event("b@example.test"))
    await bench.holds(lambda: bench.status()["report"]["counts"]["changed"] == 1)
    await bench.later()
    await bench.holds(lambda: bench.booked() == "cancelled")


async def test_an_unchanged_calendar_is_not_sent_again(begin: Any, server: Peer) -> None:
    """The second time it is asked for with its ETag, and 304 changes nothing."""
    bench = await begin(server.url)
    await bench.holds(lambda: bench.status()["taken"])
    seq = bench.writer.engine.seq
    await bench.later()
    await server.until(2)
    await bench.later()
    await server.until(3)
    assert [one.headers.get("if-none-match") for one in server.asked] == [None, '"v1"', '"v1"']
    assert bench.writer.engine.seq == seq
    assert bench.status()["failures"] == 0


@pytest.mark.parametrize(
    ("behaviour", "why"), [(always(500), "it answered 500"), (never, "no whole answer within 0.05 s")]
)
async def test_a_calendar_that_fails_loses_nothing(
    begin: Any, server: Peer, office: Office, behaviour: Any, why: str
) -> None:
    """After several failures there is an alarm, which clears; what was taken stays as it was."""
    bench = await begin(server.url, timeout="50ms")
    await bench.holds(lambda: bench.status()["taken"])
    server.behaviour = behaviour
    for failures in range(1, ALARM_TRIES + 1):
        await bench.later()
        await bench.holds(lambda wanted=failures: bench.status()["failures"] == wanted)
    await bench.holds(lambda: "feed/office" in bench.writer.state.alarms)
    assert bench.status()["why"] == why
    assert bench.booked() == "confirmed"
    server.behaviour = office.answer
    await bench.later()
    await bench.holds(lambda: not stands(bench.writer.state, "feed/office"))
    assert bench.booked() == "confirmed"


@pytest.mark.parametrize("raw", [b"", b"<html>sign in</html>", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", b"\xff\xfe"])
async def test_a_file_that_is_no_calendar_is_a_failure(begin: Any, server: Peer, office: Office, raw: bytes) -> None:
    """A page to sign in, or half a file, is not an empty diary."""
    bench = await begin(server.url)
    await bench.holds(lambda: bench.status()["taken"])
    office.now()
    office.raw = raw
    await bench.later()
    await bench.holds(lambda: bench.status()["failures"] == 1)
    assert bench.booked() == "confirmed"


async def test_a_file_that_is_too_large_is_not_read(begin: Any, server: Peer, office: Office) -> None:
    """The bound holds while it is read, whatever its length was said to be."""
    office.raw = b"X" * (FILE_BYTES_MAX + 1)
    bench = await begin(server.url)
    await bench.holds(lambda: bench.status()["failures"] == 1)
    assert bench.status()["why"] == "the file is larger than 8 MiB"


async def test_what_clashes_is_tried_again(begin: Any, server: Peer, office: Office) -> None:
    """A refused event is in the report, and is taken once its zones are free, though the file is the same."""
    office.now(event(), event("b@example.test"))
    bench = await begin(server.url)
    await bench.holds(lambda: bench.status()["taken"])
    refused = [line for line in bench.status()["report"]["lines"] if line["outcome"] == "refused"]
    assert [line["uid"] for line in refused] == ["b@example.test"]
    assert refused[0]["clashes"]
    await bench.later()
    await server.until(2)
    assert server.asked[1].headers.get("if-none-match") is None


async def test_a_feed_can_be_asked_at_once(begin: Any, server: Peer, office: Office) -> None:
    """A person need not wait for its time; there must be such a feed."""
    bench = await begin(server.url)
    await bench.holds(lambda: bench.status()["taken"])
    bench.feeds.ask_now("office")
    await server.until(2)
    with pytest.raises(UnknownName, match="feed"):
        bench.feeds.ask_now("nobody")


async def test_a_feed_that_is_taken_out_is_asked_no_more_and_its_bookings_stay(
    begin: Any, server: Peer, office: Office
) -> None:
    """Only people cancel what came from a calendar that is no longer followed."""
    bench = await begin(server.url + "/secret.ics?token=hush")
    await bench.holds(lambda: bench.status()["taken"])
    assert "hush" not in str(bench.feeds.status())
    await bench.configure()
    assert bench.feeds.status() == []
    await bench.later()
    assert len(server.asked) == 1
    assert bench.booked() == "confirmed"


async def test_it_follows_to_another_address_but_not_for_ever(begin: Any, server: Peer, office: Office) -> None:
    """A calendar that has moved is found; one that points to itself is a failure."""

    async def moved(asked: Asked) -> Reply:
        return Reply(301, {"location": "/new"}) if asked.path == "/old" else await office.answer(asked)

    server.behaviour = moved
    bench = await begin(server.url + "/old")
    await bench.holds(lambda: bench.booked() == "confirmed")
    server.behaviour = always(301, location="/old")
    await bench.holds(lambda: bench.status()["taken"])
    await bench.later()
    await bench.holds(lambda: bench.status()["failures"] == 1)
    assert bench.booked() == "confirmed"


async def test_a_calendar_file_of_the_venues_folder_is_followed_too(tmp_path: Path) -> None:
    """Taken in at the start and whenever it is another; a file that is gone or too large changes nothing."""
    bench = Bench(tmp_path / "harbour", VirtualClock(NOW))
    bench.writer.start()
    await bench.configure({"name": "office", "file": "office.ics"})
    file = tmp_path / "harbour" / "office.ics"

    def write(*events: str) -> None:
        file.write_bytes(calendar(*events).replace("\n", "\r\n").encode())

    write(event(LOCATION="Ballroom A"))
    bench.feeds.start()
    try:
        await bench.done()
        assert bench.booked() == "confirmed"
        seq = bench.writer.engine.seq
        await bench.later()
        await bench.done()
        assert bench.writer.engine.seq == seq
        write(event("b@example.test"))
        await bench.later()
        await bench.done()
        assert (bench.booked(), bench.booked("b@example.test")) == ("cancelled", "confirmed")
        file.unlink()
        await bench.later()
        await bench.done()
        assert bench.status()["why"] == "office.ics cannot be read: No such file or directory"
        file.write_bytes(b"X" * (FILE_BYTES_MAX + 1))
        await bench.later()
        await bench.done()
        assert (bench.status()["why"], bench.status()["failures"]) == ("the file is larger than 8 MiB", 2)
        assert bench.booked("b@example.test") == "confirmed"
    finally:
        await bench.stop()
