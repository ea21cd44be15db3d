"""``runtime.writer``: durable, then visible; and what becomes of everybody when the disk does not take an entry."""

from __future__ import annotations

import asyncio
import json

import pytest

from roomlink import limits
from roomlink.core.commands import Act, LetGo
from roomlink.core.events import Entry
from roomlink.core.snapshot import same
from roomlink.errors import BadValue, JournalFailed, UnknownName
from roomlink.journal.port import Snapshot
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import RETRY_S, Writer
from roomlink.testing.clock import VirtualClock
from roomlink.testing.faults import FaultyJournal
from tests.api.harness import WITHIN_S, quiet
from tests.runtime.conftest import HERON, link, volume, wall


async def test_nobody_sees_anything_before_the_journal_has_it(writer: Writer, journal: FaultyJournal) -> None:
    """While the disk is slow there is no reply, no message and no state; then there is all of it."""
    heard: list[Entry] = []
    writer.hooks.append(heard.append)
    woken: list[bool] = []
    listener = writer.hub.join("heron-wall", lambda: woken.append(True))
    journal.pause()
    done = writer.put(volume(-20.0))
    await asyncio.sleep(0.02)
    assert not done.done()
    assert (woken, heard, listener.take()) == ([], [], None)
    assert writer.state.controls["heron", "volume"].at(0.0) == -30.0  # type: ignore[union-attr]
    journal.go_on()
    receipt = await asyncio.wait_for(done, WITHIN_S)
    assert receipt.seq == journal.last_seq == 2
    assert woken
    assert [entry.seq for entry in heard] == [2]
    frame = listener.take()
    assert frame is not None
    assert json.loads(frame)["controller"]["controls"]["volume"]["value"] == -20.0


async def test_an_answer_of_nothing_changed_waits_for_what_it_rests_on(writer: Writer, journal: FaultyJournal) -> None:
    """A repeated order is only as durable as the first one."""
    journal.pause()
    first, second = writer.put(volume(-20.0)), writer.put(volume(-20.0))
    await asyncio.sleep(0.01)
    assert not second.done()
    journal.go_on()
    assert (await first).seq == (await second).seq == 2
    assert (await writer.submit(volume(-20.0))).seq == 2
    assert journal.last_seq == 2


async def test_commands_that_wait_share_one_flush(writer: Writer, journal: FaultyJournal) -> None:
    """Fifty commands during one slow append cost one more."""
    journal.pause()
    waiting = [writer.put(volume(-20.0 - i / 10)) for i in range(50)]
    await asyncio.sleep(0.01)
    journal.appends = 0
    journal.go_on()
    await asyncio.gather(*waiting)
    assert journal.last_seq == 51
    assert journal.appends <= 2


async def test_a_failed_append_is_told_to_everybody_who_waits(writer: Writer, journal: FaultyJournal) -> None:
    """All that rests on a lost entry is answered with the failure, and nothing of it is shown or kept."""
    journal.pause()
    journal.fail(1, "no space left")
    lost = [writer.put(volume(-20.0)), writer.put(link("plover")), writer.put(volume(-20.0))]
    woken: list[bool] = []
    writer.hub.join("heron-wall", lambda: woken.append(True))
    journal.go_on()
    answers = await asyncio.gather(*lost, return_exceptions=True)
    assert [type(answer) for answer in answers] == [JournalFailed] * 3
    assert "no space left" in str(answers[0])
    assert same(writer.engine.ahead, writer.engine.durable)
    assert writer.state.linked["heron-wall"] == ("heron",)
    assert woken == []
    assert writer.failure is not None


async def test_after_a_failure_commands_go_on_from_the_last_durable_entry(
    writer: Writer, journal: FaultyJournal
) -> None:
    """The next command takes the position of the lost one, and the service is ready again."""
    journal.fail(1)
    with pytest.raises(JournalFailed):
        await writer.submit(volume(-20.0))
    receipt = await writer.submit(volume(-25.0))
    assert receipt.seq == journal.last_seq == 2
    assert writer.failure is None
    assert [entry.seq for entry in journal.entries()] == [1, 2]


async def test_a_command_given_while_a_failure_is_on_its_way_is_lost_with_it(
    writer: Writer, journal: FaultyJournal
) -> None:
    """It was decided on what never happened; the one after it counts again."""
    journal.pause()
    journal.fail(1)
    first = writer.put(volume(-20.0))
    await asyncio.sleep(0.01)
    second = writer.put(volume(-15.0))
    journal.go_on()
    answers = await asyncio.gather(first, second, return_exceptions=True)
    assert all(isinstance(answer, JournalFailed) for answer in answers)
    assert (await writer.submit(link("tern"))).seq == 2
    assert writer.state.controls["heron", "volume"].at(0.0) == -30.0  # type: ignore[union-attr]


async def test_a_ramp_arrives_at_its_time_by_one_entry(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """Nothing wakes up on the way."""
    await writer.submit(volume(-10.0, over=3.0))
    assert clock.waiting == [clock.stamp() + 3.0]
    for _ in range(29):
        clock.advance(0.1)
    await quiet(writer)
    assert journal.last_seq == 2
    clock.advance(0.11)
    await quiet(writer)
    assert journal.last_seq == 3
    assert clock.waiting == []


async def test_what_was_due_while_the_disk_failed_comes_once_a_second(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """A full disk is tried again, and not in a storm; once it takes entries, what was due happens."""
    await writer.submit(volume(-10.0, over=3.0))
    journal.fail()
    journal.appends = 0
    for _ in range(100):
        clock.advance(0.1)
        await asyncio.sleep(0)
        await quiet(writer)
    assert 5 <= journal.appends <= 9
    journal.heal()
    clock.advance(1.0)
    await quiet(writer)
    assert journal.last_seq == 3
    assert writer.engine.deadline is None


async def test_what_is_due_next_is_not_late_because_a_refused_command_brought_what_was_due(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """The wait after a failure is over with the first entry that is taken, whatever becomes of the command."""
    await writer.submit(volume(-10.0, over=3.0))
    await writer.submit(Act(HERON, "volume", "set", zone="tern", value=-10.0, over=3.6))
    journal.fail(1)
    clock.advance(3.0)
    await quiet(writer)
    clock.advance(0.3)
    with pytest.raises(UnknownName):
        await writer.submit(Act(HERON, "nothing", "set", zone="tern", value=1.0))
    await quiet(writer)
    clock.advance(0.35)
    await quiet(writer)
    assert writer.engine.deadline is None


async def test_a_command_after_the_time_of_a_ramp_finds_it_arrived(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """What was due is decided first, so that nothing due lies before a newer entry."""
    await writer.submit(wall("heron-plover", "open"))
    # The clock jumps, and the command is there before the timer is.
    clock._now += 2.5
    await writer.submit(volume(-20.0))
    kinds = [entry.did["command"] for entry in journal.entries()]
    assert kinds == ["Configure", "ReportWall", "Wake", "Act"]


async def test_a_refusal_is_raised_at_once(writer: Writer, journal: FaultyJournal) -> None:
    """It needs no disk."""
    with pytest.raises(BadValue):
        writer.put(volume(20.0))
    assert journal.last_seq == 1


async def test_a_stopped_writer_has_finished_and_takes_no_more(writer: Writer, journal: FaultyJournal) -> None:
    """What was submitted before is durable and answered."""
    waiting = [writer.put(volume(-20.0 - i)) for i in range(10)]
    await writer.stop()
    assert [one.result().seq for one in waiting] == list(range(2, 12))
    assert writer.stopped
    with pytest.raises(JournalFailed, match="stopping"):
        await writer.submit(volume(-5.0))


async def test_a_caller_who_went_away_harms_nobody(writer: Writer, journal: FaultyJournal) -> None:
    """His command is carried out all the same, and the others are answered."""
    journal.pause()
    gone, stays = writer.put(volume(-20.0)), writer.put(volume(-15.0))
    gone.cancel()
    journal.go_on()
    assert (await stays).seq == 3
    journal.fail(1)
    journal.pause()
    gone, stays = writer.put(volume(-12.0)), writer.put(volume(-11.0))
    gone.cancel()
    journal.go_on()
    with pytest.raises(JournalFailed):
        await stays


async def test_a_snapshot_holds_the_durable_state(writer: Writer, journal: FaultyJournal) -> None:
    """Taken again only when something has happened since."""
    await writer.submit(volume(-20.0))
    writer.save_snapshot()
    writer.save_snapshot()
    await writer.submit(volume(-10.0))
    found = journal.snapshot_before()
    assert found is not None
    assert found.seq == 2
    writer.save_snapshot()
    await writer.stop()
    found = journal.snapshot_before()
    assert found is not None
    assert found.seq == 3


async def test_a_writer_that_took_over_takes_a_snapshot_though_nothing_happened(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """What was replayed is not replayed again: one that is killed again and again starts no slower each time."""
    await writer.submit(volume(-20.0))
    again = Writer(writer.state, 2, journal, clock, Metrics())
    again.start()
    again.save_snapshot()
    await again.stop()
    found = journal.snapshot_before()
    assert found is not None
    assert found.seq == 2


async def test_snapshots_are_taken_as_entries_add_up(
    writer: Writer, journal: FaultyJournal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that a restart has a bounded part to replay."""
    monkeypatch.setattr(limits, "SNAPSHOT_ENTRIES", 10)
    for i in range(25):
        await writer.submit(volume(-20.0 - i))
    await writer.stop()
    found = journal.snapshot_before()
    assert found is not None
    assert found.seq == 20


async def test_a_snapshot_that_fails_is_not_tried_again_at_every_entry(
    writer: Writer, journal: FaultyJournal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each try copies the whole state: the next comes when as many entries have added up again."""
    monkeypatch.setattr(limits, "SNAPSHOT_ENTRIES", 10)
    tried: list[int] = []

    def full(snapshot: Snapshot) -> None:
        tried.append(snapshot.seq)
        raise JournalFailed("the disk is full")

    monkeypatch.setattr(journal, "save", full)
    for i in range(25):
        await writer.submit(volume(-20.0 - i))
    await writer.stop()
    assert tried == [10, 20]


async def test_letting_go_is_tried_until_the_disk_takes_it(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """Towards safe there is no giving up; nobody has to ask again."""
    await writer.submit(Act(HERON, "talkback", "press", "heron-wall"))
    journal.fail(1)
    writer.surely(LetGo(HERON, "socket-heron", writer.clock.stamp(), "no sign of life"))
    async with asyncio.timeout(WITHIN_S):
        while list(writer.state.holds.live()):
            clock.advance(RETRY_S)
            await asyncio.sleep(0.01)
    assert writer.state.controls["heron", "talkback"].value is False  # type: ignore[union-attr]  # a momentary
    assert journal.appends >= 4


async def test_what_goes_towards_safe_does_not_wait_for_the_disk(writer: Writer, journal: FaultyJournal) -> None:
    """Devices hear of a release as soon as it is decided; of what sets something going only once it is durable."""
    early: list[str] = []
    writer.early.append(lambda entry: early.append(entry.did["do"]))
    await writer.submit(Act(HERON, "talkback", "press", "heron-wall"))
    journal.pause()
    done = writer.put(Act(HERON, "talkback", "release", "heron-wall"))
    assert early == ["release"]
    assert not done.done()
    journal.go_on()
    await done


async def test_an_error_in_what_is_shown_keeps_devices_from_nothing(
    writer: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The hooks drive them; panels get a whole new view, or are closed if that fails too."""
    heard: list[Entry] = []
    writer.hooks.append(heard.append)
    listener = writer.hub.join("heron-wall", lambda: None)

    def broken(*given: object) -> None:
        raise KeyError("a bug")

    monkeypatch.setattr("roomlink.runtime.hub.panel_change", broken)
    receipt = await writer.submit(volume(-20.0))
    await quiet(writer)
    assert [entry.seq for entry in heard] == [receipt.seq]
    frame = listener.take()
    assert frame is not None
    assert json.loads(frame)["type"] == "welcome"
