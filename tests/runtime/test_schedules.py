"""Routines at their hour in the venue's time zone, and a horizon that moves on."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from typing import Any

import pytest

from roomlink import limits
from roomlink.core.bookings import Wish, key_of
from roomlink.core.commands import SERVICE, Configure, CreateBooking, RunRoutine
from roomlink.core.events import Entry, Noticed
from roomlink.core.spec import from_data
from roomlink.core.state import State
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.schedules import Schedules, announcement, extension, fires, missed, short_of
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from roomlink.testing.driver import PLAIN
from tests.api.harness import WITHIN_S, quiet
from tests.core.booked import data

HALIFAX = "America/Halifax"
DAY = 86400.0
NOON = datetime(2026, 3, 6, 16, 0, tzinfo=UTC).timestamp()
"""A Friday noon in Halifax; the clocks go forward on Sunday."""
OFF = {"scene": "dark", "cron": {"hour": "23", "minute": "30"}}


def keys(stamps: list[float]) -> list[str]:
    return [key_of(stamp) for stamp in stamps]


def test_cron_fields_are_in_the_venues_time_zone() -> None:
    """23:30 stays 23:30 when the clocks change."""
    found = fires({"hour": "23", "minute": "30"}, HALIFAX, NOON, NOON + 3 * DAY)
    assert keys(found) == ["20260307T033000Z", "20260308T033000Z", "20260309T023000Z"]


def test_days_of_the_week_are_named() -> None:
    """mon-fri leaves out the weekend."""
    found = fires({"hour": "23", "minute": "30", "day_of_week": "mon-fri"}, HALIFAX, NOON, NOON + 3.5 * DAY)
    assert keys(found) == ["20260307T033000Z", "20260310T023000Z"]


def test_a_fire_is_after_the_first_and_up_to_the_second_time() -> None:
    """So that nothing is done twice where one look ends and the next begins."""
    cron = {"minute": "*/30"}
    assert fires(cron, "UTC", NOON, NOON + 1800.0) == [NOON + 1800.0]
    assert fires(cron, "UTC", NOON - 1.0, NOON) == [NOON]
    assert fires(cron, "UTC", NOON - 0.5, NOON + 10.0) == [NOON]


def test_of_what_was_missed_each_routine_runs_once() -> None:
    """At its latest time, in the order of those: what is then so is what would be so."""
    routines = {"off": OFF, "open": {"scene": "dark", "cron": {"hour": "6"}}, "rare": {**OFF, "cron": {"month": "12"}}}
    spec = from_data(data(routines=routines))
    found = missed(spec, NOON, NOON + 2 * DAY)
    assert [(command.routine, key_of(command.due)) for command in found] == [
        ("off", "20260307T233000Z"),
        ("open", "20260308T060000Z"),
    ]


def test_what_was_missed_long_ago_is_left_alone() -> None:
    """A venue that was shut for a year is not shut down once more."""
    spec = from_data(data(routines={"off": {**OFF, "cron": {"month": "2", "day": "1", "hour": "3", "minute": "0"}}}))
    assert missed(spec, NOON - 300 * DAY, NOON) == []


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock(NOON)


@pytest.fixture
async def writer(clock: VirtualClock) -> AsyncIterator[Writer]:
    writer = Writer(State(), 0, MemoryJournal(), clock, Metrics())
    writer.start()
    await configure(writer)
    yield writer
    await writer.stop()


async def configure(writer: Writer, digest: str = "one", **more: Any) -> None:
    venue = data(routines={"off": OFF}, **more)
    venue["venue"] = {**venue["venue"], "timezone": HALIFAX}
    await writer.submit(Configure(SERVICE, venue, digest))


async def book(writer: Writer, rule: str, upto: float | None, *, zones: str = "a") -> None:
    wish = Wish("u", "Gala", NOON + DAY, NOON + DAY + 3600.0, tuple(zones), rrule=rule, starts=(NOON + DAY,), upto=upto)
    await writer.submit(CreateBooking(PLAIN, "gala", wish))


async def settle(writer: Writer) -> None:
    """Let what was begun in the background come to its end."""
    for _ in range(5):
        await asyncio.sleep(0)
    await quiet(writer)


def runs(entries: list[Entry]) -> list[dict[str, Any]]:
    return [dict(entry.did) for entry in entries if entry.did["command"] == "RunRoutine"]


async def test_at_the_start_missed_routines_run_and_say_so(writer: Writer) -> None:
    """One that fell due while the service was away."""
    entries: list[Entry] = []
    writer.hooks.append(entries.append)
    schedules = Schedules(writer)
    schedules.start(NOON - DAY)
    await settle(writer)
    schedules.stop()
    assert [key_of(run["due"]) for run in runs(entries)] == ["20260306T033000Z"]
    assert writer.state.controls["a", "mute"].value is True  # type: ignore[union-attr]
    assert any(isinstance(event, Noticed) and "runs late" in event.text for event in entries[0].events)


async def test_a_service_that_never_ran_has_missed_nothing(writer: Writer) -> None:
    """There is no last stamp then."""
    schedules = Schedules(writer)
    schedules.start(0.0)
    await settle(writer)
    schedules.stop()
    assert writer.state.controls["a", "mute"].value is False  # type: ignore[union-attr]


async def test_a_routine_runs_when_its_job_does(writer: Writer, clock: VirtualClock) -> None:
    """By the scheduler itself, in the loop's own thread, with the time at which it was due."""
    ran: asyncio.Future[tuple[Entry, int]] = asyncio.get_running_loop().create_future()
    writer.hooks.append(lambda entry: ran.set_result((entry, threading.get_ident())))
    schedules = Schedules(writer)
    schedules.start(NOON)
    clock.advance(11.5 * 3600.0 + 0.2)
    (job,) = schedules.jobs("off")
    job.modify(next_run_time=datetime.now(UTC))
    entry, thread = await asyncio.wait_for(ran, WITHIN_S)
    schedules.stop()
    assert thread == threading.get_ident()
    assert [key_of(run["due"]) for run in runs([entry])] == ["20260307T033000Z"]


@pytest.mark.parametrize(("ahead", "due"), [(-3600.0, "20260307T023000Z"), (3600.0, "20260307T033000Z")])
async def test_a_routine_comes_once_by_the_clock_on_the_wall_when_that_was_set(
    writer: Writer, clock: VirtualClock, ahead: float, due: str
) -> None:
    """Stamps lie an hour behind it, or ahead: at the wall's 23:30 it runs, as of when stamps have it due, or of now."""
    entries: list[Entry] = []
    writer.hooks.append(entries.append)
    schedules = Schedules(writer)
    schedules.start(NOON)
    (job,) = schedules.jobs("off")
    clock.advance(11.5 * 3600.0 + ahead)
    await job.func(*job.args)
    await settle(writer)
    schedules.stop()
    assert [key_of(run["due"]) for run in runs(entries)] == [due]
    assert writer.state.controls["a", "mute"].value is True  # type: ignore[union-attr]
    late = [event for entry in entries for event in entry.events if isinstance(event, Noticed)]
    assert bool(late) is (ahead > 0.0), "who reads the journal sees it"


async def test_the_daily_chore_is_done_at_the_start_and_is_a_job_of_the_loop(writer: Writer) -> None:
    """Not of a thread, where the state may change under it."""
    await book(writer, "FREQ=WEEKLY", NOON + 10 * DAY)
    extended: asyncio.Future[Entry] = asyncio.get_running_loop().create_future()
    writer.hooks.append(extended.set_result)
    schedules = Schedules(writer)
    schedules.start(NOON)
    assert (await asyncio.wait_for(extended, WITHIN_S)).did["command"] == "ExtendBooking"
    assert writer.state.bookings["gala"].upto == NOON + limits.BOOKING_AHEAD_S
    (daily,) = [job for job in schedules.jobs() if not job.args]
    assert asyncio.iscoroutinefunction(daily.func)
    schedules.stop()


async def test_a_new_configuration_plans_anew(writer: Writer) -> None:
    """Routines that are gone have no job; that of the diary itself stays."""
    schedules = Schedules(writer)
    schedules.start(NOON)
    assert len(schedules.jobs("off")) == 1
    venue = data()
    await writer.submit(Configure(SERVICE, venue, "two"))
    assert schedules.jobs("off") == []
    assert len(schedules.jobs()) == 1
    schedules.stop()


async def test_the_horizon_moves_on_by_a_journalled_command(writer: Writer, clock: VirtualClock) -> None:
    """Once a good part of it has passed, and not again at once."""
    await book(writer, "FREQ=WEEKLY", NOON + 10 * DAY)
    schedules = Schedules(writer)
    await schedules.keep()
    booking = writer.state.bookings["gala"]
    assert booking.upto == NOON + limits.BOOKING_AHEAD_S
    dates = writer.state.dates["gala"]
    assert dates[:2] == ("20260307T160000Z", "20260321T150000Z")
    assert len(dates) == 57
    seq = writer.engine.seq
    await schedules.keep()
    assert writer.engine.seq == seq
    assert short_of(writer.state, NOON + 31 * DAY) == [("gala", booking)]


async def test_a_rule_that_ends_within_the_horizon_is_done(writer: Writer) -> None:
    """It is never looked at again."""
    await book(writer, "FREQ=WEEKLY;COUNT=4", NOON + 10 * DAY)
    command = extension("gala", writer.state.bookings["gala"], HALIFAX, NOON)
    assert ([key_of(start)[:8] for start in command.starts], command.upto) == (["20260321", "20260328"], None)
    await Schedules(writer).keep()
    assert short_of(writer.state, NOON + 1000 * DAY) == []


async def test_what_was_over_long_ago_is_forgotten(writer: Writer, clock: VirtualClock) -> None:
    """The journal still has it."""
    await book(writer, "FREQ=DAILY;COUNT=1", None)
    clock.advance(limits.BOOKING_KEPT_S + 3 * DAY)
    await Schedules(writer).keep()
    assert not list(writer.state.bookings.live())


async def test_a_rule_that_cannot_be_expanded_leaves_the_others_alone(writer: Writer) -> None:
    """It is logged; the next day it is tried again."""
    await book(writer, "FREQ=NEVER", NOON + DAY)
    await Schedules(writer).keep()
    assert writer.state.bookings["gala"].upto == NOON + DAY


def test_a_routine_is_a_command_of_the_clock() -> None:
    """The journal tells who it was."""
    (command,) = missed(from_data(data(routines={"off": OFF})), NOON - DAY, NOON)
    assert isinstance(command, RunRoutine)
    assert command.by.via == "clock"


def test_a_routine_that_cares_is_announced_before_its_first_time_that_is_far_enough_away() -> None:
    """One that surprises nobody is not announced at all."""
    cron = {"hour": "17", "minute": "0"}
    caring = {"scene": "dark", "cron": cron, "unless_used": 1200.0, "warn": 300.0}
    plain = {"scene": "dark", "cron": cron}
    spec = from_data(data(routines={"caring": caring, "plain": plain}))
    found = announcement(spec, "caring", NOON)
    assert found is not None
    assert found.due == NOON + 3600.0
    later = announcement(spec, "caring", NOON + 3400.0)
    assert later is not None
    assert later.due == NOON + 3600.0 + 86400.0, "what comes too soon is not announced any more"
    assert announcement(spec, "plain", NOON) is None
