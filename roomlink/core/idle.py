"""What a zone has when nobody needs it: its idle scene's values, and else where its controls start."""

from __future__ import annotations

from roomlink.core import orders, scenes
from roomlink.core.spec import Value
from roomlink.core.state import State


def values(state: State, zone: str) -> dict[str, Value]:
    """The idle values of a zone, by control. A scene that a person saved over the configured one counts."""
    spec = state.spec.zones[zone]
    found = {
        control: orders.wanted(orders.start_record(one), 0.0)
        for control, one in spec.controls.items()
        if one.kind not in ("momentary", "motion")
    }
    if spec.idle is not None and spec.idle in scenes.names(state):
        found |= scenes.scope(state, scenes.find(state, spec.idle)[0]).get(zone, {})
    return found
