"""How an event changes the state. No policy here: the event says it all, and every event can be applied."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import alarms, diary_apply, divisions, evening_apply, people
from roomlink.core import events as ev
from roomlink.core.lead_records import LeadEnded, LeadSet, PanelSet
from roomlink.core.lock_records import LockEnded, LockSet
from roomlink.core.records import Alarm, Control, Level, Momentary, Motion, StoredScene
from roomlink.core.spec import from_data
from roomlink.core.state import State, Table
from roomlink.core.travel_events import MicrophoneAssigned, OneWayEnded, OneWaySet


def apply(state: State, event: ev.Event) -> None:
    """Fold ``event`` into ``state``."""
    _APPLY[type(event)](state, event)


def _configured(state: State, event: ev.Configured) -> None:
    state.spec = from_data(event.data)
    state.digest = event.digest


def _due(record: Control) -> float | None:
    """When a control's record changes by itself."""
    if type(record) is Level:
        return record.arrival
    if type(record) is Momentary:
        return None
    if type(record) is Motion and record.pending is None:
        return record.until
    return record.due  # type: ignore[union-attr]  # a Choice, a Switch or a Motion that waits


def _control_set(state: State, event: ev.ControlSet) -> None:
    key = (event.zone, event.control)
    state.controls[key] = event.now
    state.deadlines.set(("control", *key), _due(event.now))


def _control_dropped(state: State, event: ev.ControlDropped) -> None:
    key = (event.zone, event.control)
    state.controls.drop(key)
    state.deadlines.set(("control", *key), None)


def _link_set(state: State, event: ev.LinkSet) -> None:
    key = (event.controller, event.zone)
    state.links[key] = event.now
    zones = state.linked.get(event.controller, ())
    if event.zone not in zones:
        state.linked[event.controller] = (*zones, event.zone)
    elif event.last and zones[-1] != event.zone:
        state.linked[event.controller] = (*(z for z in zones if z != event.zone), event.zone)
    controllers = state.linked_by.get(event.zone, ())
    if event.controller not in controllers:
        state.linked_by[event.zone] = (*controllers, event.controller)


def _link_ended(state: State, event: ev.LinkEnded) -> None:
    state.links.drop((event.controller, event.zone))
    _without(state.linked, event.controller, event.zone)
    _without(state.linked_by, event.zone, event.controller)


def _without(table: Table[Any, tuple[str, ...]], key: Any, name: str) -> None:
    """Take ``name`` out of an index; what holds no name is not kept."""
    rest = tuple(n for n in table.get(key, ()) if n != name)
    if rest:
        table[key] = rest
    else:
        table.drop(key)


def _hand_set(state: State, event: ev.HandSet) -> None:
    key = (event.controller, event.control)
    if event.value is None:
        state.hands.drop(key)
    else:
        state.hands[key] = event.value


def _hold_began(state: State, event: ev.HoldBegan) -> None:
    state.holds[event.hold] = event.now
    state.deadlines.set(("hold", event.hold), event.now.until)
    for zone in event.now.zones:
        key = (zone, event.now.control)
        state.held[key] = (*state.held.get(key, ()), event.hold)


def _hold_ended(state: State, event: ev.HoldEnded) -> None:
    hold = state.holds.get(event.hold)
    if hold is None:
        return
    for zone in event.zones:
        _without(state.held, (zone, hold.control), event.hold)
    kept = tuple(zone for zone in hold.zones if zone not in event.zones)
    if kept:
        state.holds[event.hold] = replace(hold, zones=kept)
    else:
        state.holds.drop(event.hold)
        state.deadlines.set(("hold", event.hold), None)


def _wall_set(state: State, event: ev.WallSet) -> None:
    wall = event.now
    state.walls[event.partition] = wall
    state.deadlines.set(("settle", event.partition), wall.due)
    state.deadlines.set(("pin", event.partition), wall.pinned_until)
    state.deadlines.set(("late", event.partition), wall.late)


def _wall_dropped(state: State, event: ev.WallDropped) -> None:
    state.walls.drop(event.partition)
    state.divisions.drop(event.partition)
    for what in ("settle", "pin", "late"):
        state.deadlines.set((what, event.partition), None)


def _regrouped(state: State, event: ev.Regrouped) -> None:
    for group in event.groups:
        for zone in group:
            # Whoever was given the lead of a group has it for as long as the group stays as it is.
            if (old := state.group_of.get(zone)) is not None and old in state.leads:
                state.leads.drop(old)
            state.group_of[zone] = group


def _zone_dropped(state: State, event: ev.ZoneDropped) -> None:
    state.group_of.drop(event.zone)
    state.alone.drop(event.zone)
    state.alone_since.drop(event.zone)
    state.used.drop(event.zone)
    state.linked_by.drop(event.zone)


def _controller_dropped(state: State, event: ev.ControllerDropped) -> None:
    state.roles.drop(event.controller)
    state.linked.drop(event.controller)


def _overflow_set(state: State, event: ev.OverflowSet) -> None:
    if event.zones:
        state.overflows[event.overflow] = event.zones
    else:
        state.overflows.drop(event.overflow)


def _one_way_set(state: State, event: OneWaySet) -> None:
    state.one_ways[event.overflow] = event.now


def _one_way_ended(state: State, event: OneWayEnded) -> None:
    state.one_ways.drop(event.overflow)


def _microphone_assigned(state: State, event: MicrophoneAssigned) -> None:
    if event.zone is None:
        state.microphones.drop(event.microphone)
    else:
        state.microphones[event.microphone] = event.zone


def _scene_saved(state: State, event: ev.SceneSaved) -> None:
    if event.content is None:
        state.scenes.drop(event.scene)
    else:
        state.scenes[event.scene] = StoredScene(dict(event.content), event.etag)


def _answered(state: State, event: ev.Answered) -> None:
    state.answers[event.key] = (event.digest, dict(event.reply))
    if len(state.answers) > limits.IDEMPOTENCY_KEYS_MAX:
        state.answers.drop(next(state.answers.live()))


def _role_set(state: State, event: ev.RoleSet) -> None:
    state.roles[event.controller] = event.now


def _lead_set(state: State, event: LeadSet) -> None:
    state.leads[event.group] = event.now


def _lead_ended(state: State, event: LeadEnded) -> None:
    state.leads.drop(event.group)


def _panel_set(state: State, event: PanelSet) -> None:
    if event.since is None:
        state.absent.drop(event.controller)
    else:
        state.absent[event.controller] = event.since


def _lock_set(state: State, event: LockSet) -> None:
    state.locks[event.lock] = event.now
    state.deadlines.set(("lock", event.lock), event.now.until)


def _lock_ended(state: State, event: LockEnded) -> None:
    state.locks.drop(event.lock)
    state.deadlines.set(("lock", event.lock), None)


def _remembered(state: State, event: ev.Remembered) -> None:
    state.alone[event.zone] = dict(event.values)
    state.alone_since[event.zone] = (event.at, event.booking)


def _division_set(state: State, event: divisions.DivisionSet) -> None:
    state.divisions[event.partition] = event.now


def _division_ended(state: State, event: divisions.DivisionEnded) -> None:
    state.divisions.drop(event.partition)


def _used_by_hand(state: State, event: divisions.UsedByHand) -> None:
    for zone in event.zones:
        # Compacting may put an older word after a newer one about the same zone.
        state.used[zone] = max(event.at, state.used.get(zone, event.at))


def _alarm_raised(state: State, event: ev.AlarmRaised) -> None:
    state.alarms[event.alarm] = Alarm(event.since, event.text)


def _override_set(state: State, event: ev.OverrideSet) -> None:
    state.overrides[event.override] = event.now


def _override_cleared(state: State, event: ev.OverrideCleared) -> None:
    state.overrides.drop(event.override)


def _masked(state: State, event: ev.Masked) -> None:
    state.masks[event.zone, event.control] = event.now


def _unmasked(state: State, event: ev.Unmasked) -> None:
    state.masks.drop((event.zone, event.control))


def _armed(state: State, event: ev.Armed) -> None:
    state.armed[event.binding] = event.now


def _disarmed(state: State, event: ev.Disarmed) -> None:
    state.armed.drop(event.binding)


def _checked(state: State, event: ev.Checked) -> None:
    state.checks[event.item] = event.now


def _told(state: State, event: ev.Told) -> None:
    if event.upto is None:
        state.told.drop(event.webhook)
    else:
        state.told[event.webhook] = (event.upto, event.failed)


def _noticed(state: State, event: ev.Noticed) -> None:
    return


_APPLY: dict[type[Any], Callable[[State, Any], None]] = {
    ev.Configured: _configured,
    ev.ControlSet: _control_set,
    ev.ControlDropped: _control_dropped,
    ev.LinkSet: _link_set,
    ev.LinkEnded: _link_ended,
    ev.HandSet: _hand_set,
    ev.HoldBegan: _hold_began,
    ev.HoldEnded: _hold_ended,
    ev.WallSet: _wall_set,
    ev.WallDropped: _wall_dropped,
    ev.Regrouped: _regrouped,
    ev.ZoneDropped: _zone_dropped,
    ev.RoleSet: _role_set,
    ev.ControllerDropped: _controller_dropped,
    LeadSet: _lead_set,
    LeadEnded: _lead_ended,
    PanelSet: _panel_set,
    LockSet: _lock_set,
    LockEnded: _lock_ended,
    ev.Remembered: _remembered,
    divisions.DivisionSet: _division_set,
    divisions.DivisionEnded: _division_ended,
    divisions.UsedByHand: _used_by_hand,
    ev.OverflowSet: _overflow_set,
    OneWaySet: _one_way_set,
    OneWayEnded: _one_way_ended,
    MicrophoneAssigned: _microphone_assigned,
    ev.SceneSaved: _scene_saved,
    ev.AlarmRaised: _alarm_raised,
    **alarms.APPLY,
    ev.OverrideSet: _override_set,
    ev.OverrideCleared: _override_cleared,
    ev.Masked: _masked,
    ev.Unmasked: _unmasked,
    ev.Armed: _armed,
    ev.Disarmed: _disarmed,
    ev.Checked: _checked,
    **diary_apply.APPLY,
    **people.APPLY,
    **evening_apply.APPLY,
    ev.Told: _told,
    ev.Answered: _answered,
    ev.Noticed: _noticed,
}
