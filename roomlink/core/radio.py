"""Radio microphones: they go to another zone when somebody says so, and are muted whenever that may surprise.

Muted is: when it is assigned to another zone (in the old one and in the new one), and when its group loses a zone by a
wall, as whoever carries it may be on either side. It stays muted until a person opens it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from roomlink.core import locks, orders
from roomlink.core.checks import require, require_no_override
from roomlink.core.events import ControlSet
from roomlink.core.microphones import zone_of
from roomlink.core.records import Switch
from roomlink.core.state import Draft
from roomlink.core.travel_commands import AssignMicrophone
from roomlink.core.travel_events import MicrophoneAssigned
from roomlink.errors import Refused

Group = tuple[str, ...]


def assign(draft: Draft, command: AssignMicrophone) -> dict[str, Any]:
    """Use a radio microphone in another zone. The reply's ``zones`` are the old one and the new one."""
    require("microphone", command.microphone, draft.spec.travel.microphones)
    require("zone", command.zone, draft.spec.zones)
    spec, old = draft.spec.travel.microphones[command.microphone], zone_of(draft, command.microphone)
    if not spec.radio:
        raise Refused("not-radio", f"{command.microphone} has a cable: it stays in {spec.zone}", allowed=[spec.zone])
    if command.zone not in spec.zones:
        text = f"{command.microphone} may be used in {', '.join(spec.zones)}, not in {command.zone}"
        raise Refused("out-of-reach", text, allowed=list(spec.zones))
    if command.zone == old:
        return {"zones": [old]}
    require_no_override(draft, (old, command.zone))
    if spec.mute is not None:
        locks.require_free(draft, (old, command.zone), spec.mute)
    for control in (spec.level, spec.mute):
        if control is not None:
            orders.end_holds(draft, old, control, f"{command.microphone} goes to {command.zone}")
    _mute(draft, command.microphone, old, command.by.who)
    draft.emit(MicrophoneAssigned(command.microphone, command.zone))
    _mute(draft, command.microphone, command.zone, command.by.who)
    return {"zones": [old, command.zone]}


def mute_parted(draft: Draft, groups: Iterable[Group], old_of: Mapping[str, Group | None]) -> None:
    """Mute the radio microphones whose new group is not all that their old one was."""
    if not draft.spec.travel.radios:
        return
    new_of = {zone: group for group in groups for zone in group}
    for name in draft.spec.travel.radios:
        zone = zone_of(draft, name)
        if zone in new_of and not set(old_of.get(zone) or ()) <= set(new_of[zone]):
            _mute(draft, name, zone, "combining")


def settle(draft: Draft) -> None:
    """After a change of configuration: each radio microphone is in a zone that it may be in, and open in no other."""
    for name in list(draft.microphones.live()):
        spec = draft.spec.travel.microphones.get(name)
        if spec is None or not spec.radio or draft.microphones[name] not in spec.zones:
            draft.emit(MicrophoneAssigned(name, None))
    for name in draft.spec.travel.radios:
        for zone in draft.spec.travel.microphones[name].zones:
            if zone != zone_of(draft, name):
                _mute(draft, name, zone, "configuration")


def _mute(draft: Draft, microphone: str, zone: str, by: str) -> None:
    control = draft.spec.travel.microphones[microphone].mute
    record = draft.controls.get((zone, control)) if control is not None else None
    if control is not None and isinstance(record, Switch) and not (record.value and record.pending is None):
        draft.emit(ControlSet(zone, control, Switch(True, draft.now, by=by)))
