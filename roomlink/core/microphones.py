"""Where microphones are, and where they are heard: look-ups over a state. What changes them is in ``radio``.

A microphone is heard in every zone of its group, and where a one-way overflow carries sound from there. The controls of
a radio microphone exist in each zone that it may be used in and count in the one where it is: elsewhere they are muted.
"""

from __future__ import annotations

from roomlink.core.records import Switch
from roomlink.core.state import State


def zone_of(state: State, microphone: str) -> str:
    """The zone that a microphone belongs to now."""
    found: str = state.microphones.get(microphone) or state.spec.travel.microphones[microphone].zone
    return found


def here(state: State, zone: str, control: str) -> bool:
    """Whether a control counts in a zone now: each does but that of a radio microphone that is elsewhere."""
    microphone = state.spec.travel.roaming.get(control)
    return microphone is None or zone_of(state, microphone) == zone


def reach(state: State, microphone: str) -> tuple[str, ...]:
    """The zones in which a microphone is heard while it is open: its own group, then where overflows carry it."""
    zone = zone_of(state, microphone)
    found = dict.fromkeys(state.group_of.get(zone, (zone,)))
    group = set(found)
    for name in state.one_ways.live():
        flow = state.one_ways[name]
        if flow.source in group and "sound" in flow.carries:
            found[flow.to] = None
    return tuple(found)


def is_open(state: State, microphone: str) -> bool:
    """Whether a microphone is let out, overrides considered. One without a mute of its own always is."""
    mute, zone = state.spec.travel.microphones[microphone].mute, zone_of(state, microphone)
    if mute is None:
        return True
    mask = state.masks.get((zone, mute))
    record = state.controls.get((zone, mute))
    return not (mask.value if mask is not None else isinstance(record, Switch) and record.value)


def heard(state: State) -> dict[str, tuple[str, ...]]:
    """Each microphone, with the zones in which it is really heard: none while it is muted, none under life safety."""
    silent = _silenced(state)
    return {
        name: tuple(z for z in reach(state, name) if z not in silent) if is_open(state, name) else ()
        for name in state.spec.travel.microphones
    }


def _silenced(state: State) -> set[str]:
    """The zones over which a life-safety override stands: no microphone is heard there."""
    found: set[str] = set()
    for name in state.overrides.live():
        spec = state.spec.overrides.get(name)
        if spec is not None and spec.kind == "life-safety":
            found.update(state.spec.zones if spec.zones is None else spec.zones)
    return found
