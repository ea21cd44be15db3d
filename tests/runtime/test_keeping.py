"""``runtime.keeping``: everybody learns that the journal fails, and that it takes entries again."""

from __future__ import annotations

import asyncio
import json

from roomlink.core.events import Entry, encode
from roomlink.errors import JournalFailed
from roomlink.runtime import keeping
from roomlink.runtime.keeping import Keeping
from roomlink.runtime.writer import RETRY_S, Writer
from roomlink.testing.clock import VirtualClock
from roomlink.testing.faults import FaultyJournal
from tests.api.harness import quiet
from tests.runtime.conftest import volume


async def failed(writer: Writer) -> None:
    """An order is lost to the disk, and all that follows from it has happened."""
    answer = await asyncio.gather(writer.submit(volume(-20)), return_exceptions=True)
    assert isinstance(answer[0], JournalFailed)
    await asyncio.sleep(0.01)


def alarms(entries: list[Entry]) -> list[str]:
    """What the entries say of the alarm, as it is written."""
    found = [encode(event) for entry in entries for event in entry.events]
    return [event["type"] for event in found if event.get("alarm") == keeping.FAILING]


async def test_a_failing_journal_is_told_at_once_and_is_on_record_later(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """Nobody need act for it to come right: the alarm itself is what is tried until there is room."""
    Keeping(writer)
    told: list[str] = []
    panel = writer.hub.join("heron-wall", lambda: None)
    journal.fail()
    await failed(writer)
    told.append(json.loads(panel.take() or b"null")["why"])
    assert told == [keeping.WORDS]
    assert json.loads(writer.hub.welcome("plover-wall"))["trouble"] == keeping.WORDS
    seq = writer.engine.seq
    journal.heal()
    clock.advance(RETRY_S)
    await asyncio.sleep(0.01)
    await quiet(writer)
    heard = []
    while (message := panel.take()) is not None:
        heard.append(json.loads(message))
    assert [one["why"] for one in heard if one["type"] == "trouble"] == [""]
    assert "trouble" not in json.loads(writer.hub.welcome("plover-wall"))
    assert writer.failure is None
    assert alarms(list(writer.journal.entries(seq))) != []
    assert len(alarms(list(writer.journal.entries(seq)))) >= 2, "raised, and over"


async def test_one_failure_is_told_once(writer: Writer, journal: FaultyJournal, clock: VirtualClock) -> None:
    """However often it is tried meanwhile."""
    Keeping(writer)
    panel = writer.hub.join("heron-wall", lambda: None)
    journal.fail()
    await failed(writer)
    for _ in range(4):
        clock.advance(RETRY_S)
        await asyncio.sleep(0.005)
    assert panel.waiting == 1


async def test_what_was_found_at_the_start_is_an_alarm(writer: Writer, journal: FaultyJournal) -> None:
    """Until a start that finds nothing."""
    watch = Keeping(writer)
    watch.begin()
    await quiet(writer)
    assert keeping.FOUND not in writer.state.alarms
    journal.notices.append("Entry 7 is damaged.")
    watch.begin()
    await quiet(writer)
    assert writer.state.alarms[keeping.FOUND].text == "Entry 7 is damaged."
    journal.notices.clear()
    seq = writer.engine.seq
    watch.begin()
    await quiet(writer)
    assert writer.engine.seq > seq
