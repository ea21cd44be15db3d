"""What the diary needs of the calendar, by APScheduler: routines at their hour, and each day a longer horizon.

Nothing here is a second truth. Bookings wake the core by its own deadlines; routines are made from the configuration
at the start and whenever it changes; how far a recurring booking is expanded is written in the booking.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import structlog
from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.date import DateTrigger

from roomlink import limits
from roomlink.core.bookings import Booking
from roomlink.core.commands import CLOCK, AnnounceRoutine, ExtendBooking, ForgetBookings, RunRoutine
from roomlink.core.events import Configured, Entry
from roomlink.core.spec import Spec
from roomlink.core.state import State
from roomlink.diary import recurrence
from roomlink.errors import RoomlinkError
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

DAILY = {"hour": 4, "minute": 10}
"""When the horizon moves on: an hour at which little happens, and which no change of the clocks skips."""


def trigger(cron: Mapping[str, str], timezone: str) -> Any:
    """The trigger of cron fields in a time zone."""
    return CronTrigger(timezone=timezone, **{"minute": "0", "second": "0", **cron})


def fires(cron: Mapping[str, str], timezone: str, after: float, until: float) -> list[float]:
    """The stamps in ``(after, until]`` at which cron fields fall due."""
    rule = trigger(cron, timezone)
    found: list[float] = []
    previous = datetime.fromtimestamp(after, UTC)
    while True:
        # The trigger's own next after a fire: from that fire, not from the moment after it.
        due = rule.get_next_fire_time(previous if found else None, previous)
        if due is None or due.timestamp() > until:
            return found
        if due.timestamp() > after:
            found.append(due.timestamp())
        previous = due if found else datetime.fromtimestamp(due.timestamp() + 1.0, UTC)


def missed(spec: Spec, after: float, now: float) -> list[RunRoutine]:
    """The routines that fell due in ``(after, now]``, each at its latest time only, in that order."""
    after = max(after, now - limits.ROUTINE_MISSED_S_MAX)
    found = []
    for name, routine in spec.routines.items():
        due = fires(routine.cron, spec.timezone, after, now)
        if due:
            found.append(RunRoutine(CLOCK, name, due[-1]))
    return sorted(found, key=lambda command: command.due)


def announcement(spec: Spec, name: str, now: float) -> AnnounceRoutine | None:
    """The next announcement of a routine, for its first time far enough away; None where it surprises nobody."""
    routine = spec.routines[name]
    if routine.unless_used <= 0.0 or routine.warn <= 0.0:
        return None
    after = datetime.fromtimestamp(now + routine.warn, UTC)
    due = trigger(routine.cron, spec.timezone).get_next_fire_time(None, after)
    return None if due is None else AnnounceRoutine(CLOCK, name, due.timestamp())


def short_of(state: State, now: float) -> list[tuple[str, Booking]]:
    """The recurring bookings that are not expanded far enough any more."""
    enough = now + limits.BOOKING_AHEAD_S - limits.BOOKING_EXTEND_S
    bookings = ((name, state.bookings[name]) for name in state.bookings.live())
    return [
        (name, booking)
        for name, booking in bookings
        if booking.upto is not None and booking.upto < enough and booking.status != "cancelled" and booking.rrule
    ]


def extension(name: str, booking: Booking, timezone: str, now: float) -> ExtendBooking:
    """The dates that a booking has beyond what was expanded. Takes time for odd rules: call it in a thread."""
    assert booking.rrule is not None
    assert booking.upto is not None
    dates = recurrence.expand(
        booking.start,
        timezone,
        recurrence.parse(booking.rrule, timezone),
        booking.rdates,
        booking.exdates,
        upto=now + limits.BOOKING_AHEAD_S,
        after=booking.upto,
    )
    return ExtendBooking(CLOCK, name, dates.starts, dates.upto)


class Schedules:
    """Call ``start`` in a running event loop once the venue is configured; ``stop`` before the writer."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer
        self._scheduler = AsyncIOScheduler(timezone="UTC")
        self._seen: dict[str, float] = {}
        """Routine to the stamp up to which its times have been looked at."""
        self._chores: set[asyncio.Task[None]] = set()

    def start(self, last: float) -> None:
        """``last`` is the last stamp before the service started (0: it never ran).

        What fell due since is made up for: each routine once, as it would stand now.
        """
        writer, now = self._writer, self._writer.clock.stamp()
        if last > 0.0:
            for command in missed(writer.state.spec, last, now):
                writer.surely(command)
        self._plan()
        writer.hooks.append(self._heard)
        self._scheduler.start()
        self._chore()

    def stop(self) -> None:
        if self._heard in self._writer.hooks:
            self._writer.hooks.remove(self._heard)
        for chore in self._chores:
            chore.cancel()
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)

    def jobs(self, routine: str | None = None) -> list[Any]:
        """The jobs that are planned: those of a routine, or all."""
        found: list[Any] = self._scheduler.get_jobs()
        return found if routine is None else [job for job in found if list(job.args) == [routine]]

    def _heard(self, entry: Entry) -> None:
        if any(isinstance(event, Configured) for event in entry.events):
            self._plan()

    def _plan(self) -> None:
        """Make the jobs anew: one for each routine, and the daily one."""
        spec, now = self._writer.state.spec, self._writer.clock.stamp()
        self._scheduler.remove_all_jobs()
        # Late is better than never, and several missed runs are one.
        usual: dict[str, Any] = {"coalesce": True, "misfire_grace_time": None}
        for name, routine in spec.routines.items():
            self._seen[name] = now
            self._scheduler.add_job(self._run, trigger(routine.cron, spec.timezone), args=[name], **usual)
            self._plan_announcement(name, now)
        self._scheduler.add_job(self.keep, CronTrigger(timezone=spec.timezone, **DAILY), **usual)

    def _plan_announcement(self, name: str, now: float) -> None:
        """A routine that would surprise people is announced before it comes; the next one that can still be."""
        spec = self._writer.state.spec
        found = announcement(spec, name, now)
        if found is not None:
            at = datetime.fromtimestamp(found.due - spec.routines[name].warn, UTC)
            usual: dict[str, Any] = {"misfire_grace_time": None}
            self._scheduler.add_job(self._announce, DateTrigger(at), args=[found], **usual)

    # Jobs are coroutines: what is not, APScheduler runs in a thread, where the writer must not be touched.

    async def _announce(self, command: AnnounceRoutine) -> None:
        """Some time before a routine's own: people whom it would surprise are told."""
        if command.routine in self._writer.state.spec.routines:
            self._writer.surely(command)
            self._plan_announcement(command.routine, max(self._writer.clock.stamp(), command.due))

    async def _run(self, name: str) -> None:
        """A routine's time has come."""
        spec, now = self._writer.state.spec, self._writer.clock.stamp()
        routine = spec.routines.get(name)
        if routine is None:
            return
        due = fires(routine.cron, spec.timezone, self._seen[name], now)
        self._seen[name] = now
        self._writer.surely(RunRoutine(CLOCK, name, due[-1] if due else now))

    def _chore(self) -> None:
        task = asyncio.get_running_loop().create_task(self.keep())
        self._chores.add(task)
        task.add_done_callback(self._chores.discard)

    async def keep(self) -> None:
        """Expand what recurs further, and forget what has long been over."""
        writer, now = self._writer, self._writer.clock.stamp()
        timezone = writer.state.spec.timezone
        for name, booking in short_of(writer.state, now):
            try:
                await writer.submit(await asyncio.to_thread(extension, name, booking, timezone, now))
            except RoomlinkError as error:
                log.error("booking not extended", booking=name, error=str(error))
        try:
            await writer.submit(ForgetBookings(CLOCK, now - limits.BOOKING_KEPT_S))
        except RoomlinkError as error:
            log.error("old bookings not forgotten", error=str(error))
