"""A turn that is late escalates: a wall that does not stand as a booking needs it when its guests come is an alarm.

It is raised when the time is up and the move is neither made nor ticked off, and cleared by either, or when nobody
asks for it any more. The crew's list shows it as late, too.
"""

from __future__ import annotations

from dataclasses import replace

from roomlink import limits
from roomlink.core import alarms
from roomlink.core.bookings import MoveTicked, TickDropped, WallRequest, WallRequested, WallRequestEnded, key_of
from roomlink.core.events import WallSet
from roomlink.core.instants import clock
from roomlink.core.state import Draft, State

_ABOUT = (WallSet, MoveTicked, TickDropped, WallRequested, WallRequestEnded)


def alarm_of(partition: str) -> str:
    return f"turn-late/{partition}"


def standing(state: State, partition: str) -> str | None:
    """The alarm of a wall's late turn, while it stands."""
    alarm = state.alarms.get(alarm_of(partition))
    return alarm_of(partition) if alarm is not None and alarm.stands else None


def late_at(state: State, partition: str, booking: str, by: float) -> float:
    """When a wall asked for ``by`` a stamp is late. What was booked too late for it gets the time that a move takes."""
    minutes = state.spec.partitions[partition].move_minutes
    known = state.bookings[booking].created if booking in state.bookings else by
    return max(by, known + 60.0 * (limits.MOVE_MINUTES if minutes is None else minutes))


def follow(draft: Draft) -> None:
    """After any command: the alarms of the walls that it was about are as they should be."""
    for partition in dict.fromkeys(event.partition for event in draft.events if isinstance(event, _ABOUT)):
        _judge(draft, partition)


def due(draft: Draft, partition: str) -> None:
    """A wall that is asked for should stand there by now."""
    request = draft.wall_requests.get(partition)
    if request is not None and request.late is not None and request.late <= draft.now:
        draft.emit(WallRequested(partition, replace(request, late=None)))


def _judge(draft: Draft, partition: str) -> None:
    request = draft.wall_requests.get(partition)
    if request is None or request.late is not None or _made(draft, partition, request):
        alarms.clear_alarm(draft, alarm_of(partition))
        return
    name = draft.spec.partitions[partition].name or partition
    one = draft.occurrences.get((request.booking, request.key))
    whose = "" if one is None else f" for {' + '.join(one.zones)}"
    at = clock(draft.spec.timezone, request.by)
    alarms.raise_alarm(
        draft, alarm_of(partition), f"{name} should be {request.position} since {at}{whose}: nobody has moved it"
    )


def _made(state: State, partition: str, request: WallRequest) -> bool:
    wall, tick = state.walls.get(partition), state.ticks.get((partition, key_of(request.by)))
    return (wall is not None and wall.position == request.position) or (
        tick is not None and tick.to == request.position
    )
