"""What a booking does at its time: scene, links and requests for walls at set-up, their end when the guests go.

Walls are only asked for, never moved, and a wall that is still closed joins nothing: each part of a booking's zones
that is one room now has a lead of its own until the wall opens. What a hand changes after set-up stays
as the hand has it.
"""

from __future__ import annotations

from collections.abc import Iterable

from roomlink import limits
from roomlink.core import clearing, closings, homing, leading, links, locks, overflows, scenes
from roomlink.core.bookings import (
    BEFORE_THE_END,
    Occurrence,
    OccurrenceKey,
    PhaseSet,
    RoutineDeferred,
    WallRequest,
    WallRequested,
    WallRequestEnded,
)
from roomlink.core.checks import require
from roomlink.core.commands import Actor, RecallScene, RunRoutine
from roomlink.core.diary_apply import overlapping
from roomlink.core.events import Noticed, Regrouped
from roomlink.core.groups import has_guests
from roomlink.core.instants import rfc3339
from roomlink.core.late_turns import late_at
from roomlink.core.state import Draft, State
from roomlink.core.turns import wall_asked
from roomlink.errors import Refused


def due(draft: Draft, booking: str, key: str) -> None:
    """An occurrence's next phase is due: it goes to the one that it should be in now, whatever was missed."""
    old = draft.occurrences.get((booking, key))
    if old is None or old.due is None or old.due > draft.now:
        return
    # One that was booked or changed after it should have begun is not late.
    known = draft.bookings[booking].modified if booking in draft.bookings else 0.0
    late = draft.now - max(old.due, known) > limits.DIARY_LATE_S
    phase = old.phase_at(draft.now)
    draft.emit(PhaseSet(booking, key, phase, old.zones))
    overflows.end_with_bookings(draft)
    if late:
        draft.emit(Noticed(_caught_up(booking, old, phase)))
    settle(draft, old.zones)
    if old.phase in BEFORE_THE_END and phase not in BEFORE_THE_END:
        homing.go_home(draft, old.zones)
        clearing.clear_down(draft, (booking, key), old)
    if old.phase == "waiting" and phase in BEFORE_THE_END:
        _give_scene(draft, booking, old)
    if phase == "over":
        freed(draft, old.zones)


def _caught_up(booking: str, old: Occurrence, phase: str) -> str:
    since = rfc3339(old.due or 0.0)
    if old.phase == "waiting" and phase not in BEFORE_THE_END:
        return f"booking {booking} went by without its set-up, which was due at {since}; nothing is done for it now"
    return f"booking {booking} goes from {old.phase} to {phase} late, to what should be now; it was due at {since}"


def _give_scene(draft: Draft, booking: str, occurrence: Occurrence) -> None:
    if occurrence.scene is None:
        return
    by = Actor(f"booking {booking}", "booking")
    _recall(draft, RecallScene(by, occurrence.scene, occurrence.zones), f"booking {booking}")


def _recall(draft: Draft, command: RecallScene, who: str) -> None:
    """Recall a scene that was sound when it was planned; where it is no longer, that is said."""
    if command.scene not in scenes.names(draft):
        draft.emit(Noticed(f"{who} has no scene any more: there is no {command.scene}"))
        return
    try:
        scenes.recall(draft, command)
    except Refused as refused:
        draft.emit(Noticed(f"{who}: {refused.detail}"))


# Links and wall requests: made to fit what is in use, from whatever they were


def settle(draft: Draft, zones: Iterable[str], *, treats: bool = True) -> None:
    """Make links by booking and wall requests fit what is in use now, in ``zones`` and what is booked with them.

    ``treats``: whether new links do to levels what ``on_link`` says.
    """
    around = {zone: None for zone in zones if zone in draft.spec.zones}
    for zone in list(around):
        if (one := _user(draft, zone)) is not None:
            around.update(dict.fromkeys(z for z in one.zones if z in draft.spec.zones))
    _settle_links(draft, list(around), treats)
    combining = draft.spec.combining
    if combining is not None and combining.others == "lock":
        for group in {draft.group_of.get(zone, (zone,)): None for zone in around}:
            leading.settle_locks(draft, combining, group)
    for wall in {wall: None for zone in around for wall in draft.spec.walls_of[zone]}:
        _settle_request(draft, wall)


def follow(draft: Draft) -> None:
    """After any command: where zones were regrouped, the links of the bookings there follow, and idle zones that part
    from one wait for it no longer.
    """
    if next(draft.in_use.live(), None) is None:
        return
    regrouped = {z for event in draft.events if isinstance(event, Regrouped) for group in event.groups for z in group}
    if regrouped and next(draft.deferred.live(), None) is not None:
        freed(draft, [zone for zone in draft.spec.zones if zone in regrouped])
    taken = [zone for zone in draft.spec.zones if zone in regrouped and zone in draft.in_use] if regrouped else []
    if taken:
        settle(draft, taken, treats=draft.spec.combining is None)


def _user(state: State, zone: str) -> Occurrence | None:
    """The occurrence that has a zone and is not at its end yet."""
    key = state.in_use.get(zone)
    one: Occurrence | None = state.occurrences.get(key) if key is not None else None
    return one if one is not None and one.phase in BEFORE_THE_END else None


def _settle_links(draft: Draft, zones: list[str], treats: bool) -> None:
    wanted = {(controller, zone) for zone in zones for controller in _leads(draft, zone)}
    for zone in zones:
        for controller in draft.linked_by.get(zone, ()):
            if (controller, zone) not in wanted:
                links.drop_reason(draft, controller, zone, "booking", "no booking links it any more")
    for zone in zones:
        for controller in _leads(draft, zone):
            if not _booked(draft, controller, zone) and not _undone(draft, controller, zone):
                links.link(draft, controller, zone, "booking", treats=treats)


def _booked(state: State, controller: str, zone: str) -> bool:
    link = state.links.get((controller, zone))
    return link is not None and "booking" in link.reasons


def _undone(draft: Draft, controller: str, zone: str) -> bool:
    """Whether a hand had unlinked before this command what the booking wanted then: it stays as the hand has it."""
    before = draft.beneath
    if _booked(before, controller, zone) or before.in_use.get(zone) != draft.in_use.get(zone):
        return False
    return zone in before.spec.zones and controller in _leads(before, zone)


def _leads(state: State, zone: str) -> list[str]:
    """The controller that a booking links to a zone: the lead of the booking's part that is one room with it now."""
    one = _user(state, zone)
    if one is None:
        return []
    group = state.group_of.get(zone, (zone,))
    part = tuple(z for z in group if z in one.zones)
    lead = leading.lead_of(state, part)
    homed = [controller for z in part for controller in state.spec.homed_at.get(z, ())]
    return [lead] if lead is not None else homed[:1]


def _settle_request(draft: Draft, wall: str) -> None:
    wanted = _wanted(draft, wall)
    old = draft.wall_requests.get(wall)
    if wanted is None:
        if old is not None:
            draft.emit(WallRequestEnded(wall))
        return
    position, key = wanted
    start = draft.occurrences[key].start
    if old is None or (old.position, old.booking, old.key, old.by) != (position, *key, start):
        late: float | None = late_at(draft, wall, key[0], start)
        if late is not None and late <= draft.now:
            late = None  # it is so by now: that is looked at with this entry
        draft.emit(WallRequested(wall, WallRequest(position, *key, since=draft.now, by=start, late=late)))


def _wanted(draft: Draft, wall: str) -> tuple[str, OccurrenceKey] | None:
    """Open inside a booking, closed on its edge; of two bookings on either side the earlier one asks."""
    users = [(one.start, draft.in_use[z]) for z in draft.spec.partitions[wall].between if (one := _user(draft, z))]
    if not users:
        return None
    _, key = min(users)
    asked = wall_asked(draft.spec, wall, draft.occurrences[key].zones)
    return None if asked is None else (asked, key)


def reserved(state: State, controller: str, zone: str) -> str | None:
    """The private booking that keeps a controller from elsewhere out of a zone, if any."""
    one = _user(state, zone)
    if one is None or not one.private or state.spec.controllers[controller].home in one.zones:
        return None
    return state.in_use[zone][0]


def require_not_reserved(state: State, controller: str, zone: str) -> None:
    booking = reserved(state, controller, zone)
    if booking is not None:
        text = f"{zone} is reserved by a private booking: only its own controllers link it by hand"
        raise Refused("reserved", text, zone=zone, booking=booking)


# Routines


def run_routine(draft: Draft, command: RunRoutine) -> dict[str, list[str]]:
    """Recall a routine's scene where nobody has the zones; elsewhere it is left out, or waits, as configured."""
    require("routine", command.routine, draft.spec.routines)
    spec = draft.spec.routines[command.routine]
    if draft.now - command.due > limits.DIARY_LATE_S:
        text = f"routine {command.routine} runs late, to what should be now; it was due at {rfc3339(command.due)}"
        draft.emit(Noticed(text))
    zones = closings.zones_of(draft, command.routine)
    if not zones:
        _recall(draft, RecallScene(command.by, spec.scene, (), over=spec.over), f"routine {command.routine}")
    return {"zones": run_in(draft, command.routine, zones, command.by, command.due)}


def run_in(draft: Draft, routine: str, zones: Iterable[str], by: Actor, due: float) -> list[str]:
    """Run a routine where nobody has the zones; gives those. Where people are though nobody booked, it may wait."""
    spec, who = draft.spec.routines[routine], f"routine {routine}"
    zones = tuple(zones)
    busy = tuple(zone for zone in zones if _held(draft, zone))
    free = closings.put_off(draft, routine, [zone for zone in zones if zone not in busy], due)
    if free:
        _recall(draft, RecallScene(by, spec.scene, free, over=spec.over), who)
    if busy and spec.when_busy == "defer":
        waiting = tuple(dict.fromkeys((*draft.deferred.get(routine, ()), *busy)))
        if waiting != draft.deferred.get(routine, ()):
            draft.emit(RoutineDeferred(routine, waiting))
    elif busy:
        locked = not all(has_guests(draft, zone) for zone in busy)
        draft.emit(Noticed(f"{who} left out {', '.join(busy)}: a booking {'or a lock ' if locked else ''}has it"))
    return list(free)


def freed(draft: Draft, zones: Iterable[str]) -> None:
    """Zones are free: routines that waited for them, or for others of their groups, run there, unless the next booking
    begins at this very moment.
    """
    rooms = dict.fromkeys(z for zone in zones for z in draft.group_of.get(zone, (zone,)))
    free = [z for z in rooms if not _held(draft, z) and not _begins_now(draft, z)]
    for name in list(draft.deferred.live()) if free else ():
        waiting = draft.deferred[name]
        run = tuple(zone for zone in waiting if zone in free and zone in draft.spec.zones)
        if not run:
            continue
        draft.emit(RoutineDeferred(name, tuple(zone for zone in waiting if zone not in run)))
        if name in draft.spec.routines:
            run_in(draft, name, run, Actor(f"routine {name}", "clock"), draft.now)


def _held(state: State, zone: str) -> bool:
    """Whether a booking or a lock by hand holds a zone, so that routines leave it alone."""
    return has_guests(state, zone) or locks.over_zone(state, zone) is not None


def _begins_now(draft: Draft, zone: str) -> bool:
    spans = overlapping(draft.busy.get(zone, ()), draft.now, draft.now + 1.0)
    waiting = (draft.occurrences.get((span.booking, span.key)) for span in spans)
    return any(one is not None and one.acts and one.phase == "waiting" for one in waiting)


def reconfigure(draft: Draft) -> None:
    """After a new configuration: links, requests and routines that nothing stands for any more are gone."""
    zones = [zone for zone in draft.spec.zones if zone in draft.in_use]
    for wall in list(draft.wall_requests.live()):
        if wall not in draft.spec.partitions:
            draft.emit(WallRequestEnded(wall))
        else:
            # It may stand between other zones now, which nobody has.
            zones += draft.spec.partitions[wall].between
    settle(draft, zones)
    for name in list(draft.deferred.live()):
        still = closings.zones_of(draft, name) if name in draft.spec.routines else ()
        kept = tuple(zone for zone in draft.deferred[name] if zone in still)
        if kept != draft.deferred[name]:
            draft.emit(RoutineDeferred(name, kept))
