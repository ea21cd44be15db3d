"""Webhooks to a real receiver on a free port, which fails, is slow, is gone and comes back; time is virtual."""

from __future__ import annotations

import asyncio
import base64
import json
import signal
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest

from roomlink.core.alarms import stands
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure, NoteTold, ReportTrouble
from roomlink.core.state import State
from roomlink.diary.webhooks import verified
from roomlink.errors import BadValue, UnknownName
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.recovery import fold
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.posting import RETRY_S_MAX, backoff, judged
from roomlink.runtime.webhooks import ALARM_TRIES, BY, NOTE_S, REFUSALS_MAX, Webhooks
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, Served, quiet, write_venue
from tests.runtime.conftest import wall
from tests.runtime.peer import Asked, Peer, Reply, always, never, peer, well

KEY = bytes(range(32))
SECRET = "whsec_" + base64.b64encode(KEY).decode()
WORLD = 1_700_000_000.0
WITHIN_S = 5.0


class Bench:
    """A venue that tells ``hooks``, each an address and more members of its configuration."""

    def __init__(self, folder: Path, clock: VirtualClock, journal: MemoryJournal) -> None:
        self.folder = folder
        self.clock = clock
        self.journal = journal
        self.writer: Writer
        self.webhooks: Webhooks

    async def start(self) -> None:
        state, seq, _ = fold(self.journal, empty=State, apply=apply)
        self.writer = Writer(state, seq, self.journal, self.clock, Metrics())
        self.writer.start()
        self.webhooks = Webhooks(self.writer, self.folder, wall=lambda: WORLD, chance=lambda: 1.0)

    async def configure(self, **hooks: dict[str, Any]) -> None:
        rows = [{"name": name, "secret_file": "secret", **members} for name, members in hooks.items()]
        loaded = load(write_venue(self.folder, f"{HARBOUR}\nwebhooks: {json.dumps(rows)}\n"))
        await self.writer.submit(Configure(SERVICE, loaded.data, loaded.digest))

    async def move(self, position: str, partition: str = "plover-tern") -> int:
        """Move the wall that has no settle time; gives the position of the entry."""
        return (await self.writer.submit(wall(partition, position))).seq

    async def pass_(self, seconds: float) -> None:
        """Let time pass, and what it brings happen."""
        self.clock.advance(seconds)
        await asyncio.sleep(0)
        await quiet(self.writer)

    async def holds(self, true: Callable[[], object]) -> None:
        """Wait until something is so, in real time, as sockets are real."""
        async with asyncio.timeout(WITHIN_S):
            while not true():  # noqa: ASYNC110 - what is waited for has no event
                await asyncio.sleep(0.002)

    def failing(self, name: str = "office") -> int:
        return next(int(s["failures"]) for s in self.webhooks.status() if s["webhook"] == name)

    async def stop(self) -> None:
        await self.webhooks.stop()
        await self.writer.stop()


@pytest.fixture
async def begin(tmp_path: Path, clock: VirtualClock) -> AsyncIterator[Callable[..., Awaitable[Bench]]]:
    """Start a venue; what is started is stopped."""
    (tmp_path / "harbour").mkdir()
    (tmp_path / "harbour" / "secret").write_text(SECRET + "\n")
    async with AsyncExitStack() as stack:

        async def start(journal: MemoryJournal | None = None) -> Bench:
            bench = Bench(tmp_path / "harbour", clock, journal or MemoryJournal())
            await bench.start()
            stack.push_async_callback(bench.stop)
            return bench

        yield start


@pytest.fixture
async def receiver() -> AsyncIterator[Peer]:
    async with peer() as one:
        yield one


@pytest.fixture
async def bench(begin: Callable[..., Awaitable[Bench]], receiver: Peer) -> Bench:
    """A venue that tells ``receiver`` of its walls."""
    bench = await begin()
    await bench.configure(office={"url": receiver.url + "/hook", "events": ["wall"]})
    bench.webhooks.start()
    return bench


def types(asked: list[Asked]) -> list[str]:
    return [json.loads(one.body)["type"] for one in asked]


async def test_what_happens_is_told_and_signed(bench: Bench, receiver: Peer) -> None:
    """The receiver can verify id, time and body with the secret that both have."""
    seq = await bench.move("open")
    (asked,) = await receiver.until(1)
    headers = asked.headers
    assert verified(
        KEY, headers["webhook-id"], headers["webhook-timestamp"], headers["webhook-signature"], asked.body, WORLD
    )
    said = json.loads(asked.body)
    assert (asked.method, asked.path, said["type"]) == ("POST", "/hook", "wall.changed")
    assert said["data"]["seq"] == seq
    assert said["data"]["position"] == "open"


async def test_only_what_is_wanted_is_told_in_order(bench: Bench, receiver: Peer) -> None:
    """Families that were not asked for are left out; what is told comes in the order in which it happened."""
    for position in ("open", "closed", "open"):
        await bench.move(position)
    asked = await receiver.until(3)
    assert types(asked) == ["wall.changed"] * 3
    assert [json.loads(one.body)["data"]["position"] for one in asked] == ["open", "closed", "open"]


async def test_a_receiver_that_fails_is_asked_again_with_the_same_id(bench: Bench, receiver: Peer) -> None:
    """After a pause that grows; the id tells him that it is the same message."""
    receiver.behaviour = always(503)
    await bench.move("open")
    await receiver.until(1)
    await bench.holds(lambda: bench.clock.waiting and bench.failing() == 1)
    await bench.pass_(4.9)
    assert len(receiver.asked) == 1
    await bench.pass_(0.2)
    await receiver.until(2)
    await bench.holds(lambda: bench.failing() == 2)
    receiver.behaviour = well
    await bench.pass_(10.0)
    await receiver.until(3)
    await bench.holds(lambda: bench.failing() == 0)
    assert len({one.headers["webhook-id"] for one in receiver.asked}) == 1


async def test_a_receiver_that_says_when_is_asked_then(bench: Bench, receiver: Peer) -> None:
    """Retry-After is heard, where it is longer than the usual pause."""
    receiver.behaviour = always(429, retry_after="60")
    await bench.move("open")
    await receiver.until(1)
    await bench.holds(lambda: bench.failing() == 1)
    await bench.pass_(59.0)
    assert len(receiver.asked) == 1
    await bench.pass_(2.0)
    await receiver.until(2)


async def test_a_slow_receiver_holds_up_nobody(
    begin: Callable[..., Awaitable[Bench]], receiver: Peer, clock: VirtualClock
) -> None:
    """Commands are carried out, and others are told, while one receiver never answers; its time is bounded."""
    async with peer(never) as slow:
        bench = await begin()
        await bench.configure(
            slow={"url": slow.url, "events": ["wall"], "timeout": "50ms"},
            office={"url": receiver.url, "events": ["wall"]},
        )
        bench.webhooks.start()
        await bench.move("open")
        await slow.until(1)
        await bench.move("closed")
        assert types(await receiver.until(2)) == ["wall.changed"] * 2
        await bench.holds(lambda: bench.failing("slow") == 1)
        status = {one["webhook"]: one for one in bench.webhooks.status()}
        assert status["slow"]["why"] == "no answer within 0.05 s"
        slow.behaviour = well
        await bench.pass_(6.0)
        assert types(await slow.until(3)) == ["wall.changed"] * 3


async def test_a_receiver_that_is_gone_raises_an_alarm_that_clears(
    begin: Callable[..., Awaitable[Bench]], receiver: Peer
) -> None:
    """After several failures there is an alarm; once he is back he is told everything, and it clears."""
    port = int(receiver.url.rpartition(":")[2])
    bench = await begin()
    async with peer() as other:
        gone = other.url
    await bench.configure(office={"url": gone, "events": ["wall"]})
    bench.webhooks.start()
    await bench.move("open")
    for failures in range(1, ALARM_TRIES + 1):
        await bench.holds(lambda wanted=failures: bench.failing() >= wanted)
        await bench.pass_(backoff(failures, 1.0) + 0.1)
    await bench.holds(lambda: "webhook/office" in bench.writer.state.alarms)
    assert "office cannot be told" in bench.writer.state.alarms["webhook/office"].text
    async with peer(port=int(gone.rpartition(":")[2])) as back:
        assert port != int(gone.rpartition(":")[2])
        await bench.pass_(RETRY_S_MAX)
        assert types(await back.until(1)) == ["wall.changed"]
        await bench.holds(lambda: not stands(bench.writer.state, "webhook/office"))


async def test_what_is_refused_is_put_aside_and_can_be_sent_again(bench: Bench, receiver: Peer) -> None:
    """A message that the receiver refuses does not hold up the others; a person can send it again."""

    async def picky(asked: Asked) -> Reply:
        return Reply(422 if json.loads(asked.body)["data"]["position"] == "open" else 200)

    receiver.behaviour = picky
    seq = await bench.move("open")
    for tries in range(1, REFUSALS_MAX):
        await bench.holds(lambda wanted=tries: bench.failing() >= wanted)
        await bench.pass_(backoff(tries, 1.0) + 0.1)
    await receiver.until(REFUSALS_MAX)
    await bench.move("closed")
    await receiver.until(REFUSALS_MAX + 1)
    await bench.holds(lambda: bench.failing() == 0)
    (status,) = bench.webhooks.status()
    assert status["failed"] == [{"seq": seq, "place": 0, "why": "it answered 422"}]
    receiver.behaviour = well
    assert bench.webhooks.replay("office")["again"] == 1
    await receiver.until(REFUSALS_MAX + 2)
    assert receiver.asked[-1].headers["webhook-id"] == receiver.asked[0].headers["webhook-id"]
    await bench.holds(lambda: not bench.webhooks.status()[0]["failed"])


async def refused(bench: Bench) -> None:
    """Let the time pass in which one message is refused and put aside."""
    for tries in range(1, REFUSALS_MAX):
        await bench.holds(lambda wanted=tries: bench.failing() >= wanted and bench.clock.waiting)
        await bench.pass_(backoff(tries, 1.0) + 0.1)


async def test_a_message_that_is_put_aside_is_an_alarm_until_one_is_taken_again(bench: Bench, receiver: Peer) -> None:
    """Nobody would know else, as the others go on; the alarm says what to do, and ends by itself."""
    receiver.behaviour = always(410)
    seq = await bench.move("open")
    await refused(bench)
    await bench.holds(lambda: stands(bench.writer.state, "webhook-given-up/office"))
    alarm = bench.writer.state.alarms["webhook-given-up/office"]
    assert (alarm.priority, alarm.state) == ("medium", "unacknowledged")
    assert f"entry {seq}, which is put aside: it answered 410" in alarm.text
    assert "POST /api/v1/webhooks/office/replay" in alarm.text
    assert bench.webhooks.replay("office")["again"] == 1
    await receiver.until(REFUSALS_MAX + 1)
    await quiet(bench.writer)
    assert stands(bench.writer.state, "webhook-given-up/office")
    receiver.behaviour = well
    bench.webhooks.replay("office")
    await bench.holds(lambda: not stands(bench.writer.state, "webhook-given-up/office"))
    assert bench.writer.state.alarms["webhook-given-up/office"].state == "returned"


async def test_a_receiver_that_refuses_to_hear_of_that_alarm_does_not_raise_it_again(
    begin: Callable[..., Awaitable[Bench]], receiver: Peer
) -> None:
    """It takes what is before and behind the alarm, so that each would end it, and its refusal begin it anew."""

    async def picky(asked: Asked) -> Reply:
        return Reply(422 if json.loads(asked.body)["type"] == "alarm.raised" else 200)

    receiver.behaviour = picky
    bench = await begin()
    await bench.configure(office={"url": receiver.url, "events": ["alarm"]})
    bench.webhooks.start()
    await bench.writer.submit(ReportTrouble(SERVICE, "slow", "the service runs late"))
    await bench.writer.submit(ReportTrouble(SERVICE, "slow", ""))
    await refused(bench)
    await bench.holds(lambda: bench.webhooks.status()[0]["told"] == 1)
    await refused(bench)
    await bench.holds(lambda: bench.webhooks.status()[0]["told"] == 2)
    assert bench.writer.state.alarms["webhook-given-up/office"].count == 1
    assert len(bench.webhooks.status()[0]["failed"]) == 2
    assert not stands(bench.writer.state, "webhook-given-up/office")


async def test_what_is_too_old_is_put_aside(begin: Callable[..., Awaitable[Bench]], receiver: Peer) -> None:
    """A receiver that was away longer than ``give_up`` is told what is still of use, and the rest is kept."""
    bench = await begin()
    receiver.behaviour = always(500)
    await bench.configure(office={"url": receiver.url, "events": ["wall"], "give_up": "1h"})
    bench.webhooks.start()
    await bench.move("open")
    await bench.holds(lambda: bench.failing() == 1)
    await bench.pass_(3700.0)
    await receiver.until(2)
    await bench.holds(lambda: bench.webhooks.status()[0]["failed"])
    receiver.behaviour = well
    await bench.move("closed")
    await receiver.until(3)
    assert json.loads(receiver.asked[-1].body)["data"]["position"] == "closed"


async def test_where_it_was_is_known_after_a_restart(bench: Bench, begin: Any, receiver: Peer) -> None:
    """The position is in the journal: what was told is not told again, and what was not is."""
    await bench.move("open")
    await receiver.until(1)
    await bench.holds(lambda: bench.webhooks.status()[0]["told"] == 1)
    await bench.webhooks.stop()
    await bench.move("closed")
    await bench.writer.stop()
    again = await begin(bench.journal)
    again.webhooks.start()
    await receiver.until(2)
    await again.holds(lambda: again.webhooks.status()[0]["told"] == 1)
    assert [json.loads(one.body)["data"]["position"] for one in receiver.asked] == ["open", "closed"]


async def test_after_a_crash_the_last_are_told_again_with_their_ids(bench: Bench, begin: Any, receiver: Peer) -> None:
    """At least once: what was not put down yet comes twice, and can be recognised."""
    await bench.move("open")
    await receiver.until(1)
    await bench.holds(lambda: bench.webhooks.status()[0]["told"] == 1)
    # Nothing is put down before NOTE_S: a service killed now has told, and does not know it.
    assert bench.writer.state.told["office"][0] < bench.webhooks.status()[0]["told_upto"]
    again = await begin(bench.journal)
    again.webhooks.start()
    await receiver.until(2)
    assert receiver.asked[0].headers["webhook-id"] == receiver.asked[1].headers["webhook-id"]


async def test_the_position_is_put_down_seldom(bench: Bench, receiver: Peer) -> None:
    """Many messages make one entry, and an entry that says so makes no message."""
    for position in ("open", "closed", "open", "closed"):
        await bench.move(position)
    await receiver.until(4)
    await bench.holds(lambda: bench.webhooks.status()[0]["told"] == 4)
    before = bench.writer.engine.seq
    await bench.pass_(NOTE_S)
    await bench.holds(lambda: bench.writer.state.told["office"][0] == before)
    assert bench.writer.engine.seq == before + 1
    await bench.pass_(10 * NOTE_S)
    assert bench.writer.engine.seq == before + 1


async def test_everything_since_a_position_can_be_told_again(bench: Bench, receiver: Peer) -> None:
    """A receiver that lost its store asks for all of it, and the ids are the same."""
    first = await bench.move("open")
    await bench.move("closed")
    await receiver.until(2)
    bench.webhooks.replay("office", after=first - 1)
    asked = await receiver.until(4)
    assert [one.headers["webhook-id"] for one in asked[-2:]] == [one.headers["webhook-id"] for one in asked[:2]]
    with pytest.raises(BadValue, match="no position"):
        bench.webhooks.replay("office", after=10_000)
    with pytest.raises(UnknownName, match="webhook"):
        bench.webhooks.replay("nobody")


async def test_a_new_webhook_hears_from_now_on(begin: Callable[..., Awaitable[Bench]], receiver: Peer) -> None:
    """Somebody who is configured today is not told of last year; who is taken out is forgotten."""
    bench = await begin()
    await bench.configure()
    bench.webhooks.start()
    await bench.move("open")
    await bench.configure(office={"url": receiver.url, "events": ["wall"]})
    await bench.move("closed")
    (asked,) = await receiver.until(1)
    assert json.loads(asked.body)["data"]["position"] == "closed"
    await bench.configure()
    await bench.holds(lambda: "office" not in bench.writer.state.told)
    assert bench.webhooks.status() == []


async def test_a_changed_webhook_goes_on_where_it_was(bench: Bench, receiver: Peer) -> None:
    """A reload with another address loses nothing and repeats nothing that was told."""
    await bench.move("open")
    await receiver.until(1)
    await bench.holds(lambda: bench.webhooks.status()[0]["told"] == 1)
    async with peer() as other:
        await bench.configure(office={"url": other.url, "events": ["wall"]})
        await bench.move("closed")
        asked = await other.until(1)
    assert json.loads(asked[-1].body)["data"]["position"] == "closed"
    assert len(receiver.asked) == 1


@pytest.mark.parametrize(
    ("content", "why"),
    [(None, "there is no secret file secret"), ("whsec_!!", "not whsec_ and base64"), ("whsec_QUJD", "has 3 bytes")],
)
async def test_a_secret_that_cannot_be_used_is_told(
    begin: Callable[..., Awaitable[Bench]], receiver: Peer, content: str | None, why: str
) -> None:
    """Nothing is sent unsigned, what is wrong is in the status, and the secret is nowhere."""
    bench = await begin()
    secret = bench.folder / "secret"
    secret.unlink() if content is None else secret.write_text(content + "\n")
    await bench.configure(office={"url": receiver.url + "?token=hush", "events": ["wall"]})
    bench.webhooks.start()
    await bench.move("open")
    await bench.holds(lambda: bench.failing() == 1)
    (status,) = bench.webhooks.status()
    assert why in status["why"]
    assert "hush" not in str(status)
    assert not receiver.asked
    secret.write_text(SECRET + "\n")
    await bench.pass_(6.0)
    await receiver.until(1)


async def test_a_redirect_is_not_followed(bench: Bench, receiver: Peer) -> None:
    """What is signed for one address is not sent to another."""
    receiver.behaviour = always(302, location=receiver.url + "/elsewhere")
    await bench.move("open")
    await receiver.until(1)
    await bench.holds(lambda: bench.failing() == 1)
    assert [one.path for one in receiver.asked] == ["/hook"]


async def test_trouble_is_an_alarm_once(bench: Bench) -> None:
    """Reporting the same trouble again is no news, and neither is that nothing is wrong."""
    first = await bench.writer.submit(ReportTrouble(BY, "webhook/x", "it fails"))
    assert (await bench.writer.submit(ReportTrouble(BY, "webhook/x", "it fails"))).seq == first.seq
    assert (await bench.writer.submit(ReportTrouble(BY, "webhook/x"))).seq == first.seq + 1
    assert (await bench.writer.submit(ReportTrouble(BY, "webhook/x"))).seq == first.seq + 1
    same = NoteTold(BY, "office", *bench.writer.state.told["office"])
    assert (await bench.writer.submit(same)).seq == first.seq + 1


def test_pauses_double_up_to_an_hour_and_are_spread() -> None:
    """5, 10, 20 seconds and so on; by chance down to the half, so that many do not come at once."""
    assert [backoff(n, 1.0) for n in (1, 2, 3, 4)] == [5.0, 10.0, 20.0, 40.0]
    assert backoff(1, 0.0) == 2.5
    assert backoff(1000, 1.0) == RETRY_S_MAX


def test_what_an_answer_means() -> None:
    """2xx is taken; what may pass is tried again; the rest would be refused again."""
    assert judged(204, None).good
    for status in (408, 425, 429, 500, 503):
        assert judged(status, None).again
    for status in (301, 400, 404, 410, 422):
        assert not judged(status, "10").again
        assert not judged(status, None).good
    assert judged(503, "120").after == 120.0
    assert judged(503, "Wed, 21 Oct 2026 07:28:00 GMT").after == 0.0
    assert judged(503, "999999").after == RETRY_S_MAX


async def test_a_service_that_was_killed_tells_the_rest_when_it_is_back(
    serve: Callable[..., Served], folder: Path, receiver: Peer
) -> None:
    """What was acknowledged before the kill is told after it, whoever was away meanwhile."""
    hook = {"name": "office", "url": receiver.url, "secret_file": "secret", "events": ["booking"]}
    write_venue(folder, f"{HARBOUR}\nwebhooks: {json.dumps([hook])}\n")
    (folder / "secret").write_text(SECRET + "\n")
    receiver.behaviour = always(503)
    first = await asyncio.to_thread(serve)
    body = {"title": "Choir", "zones": ["heron"], "start": "2999-05-01T19:00:00Z", "end": "2999-05-01T21:00:00Z"}
    booking = (await asyncio.to_thread(first.call, "POST", "/bookings", body))["booking"]
    await receiver.until(1)
    first.signal(signal.SIGKILL)
    await asyncio.to_thread(first.wait)
    before = len(receiver.asked)
    receiver.behaviour = well
    await asyncio.to_thread(serve)
    asked = await receiver.until(before + 2)
    assert types(asked[before:]) == ["booking.created", "booking.dates"]
    assert asked[before].headers["webhook-id"] == asked[0].headers["webhook-id"]
    assert json.loads(asked[-1].body)["data"]["booking"] == booking
