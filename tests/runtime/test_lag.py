"""``runtime.lag``: how late the event loop runs, told and complained about."""

from __future__ import annotations

import asyncio
import time

import pytest

from roomlink import limits
from roomlink.core.alarms import stands
from roomlink.core.commands import SERVICE, Configure
from roomlink.core.state import State
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.lag import ALARM, LoopLag, Slowness
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock, VirtualTimer
from roomlink.venue.load import Loaded
from tests.api.harness import quiet
from tests.runtime.test_metrics import figures

STEP, LATE = limits.LAG_SAMPLE_S, limits.LAG_S_MAX + 0.1


def judged(slowness: Slowness, start: float, lags: list[float]) -> list[bool | None]:
    """What is said of each of these samples, one a step."""
    return [slowness.sample(start + number * STEP, lag) for number, lag in enumerate(lags)]


MANY = int(limits.LAG_FOR_S / STEP)


def test_what_is_late_for_long_is_slow() -> None:
    """Not before, and a single good sample begins the time anew."""
    slowness = Slowness()
    assert judged(slowness, 0.0, [LATE] * (MANY - 1)) == [None] * (MANY - 1)
    assert slowness.sample(100.0, 0.0) is None
    assert judged(slowness, 100.0 + STEP, [LATE] * (MANY - 1)) == [None] * (MANY - 1)
    assert judged(slowness, 100.0 + MANY * STEP, [LATE] * 2)[-1] is True


def test_what_is_in_time_for_long_is_so_again() -> None:
    """A good moment between bad ones clears nothing."""
    slowness = Slowness()
    assert slowness.sample(100.0, limits.LAG_FOR_S + 1.0) is True
    assert judged(slowness, 101.0, [0.0] * MANY) == [None] * MANY
    assert slowness.sample(101.0 + MANY * STEP, 0.0) is False


def test_a_process_that_was_held_up_for_long_is_slow_at_its_first_sample() -> None:
    """Nothing ran, so nothing could be measured: the one late sample stands for it."""
    assert Slowness().sample(1000.0, limits.LAG_FOR_S) is True


class Slow(VirtualClock):
    """A clock of a machine on which everything runs ``late`` seconds after it was due."""

    late = 0.0

    def call_at(self, stamp: float, call: object) -> VirtualTimer:
        return super().call_at(stamp + self.late, call)  # type: ignore[arg-type]  # passed on as it came


@pytest.fixture
def clock() -> Slow:
    return Slow()


async def test_an_alarm_is_raised_and_clears_by_itself(writer: Writer, clock: Slow) -> None:
    """Once, however long it lasts; a short hold-up raises none."""
    lag = LoopLag(writer)
    lag.start()
    clock.late = 1.0
    clock.advance(3.0)
    clock.late = 0.0
    clock.advance(limits.LAG_FOR_S + 3.0)
    await quiet(writer)
    before = writer.engine.seq
    assert not stands(writer.state, ALARM)
    clock.late = 1.0
    clock.advance(3 * limits.LAG_FOR_S)
    await quiet(writer)
    assert "the service is slow" in writer.state.alarms[ALARM].text
    assert writer.engine.seq == before + 1
    clock.late = 0.0
    clock.advance(2 * limits.LAG_FOR_S)
    await quiet(writer)
    assert not stands(writer.state, ALARM)
    lag.stop()
    clock.late = 1.0
    clock.advance(3 * limits.LAG_FOR_S)
    await quiet(writer)
    assert writer.engine.seq == before + 2


async def test_an_alarm_of_before_a_restart_clears(writer: Writer, clock: Slow) -> None:
    """Whoever raised it is gone; the new process looks for itself."""
    clock.late = 1.0
    LoopLag(writer).start()
    clock.advance(2 * limits.LAG_FOR_S)
    await quiet(writer)
    assert stands(writer.state, ALARM)
    clock.late = 0.0
    again = LoopLag(writer)
    again.start()
    clock.advance(2 * limits.LAG_FOR_S)
    await quiet(writer)
    assert not stands(writer.state, ALARM)
    again.stop()


async def test_the_lag_of_a_real_loop_is_measured(harbour: Loaded) -> None:
    """Work that lasts for 100 ms keeps everything else waiting for as long."""
    writer = Writer(State(), 0, MemoryJournal(), SystemClock(), Metrics())
    writer.start()
    await writer.submit(Configure(SERVICE, harbour.data, harbour.digest))
    lag = LoopLag(writer)
    lag.start()
    await asyncio.sleep(limits.LAG_SAMPLE_S - 0.05)
    time.sleep(0.15)  # noqa: ASYNC251 - that is the point
    await asyncio.sleep(0.01)
    lag.stop()
    await writer.stop()
    found = figures(writer.metrics)
    assert found["roomlink_event_loop_lag_seconds_count", ""] >= 1.0
    assert found["roomlink_event_loop_lag_seconds_sum", ""] >= 0.08
