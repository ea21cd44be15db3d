"""``runtime.clock_watch``: a clock of the machine that is set while the service runs is told."""

from __future__ import annotations

import pytest

from roomlink import limits
from roomlink.core.alarms import stands
from roomlink.core.commands import SERVICE, Configure, ReportTrouble
from roomlink.core.state import State
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.clock_watch import ALARM, ClockWatch, words
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from tests.api.harness import quiet
from tests.core.booked import data


class Wall:
    """What people read: the clock of the machine, as far ahead of stamps as somebody sets it."""

    def __init__(self, clock: VirtualClock) -> None:
        self._clock, self.ahead = clock, 0.0

    def __call__(self) -> float:
        return self._clock.stamp() + self.ahead


async def looked(writer: Writer, clock: VirtualClock) -> str | None:
    """The alarm's text after the next look; None while there is none."""
    clock.advance(limits.CLOCK_LOOK_S)
    await quiet(writer)
    return writer.state.alarms[ALARM].text if stands(writer.state, ALARM) else None


async def test_a_clock_that_is_set_is_an_alarm_until_it_is_right_again() -> None:
    """Which way, how far, and what it costs; what stays as it is is told once."""
    clock = VirtualClock()
    writer = Writer(State(), 0, MemoryJournal(), clock, Metrics())
    writer.start()
    await writer.submit(Configure(SERVICE, data(), "one"))
    wall = Wall(clock)
    watch = ClockWatch(writer, wall)
    watch.start()
    wall.ahead = limits.CLOCK_OFF_S_MAX - 0.1
    assert await looked(writer, clock) is None, "clocks are steered by little"
    wall.ahead = 3600.0
    text = await looked(writer, clock)
    assert text is not None
    assert "3600 s forward" in text
    assert "too late" in text
    seq = writer.engine.seq
    assert await looked(writer, clock) == text
    assert writer.engine.seq == seq
    wall.ahead = -60.0
    assert "60 s back" in (await looked(writer, clock) or "")
    wall.ahead = 0.0
    assert await looked(writer, clock) is None
    watch.stop()
    assert clock.waiting == []
    await writer.stop()


async def test_what_was_told_at_the_start_is_told_until_the_clock_is_set() -> None:
    """A clock that lay behind then lies behind still: that is no news, and no end of the trouble."""
    clock = VirtualClock()
    writer = Writer(State(), 0, MemoryJournal(), clock, Metrics())
    writer.start()
    await writer.submit(Configure(SERVICE, data(), "one"))
    await writer.submit(ReportTrouble(SERVICE, ALARM, "it lay behind at the start"))
    wall = Wall(clock)
    wall.ahead = -3600.0
    watch = ClockWatch(writer, wall)
    watch.start()
    assert await looked(writer, clock) == "it lay behind at the start"
    wall.ahead = 0.0
    assert await looked(writer, clock) is None
    watch.stop()
    await writer.stop()


@pytest.mark.parametrize(("ahead", "says"), [(0.0, ""), (-4.9, ""), (7.0, "late"), (-7.0, "early")])
def test_it_is_said_what_bookings_do_then(ahead: float, says: str) -> None:
    """They go by the time that the service started with."""
    assert says in words(ahead)
    assert bool(words(ahead)) is bool(says)
