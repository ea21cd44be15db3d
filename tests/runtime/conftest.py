"""Harbour Hall in memory: an engine or a writer that has taken its configuration, on a clock that stands still."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from roomlink.core.commands import SERVICE, Act, Actor, Configure, LinkZone, ReportWall
from roomlink.core.state import State
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.engine import Engine, Taken
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from roomlink.testing.faults import FaultyJournal
from roomlink.venue.load import Loaded, load
from tests.api.harness import write_venue

HERON = Actor("heron-wall", "panel", "socket-heron")
PLOVER = Actor("plover-wall", "panel", "socket-plover")
START = 1_000_000.0


def volume(value: float, over: float = 0.0, controller: str = "heron-wall") -> Act:
    return Act(Actor(controller, "panel", f"socket-{controller}"), "volume", "set", controller, value=value, over=over)


def wall(partition: str, position: str, pin: float | None = None) -> ReportWall:
    return ReportWall(Actor("crew"), partition, position, pin=pin)


def link(zone: str, controller: str = "heron-wall") -> LinkZone:
    return LinkZone(Actor(controller, "panel"), controller, zone)


def done(engine: Engine, taken: Taken) -> Taken:
    """Make what was taken durable at once."""
    if taken.entry is not None:
        engine.committed(taken.entry)
    return taken


@pytest.fixture(scope="session")
def harbour(tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    return load(write_venue(tmp_path_factory.mktemp("harbour")))


@pytest.fixture
def engine(harbour: Loaded) -> Engine:
    """Configured at ``START``; that is entry 1."""
    engine = Engine(State(), 0)
    done(engine, engine.take(Configure(SERVICE, harbour.data, harbour.digest), START))
    return engine


@pytest.fixture
def journal() -> FaultyJournal:
    return FaultyJournal(MemoryJournal())


@pytest.fixture
async def writer(harbour: Loaded, clock: VirtualClock, journal: FaultyJournal) -> AsyncIterator[Writer]:
    """A running writer; its configuration is entry 1."""
    writer = Writer(State(), 0, journal, clock, Metrics())
    writer.start()
    await writer.submit(Configure(SERVICE, harbour.data, harbour.digest))
    yield writer
    journal.go_on()
    await writer.stop()
