"""A state as the events that rebuild it from nothing: one format for journal entries and snapshots."""

from __future__ import annotations

from collections.abc import Iterator

from roomlink.core import access, bookings, divisions, evening_apply, lead_records, lock_records
from roomlink.core import events as ev
from roomlink.core.apply import apply
from roomlink.core.state import State
from roomlink.core.travel_events import MicrophoneAssigned, OneWaySet


def snapshot(state: State) -> Iterator[ev.Event]:
    """Events that, folded in order into an empty state, give a state equal to this one."""
    if state.digest:
        yield ev.Configured(state.spec.data, state.digest)
    yield from (ev.ControlSet(*key, record) for key, record in state.controls.items())
    # Links go by zone's order first, as the two indexes cannot both be rebuilt from one order of events otherwise.
    yield from _links(state)
    yield from (ev.HandSet(*key, value) for key, value in state.hands.items())
    yield from (ev.HoldBegan(name, hold) for name, hold in state.holds.items())
    yield from (ev.WallSet(name, wall) for name, wall in state.walls.items())
    yield ev.Regrouped(tuple(dict.fromkeys(state.group_of.values())))
    yield from (ev.RoleSet(name, role) for name, role in state.roles.items())
    # After the groups: a group that is told anew is led by nobody who was given the lead.
    yield from (lead_records.LeadSet(group, lead) for group, lead in state.leads.items())
    yield from (lead_records.PanelSet(name, since) for name, since in state.absent.items())
    yield from (lock_records.LockSet(name, lock) for name, lock in state.locks.items())
    yield from (ev.Remembered(zone, values, *state.alone_since[zone]) for zone, values in state.alone.items())
    yield from (divisions.DivisionSet(name, division) for name, division in state.divisions.items())
    yield from (divisions.UsedByHand((zone,), at) for zone, at in state.used.items())
    yield from (ev.OverflowSet(name, zones) for name, zones in state.overflows.items())
    yield from (OneWaySet(name, flow) for name, flow in state.one_ways.items())
    yield from (MicrophoneAssigned(name, zone) for name, zone in state.microphones.items())
    yield from (ev.SceneSaved(name, scene.content, scene.etag) for name, scene in state.scenes.items())
    yield from (ev.AlarmSet(name, "kept", alarm) for name, alarm in state.alarms.items())
    yield from (ev.OverrideSet(name, override) for name, override in state.overrides.items())
    yield from (ev.Masked(*key, mask) for key, mask in state.masks.items())
    yield from (ev.Armed(name, arming) for name, arming in state.armed.items())
    yield from (ev.Checked(item, check) for item, check in state.checks.items())
    yield from (bookings.BookingDropped(name, private=True) for name in state.forgotten_private.live())
    yield from (bookings.BookingSet(name, booking) for name, booking in state.bookings.items())
    for name, keys in state.dates.items():
        yield bookings.OccurrencesSet(name, tuple(state.occurrences[name, key] for key in keys))
    yield from (bookings.WallRequested(name, request) for name, request in state.wall_requests.items())
    yield from (bookings.RoutineDeferred(name, zones) for name, zones in state.deferred.items())
    yield from (bookings.MoveTicked(*key, tick) for key, tick in state.ticks.items())
    yield from (access.PersonSet(name, person) for name, person in state.people.items())
    yield from (access.SessionSet(name, session) for name, session in state.sessions.items())
    yield from (access.KeySet(name, key) for name, key in state.keys.items())
    yield from evening_apply.snapshot(state)
    yield from (ev.Told(name, upto, failed) for name, (upto, failed) in state.told.items())
    yield from (ev.Answered(key, digest, reply) for key, (digest, reply) in state.answers.items())


def _links(state: State) -> Iterator[ev.Event]:
    """First in each zone's order, then once more in each controller's, made last one after the other."""
    for zone, controllers in state.linked_by.items():
        for controller in controllers:
            yield ev.LinkSet(controller, zone, state.links[controller, zone], last=False)
    for controller, zones in state.linked.items():
        if len(zones) > 1:
            for zone in zones:
                yield ev.LinkSet(controller, zone, state.links[controller, zone], last=True)


def restored(events: Iterator[ev.Event]) -> State:
    """The state that a snapshot's events give."""
    state = State()
    for event in events:
        apply(state, event)
    return state


def same(a: State, b: State) -> bool:
    """Whether two states hold the same, deadlines and indexes included."""
    names = [n for n in State.__slots__ if n not in ("deadlines", "spec")]
    return (
        all(getattr(a, n) == getattr(b, n) for n in names)
        and a.spec == b.spec
        and a.deadlines.standing() == b.deadlines.standing()
    )
