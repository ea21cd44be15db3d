"""``service`` and the diary: a process that was away while bookings began and ended."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from roomlink.core.bookings import Wish
from roomlink.core.commands import CreateBooking
from roomlink.core.instants import rfc3339
from roomlink.journal.sqlite import SqliteJournal
from roomlink.testing.clock import VirtualClock
from roomlink.testing.driver import PLAIN
from tests.api.harness import Served, running

HOUR_S = 3600.0
Serve = Callable[..., Served]


async def left_alone(folder: Path, data: Path, since: float, *wishes: Wish, until: float) -> None:
    """A journal on the disk of a service that booked at ``since``, ran until ``until``, and was stopped then."""
    clock = VirtualClock(since)
    journal = SqliteJournal(data / "journal.db", "harbour")
    async with running(folder, journal=journal, clock=clock) as service:
        for wish in wishes:
            await service.writer.submit(CreateBooking(PLAIN, wish.uid, wish))
        await service.advance(until - since)
        # A hand that changed the room during the first booking: not what the next one wants.
        await service.http.post("/zones/heron/actions", json={"control": "volume", "do": "set", "value": -12})
        await service.settled()
        service.writer.save_snapshot()
    journal.close()


async def test_a_service_that_was_away_over_two_boundaries_is_at_what_should_be_now(
    serve: Serve, folder: Path, tmp_path: Path
) -> None:
    """One booking ended and the next began meanwhile: scene, links and walls are the next one's, by one entry with an
    account of it; what was missed is not done after the fact."""
    now = float(int(time.time()))
    choir = Wish("choir", "Choir", now - 5 * HOUR_S, now - 3 * HOUR_S, ("heron", "plover"), scene="dinner")
    missed = Wish("missed", "Missed", now - 2.5 * HOUR_S, now - 2 * HOUR_S, ("heron",), scene="dinner")
    gala = Wish("gala", "Gala", now - HOUR_S, now + 2 * HOUR_S, ("heron", "tern"), scene="dinner", set_up=1800.0)
    (tmp_path / "data").mkdir()
    await left_alone(folder, tmp_path / "data", now - 6 * HOUR_S, choir, missed, gala, until=now - 4 * HOUR_S)
    served = serve()
    state = served.get("/state")
    heron = state["zones"]["heron"]
    assert (heron["in_use"]["booking"], heron["in_use"]["phase"]) == ("gala", "running")
    assert (heron["controls"]["volume"]["value"], heron["controls"]["mute"]["value"]) == (-38.0, False)
    assert state["zones"]["tern"]["controls"]["volume"]["value"] == -38.0
    assert state["zones"]["plover"]["in_use"] is None
    asked = {name: wall["requested"] and wall["requested"]["position"] for name, wall in state["partitions"].items()}
    assert asked == {"heron-plover": "closed", "plover-tern": "closed", "tern-heron": "open"}
    entries: list[dict[str, Any]] = served.get("/events?type=phase&limit=1000")["events"]
    (caught_up,) = [entry for entry in entries if entry["at"] >= rfc3339(now)]
    told = [event["booking"] for event in caught_up["events"] if event["type"] == "phase"]
    assert sorted(told) == ["choir", "gala", "missed"]
    words = [event["text"] for event in caught_up["events"] if event["type"] == "noticed"]
    assert any("booking choir goes from running to over late, to what should be now" in word for word in words)
    assert any("booking missed went by without its set-up" in word for word in words)
    assert any("booking gala goes from waiting to running late" in word for word in words)
