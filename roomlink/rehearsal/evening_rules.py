"""What must be so of the evening after every entry: ends that are told, paging that ends, walls that are late.

Worked out from the tables alone, not from the engine's code.
"""

from __future__ import annotations

from roomlink.core.bookings import key_of
from roomlink.core.state import State
from roomlink.rehearsal.rules import NEAR, hold_to


def check(state: State, now: float) -> None:
    """Hold a state, just after an entry, to the rules ``ending``, ``closing``, ``paging`` and ``late``."""
    _endings(state, now)
    for (routine, zone), closing in state.closings.items():
        known = routine in state.spec.routines and zone in state.spec.zones
        hold_to("closing", known, f"{routine} waits in {zone}, which is not configured")
        told = closing.warn is None or closing.warn < closing.at
        hold_to("closing", told, f"{routine} in {zone} comes before people are told")
    for name, paging in state.pagings.items():
        spec = state.spec.paging.get(name)
        bounded = spec is not None and paging.until <= paging.since + spec.most + NEAR
        hold_to("paging", bounded, f"{name} has no end")
    _late(state)


def _endings(state: State, now: float) -> None:
    before = state.spec.bookings.warn
    for key, one in state.occurrences.items():
        on = before > 0.0 and one.acts and one.phase == "running"
        ending = state.endings.get(key)
        hold_to("ending", (ending is not None) == on, f"{key} is {one.phase}, and its end is {ending}")
        if ending is not None:
            hold_to("ending", (ending.end, ending.zones) == (one.end, one.zones), f"{key} ends otherwise than told")
            late = ending.warn is not None and ending.warn > one.end - before + NEAR
            hold_to("ending", not late, f"the guests of {key} are told too late")
    for key in state.endings:
        hold_to("ending", key in state.occurrences, f"{key} is no more, and has an end")


def _late(state: State) -> None:
    for wall in state.spec.partitions:
        request, alarm = state.wall_requests.get(wall), state.alarms.get(f"turn-late/{wall}")
        stands = alarm is not None and alarm.real
        tick = None if request is None else state.ticks.get((wall, key_of(request.by)))
        made = request is not None and (
            state.walls[wall].position == request.position or (tick is not None and tick.to == request.position)
        )
        late = request is not None and request.late is None and not made
        text = f"{wall} is {'' if late else 'not '}late, and its alarm {'stands' if stands else 'does not'}"
        hold_to("late", stands == late, text)
