"""``runtime.simulated``: walls that exist on the screen alone, with contacts as a real one has."""

from __future__ import annotations

import pytest

from roomlink.core.commands import ReportWall
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.runtime.engine import Engine
from roomlink.runtime.simulated import RUN_S, SimulatedWalls
from roomlink.testing.clock import VirtualClock

Contacts = tuple[bool | None, bool | None] | None


@pytest.fixture
def reports() -> list[ReportWall]:
    return []


@pytest.fixture
def walls(clock: VirtualClock, reports: list[ReportWall]) -> SimulatedWalls:
    return SimulatedWalls(clock, reports.append)


def move(walls: SimulatedWalls, reports: list[ReportWall], engine: Engine, position: str) -> None:
    """As a caller does: carry out the first report, then let it run."""
    reports.append(walls.leaving(engine.durable.spec, "tern-heron", position))
    walls.run("tern-heron", position)


def contacts(reports: list[ReportWall]) -> list[Contacts]:
    return [report.contacts for report in reports]


def test_a_wall_reports_neither_end_on_the_way_and_then_its_end(
    walls: SimulatedWalls, engine: Engine, clock: VirtualClock, reports: list[ReportWall]
) -> None:
    """As a pair of contacts does."""
    move(walls, reports, engine, "open")
    assert contacts(reports) == [(False, False)]
    clock.advance(RUN_S - 0.01)
    assert len(reports) == 1
    clock.advance(0.01)
    assert contacts(reports) == [(False, False), (False, True)]
    assert {report.partition for report in reports} == {"tern-heron"}


def test_a_wall_that_turns_round_arrives_once(
    walls: SimulatedWalls, engine: Engine, clock: VirtualClock, reports: list[ReportWall]
) -> None:
    """The first run is over when the second begins."""
    move(walls, reports, engine, "open")
    clock.advance(1.0)
    move(walls, reports, engine, "closed")
    clock.advance(60.0)
    assert contacts(reports) == [(False, False), (False, False), (True, False)]


def test_stopping_leaves_nothing_behind(
    walls: SimulatedWalls, engine: Engine, clock: VirtualClock, reports: list[ReportWall]
) -> None:
    """No report comes after the stop."""
    move(walls, reports, engine, "open")
    walls.stop()
    clock.advance(60.0)
    assert len(reports) == 1
    assert clock.waiting == []


def test_a_wall_that_never_reported_says_that_it_is_closed(
    walls: SimulatedWalls, engine: Engine, reports: list[ReportWall]
) -> None:
    """Simulated ones alone: a real wall speaks for itself."""
    walls.begin(engine.durable)
    assert [(report.partition, report.contacts) for report in reports] == [("tern-heron", (True, False))]


def test_what_cannot_be_moved_is_refused(walls: SimulatedWalls, engine: Engine, reports: list[ReportWall]) -> None:
    """A name that does not exist, a real wall, a place that is no end; nothing is reported."""
    spec = engine.durable.spec
    with pytest.raises(UnknownName, match="tern-heron"):
        walls.leaving(spec, "nowhere", "open")
    with pytest.raises(Refused, match="only people and its crew move it"):
        walls.leaving(spec, "heron-plover", "open")
    with pytest.raises(BadValue, match="closed, open"):
        walls.leaving(spec, "tern-heron", "moving")
    assert reports == []
