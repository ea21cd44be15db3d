"""``runtime.clock`` and its double, ``testing.clock``."""

from __future__ import annotations

import asyncio
import time

import pytest

from roomlink.runtime import clock as clock_module
from roomlink.runtime.clock import Clock, SystemClock
from roomlink.testing.clock import VirtualClock


def test_a_stamp_is_the_wall_time_when_nothing_lies_ahead() -> None:
    """Anchoring at a stamp of the past changes nothing, and says that nothing is behind."""
    clock = SystemClock()
    assert clock.anchor(0.0) == 0.0
    assert clock.stamp() == pytest.approx(time.time(), abs=1.0)


def test_a_wall_clock_set_back_does_not_take_stamps_back() -> None:
    """After a last stamp an hour ahead, stamps go on from there, and the difference is told."""
    clock = SystemClock()
    last = time.time() + 3600.0
    assert clock.anchor(last) == pytest.approx(3600.0, abs=1.0)
    assert last <= clock.stamp() < last + 1.0


def test_who_begins_to_write_takes_its_own_clock_where_that_is_not_behind() -> None:
    """Having shown another machine's time it goes on by its own; where that lies behind, by the other's."""
    clock = SystemClock()
    clock.follow(time.time() - 60.0)
    assert clock.restart() == 0.0
    assert clock.stamp() == pytest.approx(time.time(), abs=1.0)
    clock.follow(time.time() + 60.0)
    assert clock.restart() == pytest.approx(60.0, abs=1.0)
    assert clock.stamp() == pytest.approx(time.time() + 60.0, abs=1.0)


def test_stamps_never_go_back() -> None:
    """Many stamps in a row are in order."""
    clock = SystemClock()
    stamps = [clock.stamp() for _ in range(1000)]
    assert stamps == sorted(stamps)


async def test_a_timer_of_the_past_is_called_soon_but_not_at_once() -> None:
    """It waits until the caller has returned to the event loop."""
    clock = SystemClock()
    called = asyncio.Event()
    clock.call_at(clock.stamp() - 5.0, called.set)
    assert not called.is_set()
    await asyncio.wait_for(called.wait(), 1.0)


async def test_a_cancelled_timer_is_never_called() -> None:
    """Neither when its time comes nor later."""
    clock = SystemClock()
    called: list[str] = []
    clock.call_at(clock.stamp(), lambda: called.append("cancelled")).cancel()
    last = asyncio.Event()
    clock.call_at(clock.stamp() + 0.001, last.set)
    await asyncio.wait_for(last.wait(), 1.0)
    assert called == []


def test_a_machine_that_slept_is_where_the_wall_clock_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stamps count the time of sleep; the monotonic clock would not."""
    clock = SystemClock()
    before = clock.stamp()
    running = time.clock_gettime
    monkeypatch.setattr(time, "clock_gettime", lambda which: running(which) + 3600.0 * (which == time.CLOCK_BOOTTIME))
    assert before + 3600.0 <= clock.stamp() < before + 3601.0


async def test_a_wall_clock_that_jumps_while_running_moves_neither_stamps_nor_timers(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Set back by an hour, or forward: stamps go on evenly from the anchor, and what is due is due."""
    clock = SystemClock()
    wall = time.time
    for jump in (-3600.0, 3600.0):
        before = clock.stamp()
        called = asyncio.Event()
        clock.call_at(before + 0.01, called.set)
        monkeypatch.setattr(time, "time", lambda jump=jump: wall() + jump)
        assert before <= clock.stamp() < before + 1.0
        await asyncio.wait_for(called.wait(), 1.0)
        assert before + 0.01 <= clock.stamp() < before + 2.0


async def test_a_timer_is_not_late_by_the_time_of_sleep(monkeypatch: pytest.MonkeyPatch) -> None:
    """The event loop's own timers stand still meanwhile: so the clock is looked at on the way."""
    monkeypatch.setattr(clock_module, "LOOK_AGAIN_S", 0.01)
    clock = SystemClock()
    called = asyncio.Event()
    clock.call_at(clock.stamp() + 1800.0, called.set)
    gone = clock.call_at(clock.stamp() + 1800.0, lambda: pytest.fail("it was cancelled"))
    await asyncio.sleep(0.03)
    assert not called.is_set()
    gone.cancel()
    running = time.clock_gettime
    monkeypatch.setattr(time, "clock_gettime", lambda which: running(which) + 3600.0 * (which == time.CLOCK_BOOTTIME))
    await asyncio.wait_for(called.wait(), 1.0)


def test_virtual_time_stands_still_until_told() -> None:
    """The double is a clock as the runtime asks for, and does not tick."""
    clock: Clock = VirtualClock(50.0)
    assert clock.stamp() == clock.stamp() == 50.0


def test_virtual_timers_are_called_in_order_each_at_its_time() -> None:
    """Also those of one instant (in the order of setting) and those set on the way."""
    clock = VirtualClock(0.0)
    seen: list[tuple[str, float]] = []

    def note(name: str) -> None:
        seen.append((name, clock.stamp()))

    def first() -> None:
        note("first")
        clock.call_at(1.5, lambda: note("set on the way"))

    clock.call_at(2.0, lambda: note("later"))
    clock.call_at(1.0, first)
    clock.call_at(1.0, lambda: note("of the same instant"))
    clock.call_at(9.0, lambda: note("too late"))
    clock.advance(2.0)
    assert seen == [("first", 1.0), ("of the same instant", 1.0), ("set on the way", 1.5), ("later", 2.0)]
    assert clock.stamp() == 2.0
    assert clock.waiting == [9.0]


def test_virtual_timers_of_the_past_wait_for_the_next_advance() -> None:
    """They are called at the time that it is, not at one that has gone."""
    clock = VirtualClock(10.0)
    seen: list[float] = []
    clock.call_at(3.0, lambda: seen.append(clock.stamp()))
    assert seen == []
    clock.advance(0.0)
    assert seen == [10.0]


@pytest.mark.parametrize("seconds", [-0.001, float("nan")])
def test_virtual_time_refuses_to_go_back(seconds: float) -> None:
    """A time that is not forward is an error in the test that asks for it."""
    clock = VirtualClock(10.0)
    with pytest.raises(ValueError, match="only goes forward"):
        clock.advance(seconds)
    assert clock.stamp() == 10.0


def test_virtual_timers_that_set_one_another_for_ever_are_found_out() -> None:
    """A storm of timers at one instant is an error, no hang."""
    clock = VirtualClock()

    def again() -> None:
        clock.call_at(clock.stamp(), again)

    again()
    with pytest.raises(RuntimeError, match="set one another"):
        clock.advance(1.0)
