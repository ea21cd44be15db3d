"""The journal in JetStream keeps the promises of the port, with a real server."""

from __future__ import annotations

import contextlib
import queue
import shutil
import threading
import time
from collections.abc import Iterator
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from roomlink.core.events import Entry
from roomlink.errors import JournalFailed
from roomlink.journal import jetstream, natslink, stream_reading
from roomlink.journal.jetstream import JetStreamJournal, News, Place, Rewound
from roomlink.journal.port import Journal
from tests.contracts.journal import JournalContract, make_entries, make_entry, make_snapshot
from tests.nats_servers import NatsServer, Torn

_venues = count(1)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NatsServer]:
    """One server for the module; each test has a venue of its own in it."""
    server = NatsServer(tmp_path_factory.mktemp("nats"))
    server.start()
    yield server
    server.stop()


@pytest.fixture
def venue() -> str:
    return f"hall{next(_venues)}"


@pytest.fixture
def mortal(tmp_path: Path) -> Iterator[NatsServer]:
    """A server of one test's own, to be killed."""
    server = NatsServer(tmp_path)
    server.start()
    yield server
    server.stop()


def opened(server: NatsServer, venue: str, node: str = "a") -> JetStreamJournal:
    return JetStreamJournal(Place((server.url,), node=node), venue)


class TestJetStreamJournal(JournalContract):
    @pytest.fixture
    def journal(self, server: NatsServer, venue: str) -> Iterator[Journal]:
        journal = opened(server, venue)
        yield journal
        journal.close()


def test_what_a_server_has_taken_survives_its_death(mortal: NatsServer) -> None:
    """After kill -9 of the server and of the reader: entries, snapshot and identity are there."""
    server = mortal
    journal = opened(server, "hall")
    journal.append(make_entries(1, 5))
    journal.save(make_snapshot(4))
    identity = journal.identity
    journal.append(make_entries(6, 7))
    server.kill()
    journal.close()
    server.start()
    again = opened(server, "hall")
    assert (again.identity, again.last_seq, again.notices) == (identity, 7, [])
    assert list(again.entries()) == make_entries(1, 7)
    assert again.snapshot_before() == make_snapshot(4)
    again.append([make_entry(8)])
    again.close()


def test_a_writer_that_was_replaced_cannot_write(server: NatsServer, venue: str) -> None:
    """Whatever it believes: the stream has gone on, it is told, and what it tried is nowhere."""
    old, new = opened(server, venue, "a"), opened(server, venue, "b")
    old.take_over("term-1")
    old.append(make_entries(1, 3))
    assert new.take_over("term-2") == make_entries(1, 3)
    with pytest.raises(JournalFailed, match="another node writes"):
        old.append([make_entry(4, at=4.5)])
    assert old.lost
    assert not new.lost
    new.append([make_entry(4)])
    assert list(opened(server, venue, "c").entries()) == make_entries(1, 4)
    with pytest.raises(JournalFailed, match="another node writes"):
        old.append([make_entry(4, at=4.5)])


def test_a_follower_catches_up_entry_by_entry(server: NatsServer, venue: str) -> None:
    """Each is given once, in order; asking again gives nothing."""
    writer, follower = opened(server, venue, "a"), opened(server, venue, "b")
    writer.append(make_entries(1, 3))
    assert list(follower.catch_up()) == make_entries(1, 3)
    writer.append([make_entry(4)])
    assert list(follower.catch_up()) == [make_entry(4)]
    assert list(follower.catch_up()) == []
    assert follower.last_seq == 4


def test_a_time_between_two_batches_is_that_of_the_first(server: NatsServer, venue: str) -> None:
    """Also where the batch after it was voided, or is a term."""
    journal = opened(server, venue)
    journal.append([make_entry(1, at=10.0)])
    journal.append([make_entry(2, at=20.0)])
    journal.take_over("t")
    journal.append([make_entry(3, at=30.0)])
    assert [journal.seq_at(at) for at in (9.0, 10.0, 15.0, 20.0, 25.0, 30.0, 99.0)] == [0, 1, 1, 2, 2, 3, 3]


def test_a_batch_above_what_a_message_may_hold_goes_into_the_bucket(server: NatsServer, venue: str) -> None:
    """And comes back whole."""
    noise = "".join(sha256(str(n).encode()).hexdigest() for n in range(40_000))
    entry = Entry(1, 1.0, "service", "service", {"noise": noise}, ())
    journal = opened(server, venue)
    journal.append([entry])
    assert list(opened(server, venue, "b").entries()) == [entry]


def test_a_batch_whose_answer_is_lost_and_that_was_answered_so_counts_never(
    mortal: NatsServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server sleeps, wakes and takes it after all: the next append voids it, for every reader."""
    server = mortal
    journal, follower = opened(server, "hall"), opened(server, "hall", "b")
    journal.append([make_entry(1)])
    monkeypatch.setattr(jetstream, "ANSWER_S", 0.3)
    monkeypatch.setattr(stream_reading, "ANSWER_S", 0.3)
    server.pause()
    with pytest.raises(JournalFailed, match="did not take it"):
        journal.append([make_entry(2, at=2.5)])
    assert not journal.lost
    server.wake()
    monkeypatch.undo()
    journal.append(make_entries(2, 3))
    assert list(journal.entries()) == list(opened(server, "hall", "c").entries()) == make_entries(1, 3)
    assert list(follower.catch_up()) == make_entries(1, 3)
    for one in (journal, follower):
        one.close()


def test_a_follower_that_has_seen_what_was_voided_is_told(mortal: NatsServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """It folds again; reading from the start it never sees those entries."""
    server = mortal
    journal, follower = opened(server, "hall"), opened(server, "hall", "b")
    journal.append([make_entry(1)])
    monkeypatch.setattr(journal, "_landed", lambda _name: False)
    real = journal._publish

    def unanswered(*given: Any, **more: Any) -> int:
        real(*given, **more)
        raise TimeoutError("the answer is lost")

    monkeypatch.setattr(journal, "_publish", unanswered)
    with pytest.raises(JournalFailed, match="did not take it"):
        journal.append([make_entry(2, at=2.5)])
    monkeypatch.undo()
    assert list(follower.catch_up()) == [make_entry(1), make_entry(2, at=2.5)]
    journal.append([make_entry(2)])
    with pytest.raises(Rewound):
        list(follower.catch_up())
    assert list(opened(server, "hall", "b").entries()) == make_entries(1, 2)


def test_a_server_that_is_not_there_is_told_with_its_address(monkeypatch: pytest.MonkeyPatch) -> None:
    """In a sentence that says what to see to."""
    monkeypatch.setattr(natslink, "CONNECT_S", 0.3)
    with pytest.raises(JournalFailed, match=r"no NATS server answers at nats://127\.0\.0\.1:1"):
        JetStreamJournal(Place(("nats://127.0.0.1:1",)), "hall")


def heard_of(follower: JetStreamJournal) -> queue.SimpleQueue[Any]:
    """What a follower hears, to be waited for."""
    heard: queue.SimpleQueue[Any] = queue.SimpleQueue()
    follower.follow(heard.put)
    return heard


def test_a_follower_hears_what_becomes_durable(server: NatsServer, venue: str) -> None:
    """Batch by batch, from where it stands; taking over goes on from there."""
    writer, follower = opened(server, venue, "a"), opened(server, venue, "b")
    writer.append(make_entries(1, 2))
    heard = heard_of(follower)
    assert heard.get(timeout=5) == News(2, make_entries(1, 2), term=False)
    writer.append([make_entry(3)])
    assert heard.get(timeout=5) == News(3, [make_entry(3)], term=False)
    writer.take_over("w")
    assert heard.get(timeout=5) == News(4, [], term=True)
    follower.unfollow()
    writer.append([make_entry(4)])
    assert follower.take_over("t") == [make_entry(4)]
    follower.append([make_entry(5)])
    assert list(follower.entries()) == make_entries(1, 5)
    for one in (writer, follower):
        one.close()


def test_a_follower_goes_on_after_the_server_was_killed(mortal: NatsServer) -> None:
    """It asks anew from where it was: nothing twice, nothing left out."""
    writer, follower = opened(mortal, "hall", "a"), opened(mortal, "hall", "b")
    heard = heard_of(follower)
    writer.append([make_entry(1)])
    assert heard.get(timeout=5).entries == [make_entry(1)]
    mortal.kill()
    mortal.start()
    for _ in range(50):
        with contextlib.suppress(JournalFailed):
            writer.append([make_entry(2)])
            break
    assert heard.get(timeout=10).entries == [make_entry(2)]
    for one in (writer, follower):
        one.close()


def test_who_follows_no_more_hears_nothing_after_it(server: NatsServer, venue: str) -> None:
    """What is being told at that moment is told to its end before: from then on the journal is somebody else's."""
    writer, follower = opened(server, venue, "a"), opened(server, venue, "b")
    began, told = threading.Event(), []

    def heard(news: Any) -> None:
        began.set()
        time.sleep(0.2)
        told.append(news)

    follower.follow(heard)
    writer.append([make_entry(1)])
    assert began.wait(5.0)
    follower.unfollow()
    assert len(told) == 1
    for one in (writer, follower):
        one.close()


def test_what_a_failed_take_over_had_caught_up_with_is_given_by_the_next(
    server: NatsServer, venue: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Or is heard by who follows on: no entry is passed over because the servers did not answer for a moment."""
    writer, other, third = (opened(server, venue, name) for name in "abc")
    writer.append(make_entries(1, 2))

    def unanswered(*_: Any, **__: Any) -> int:
        raise TimeoutError

    with monkeypatch.context() as patched:
        for one in (other, third):
            patched.setattr(one, "_publish", unanswered)
            with pytest.raises(JournalFailed, match="could not be taken over"):
                one.take_over("t")
    writer.append([make_entry(3)])
    assert other.take_over("t") == make_entries(1, 3)
    heard = heard_of(third)
    assert [heard.get(timeout=5).entries for _ in range(2)] == [make_entries(1, 2), [make_entry(3)]]
    for one in (writer, other, third):
        one.close()


def test_what_came_after_the_voided_is_yet_to_be_followed(
    server: NatsServer, venue: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A follower that reads anew stands before it, and hears of it as of everything: an answer may depend on it."""
    journal, follower = opened(server, venue, "a"), opened(server, venue, "b")
    journal.append([make_entry(1)])
    real = journal._publish

    def unanswered(*given: Any, **more: Any) -> int:
        real(*given, **more)
        raise TimeoutError("the answer is lost")

    with monkeypatch.context() as patched:
        patched.setattr(journal, "_landed", lambda _name: False)
        patched.setattr(journal, "_publish", unanswered)
        with pytest.raises(JournalFailed):
            journal.append([make_entry(2, at=2.5)])
    assert len(list(follower.catch_up())) == 2
    journal.append([make_entry(2)])
    journal.save(make_snapshot(2))
    journal.append([make_entry(3)])
    with pytest.raises(Rewound):
        list(follower.catch_up())
    follower.read_anew()
    assert follower.last_seq == 1
    assert list(follower.catch_up()) == make_entries(2, 3)
    for one in (journal, follower):
        one.close()


def test_servers_that_lost_their_newest_begin_again_from_what_they_have(mortal: NatsServer, tmp_path: Path) -> None:
    """As when all lose power at once: who followed folds again, and a snapshot of what is lost never counts."""
    journal = opened(mortal, "hall")
    journal.append(make_entries(1, 5))
    journal.save(make_snapshot(4))
    journal.close()
    mortal.stop()
    stream = next(tmp_path.glob("**/streams/roomlink-hall"))
    shutil.copytree(stream, tmp_path / "kept")
    mortal.start()
    journal = opened(mortal, "hall")
    for seq in range(6, 11):
        journal.append([make_entry(seq)])
    journal.save(make_snapshot(10))
    mortal.stop()
    shutil.rmtree(stream)
    shutil.copytree(tmp_path / "kept", stream)
    mortal.start()
    opens = opened(mortal, "hall", "b")
    assert opens.last_seq == 5
    assert opens.take_over("t") == []
    assert "newer than the stream" in opens.notices[0]
    for seq in range(6, 9):
        opens.append([make_entry(seq, at=100.0 + seq)])
    with pytest.raises(Rewound):
        list(journal.catch_up())
    journal.read_anew()
    assert journal.last_seq == 8
    for seq in range(9, 14):
        opens.append([make_entry(seq, at=100.0 + seq)])
    again = opened(mortal, "hall", "c")
    assert (again.last_seq, len(list(again.entries()))) == (13, 13)
    assert again.snapshot_before() == make_snapshot(4)
    for one in (journal, opens, again):
        one.close()


def test_a_connection_that_breaks_while_the_journal_is_read_leaves_nothing_out(server: NatsServer, venue: str) -> None:
    """What was under way is asked for anew: a state folded with a hole would look like any other."""
    writer = opened(server, venue, "a")
    for seq in range(1, 601):
        writer.append([make_entry(seq)])
    torn = Torn(server.port)
    reader = JetStreamJournal(Place((torn.url,)), venue)
    torn.left = 60_000
    assert [entry.seq for entry in reader.entries()] == list(range(1, 601))
    assert torn.torn
    for one in (reader, writer, torn):
        one.close()


def test_fewer_copies_than_asked_for_are_told(server: NatsServer, venue: str) -> None:
    """A stream that was made before there were several servers stays as it is, and somebody must know."""
    opened(server, venue).close()
    journal = JetStreamJournal(Place((server.url,), replicas=3), venue)
    assert "kept by 1 of the NATS servers" in journal.notices[0]
    journal.close()
