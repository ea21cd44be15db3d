"""What people see of ends that come: on the panels of the zones, and all of it in one place."""

from __future__ import annotations

from typing import Any

from roomlink.core import closings, discretion, endings, links
from roomlink.core.instants import rfc3339
from roomlink.core.state import State

Data = dict[str, Any]


def on_panel(state: State, controller: str) -> Data:
    """``endings`` and ``closings`` of the zones where a controller is at home or linked."""
    zones = links.own_zones(state, controller)
    return {"endings": endings.told(state, zones), "closings": closings.told(state, zones)}


def whole(state: State, *, may_see: bool = False) -> Data:
    """All of it; of a zone in private use only when that ends."""
    zones = state.spec.zones
    open_zones = [zone for zone in zones if not discretion.veiled(state, zone, may_see=may_see)]
    pagings = {name: state.pagings[name] for name in state.pagings.live()}
    return {
        "endings": endings.told(state, zones),
        "closings": closings.told(state, open_zones),
        "paging": {
            name: {
                "name": spec.name or name,
                "ducks": list(spec.ducks),
                "by": spec.by,
                "active": None
                if name not in pagings
                else {"since": rfc3339(pagings[name].since), "until": rfc3339(pagings[name].until)},
            }
            for name, spec in state.spec.paging.items()
        },
        "presence": {
            zone: None if zone not in state.presences or zone not in open_zones else rfc3339(state.presences[zone])
            for zone in {**dict.fromkeys(state.spec.data.get("presence", ())), **dict.fromkeys(state.presences.live())}
        },
    }
