"""The service's own troubles, as alarms."""

from __future__ import annotations

import time
from pathlib import Path

import httpx

from roomlink.core.events import Entry, Noticed
from roomlink.journal.sqlite import SqliteJournal
from roomlink.service import clock_words
from tests.api.harness import Served, write_venue


def test_a_clock_that_lies_behind_the_journal_is_an_alarm_until_the_next_start(tmp_path: Path) -> None:
    """Stamps go on from the journal's last one, and somebody is told to set the clock."""
    folder, data = write_venue(tmp_path / "venue"), tmp_path / "data"
    data.mkdir()
    journal = SqliteJournal(data / "journal.db", "harbour")
    journal.append([Entry(1, time.time() + 3600.0, "x", "service", {}, (Noticed("written by a clock ahead"),))])
    journal.close()
    served = Served(folder, data)
    try:
        (alarm,) = httpx.get(f"{served.url}/api/v1/alarms").json()["alarms"]
    finally:
        served.stop()
    assert (alarm["alarm"], alarm["state"], alarm["priority"]) == ("clock", "unacknowledged", "medium")
    assert "set it" in alarm["text"]


def test_a_clock_that_hardly_differs_is_no_trouble() -> None:
    """Clocks are steered by fractions of a second."""
    assert (clock_words(0.9), bool(clock_words(1.1))) == ("", True)
