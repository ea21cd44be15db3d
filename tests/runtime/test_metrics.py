"""``runtime.metrics``: figures that a Prometheus can read."""

from __future__ import annotations

import pytest
from prometheus_client.parser import text_string_to_metric_families

from roomlink.core.state import State
from roomlink.errors import JournalFailed
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from roomlink.testing.faults import FaultyJournal
from tests.runtime.conftest import volume


def figures(metrics: Metrics) -> dict[tuple[str, str], float]:
    """Name and the one label's value to the figure."""
    return {
        (sample.name, next(iter(sample.labels.values()), "")): sample.value
        for family in text_string_to_metric_families(metrics.text().decode())
        for sample in family.samples
    }


async def test_entries_are_counted_by_what_asked_for_them(writer: Writer, journal: FaultyJournal) -> None:
    """And the position and the time that commands took are told."""
    await writer.submit(volume(-20.0))
    await writer.submit(volume(-25.0))
    found = figures(writer.metrics)
    assert found["roomlink_entries_total", "panel"] == 2.0
    assert found["roomlink_entries_total", "service"] == 1.0
    assert found["roomlink_journal_seq", ""] == 3.0
    assert found["roomlink_command_seconds_count", ""] == 3.0


async def test_failures_of_the_journal_are_counted(writer: Writer, journal: FaultyJournal) -> None:
    """Once for each time that it did not take what waited."""
    journal.fail(1)
    with pytest.raises(JournalFailed):
        await writer.submit(volume(-20.0))
    assert figures(writer.metrics)["roomlink_journal_failures_total", ""] == 1.0


def test_a_service_that_comes_back_knows_its_position() -> None:
    """Before anything happens."""
    metrics = Metrics()
    Writer(State(), 812, MemoryJournal(), VirtualClock(), metrics)
    assert figures(metrics)["roomlink_journal_seq", ""] == 812.0


def test_problems_are_counted_by_kind() -> None:
    """Each metrics object counts for itself, so that several services can live in one process."""
    one, other = Metrics(), Metrics()
    one.problem("bad-value")
    assert figures(one)["roomlink_problems_total", "bad-value"] == 1.0
    assert ("roomlink_problems_total", "bad-value") not in figures(other)


async def test_whether_commands_are_taken_is_told(writer: Writer, journal: FaultyJournal) -> None:
    """Ready while the journal takes them; not once the service is to stop."""
    assert figures(writer.metrics)["roomlink_ready", ""] == 1.0
    journal.fail(1)
    with pytest.raises(JournalFailed):
        await writer.submit(volume(-20.0))
    assert figures(writer.metrics)["roomlink_ready", ""] == 0.0
    await writer.submit(volume(-20.0))
    assert figures(writer.metrics)["roomlink_ready", ""] == 1.0
    writer.stopping = True
    assert figures(writer.metrics)["roomlink_ready", ""] == 0.0


def test_memory_and_descriptors_of_the_process_are_told() -> None:
    """As they are when asked."""
    found = figures(Metrics())
    assert found["process_resident_memory_bytes", ""] > 1_000_000
    assert found["process_open_fds", ""] >= 3
