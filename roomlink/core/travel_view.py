"""What people and programs see of what travels: overflows, joins, microphones and the sources of the venue."""

from __future__ import annotations

from typing import Any

from roomlink.core import discretion, microphones
from roomlink.core.instants import rfc3339
from roomlink.core.state import State

Data = dict[str, Any]


def one_ways(state: State) -> Data:
    """The overflows that stand. Which booking one ends with is told to nobody: it may be private."""
    return {name: _one_way(state, name) for name in state.one_ways.live()}


def _one_way(state: State, name: str) -> Data:
    flow = state.one_ways[name]
    return {
        "name": named(state, name),
        "from": flow.source,
        "to": flow.to,
        "carries": list(flow.carries),
        "since": rfc3339(flow.since),
        "ends": "booking" if flow.booking is not None else "hand",
    }


def named(state: State, overflow: str) -> str:
    """An overflow or a join in words for people."""
    spec = state.spec.travel.overflows.get(overflow)
    return spec.name if spec is not None else overflow.replace("-", " ").capitalize()


def joins(state: State) -> Data:
    return {name: list(state.overflows[name]) for name in state.overflows.live()}


def places(state: State) -> Data:
    """Where each microphone is, and the zones in which it is heard while it is open: this changes with groups alone."""
    return {
        name: {
            "name": spec.name,
            "zone": microphones.zone_of(state, name),
            "heard_in": list(microphones.reach(state, name)),
            "radio": spec.radio,
            "zones": list(spec.zones),
            "level": spec.level,
            "mute": spec.mute,
        }
        for name, spec in state.spec.travel.microphones.items()
    }


def all_microphones(state: State, *, may_see: bool = False) -> Data:
    """``places``, and whether each is open: ``heard_in`` is where it is really heard now.

    Of one in a zone in private use nobody is told whether it is open (null).
    """
    heard, found = microphones.heard(state), {}
    for name, place in places(state).items():
        if discretion.veiled(state, place["zone"], may_see=may_see):
            found[name] = {**place, "open": None}
        else:
            found[name] = {**place, "open": microphones.is_open(state, name), "heard_in": list(heard[name])}
    return found


def configured(state: State) -> Data:
    """What the configuration says: a part of ``GET /venue``."""
    travel = state.spec.travel
    return {
        "venue_sources": {n: {"name": s.name, "carries": list(s.carries)} for n, s in travel.sources.items()},
        "overflows": {
            n: {"name": s.name, "from": s.source, "to": s.to, "carries": list(s.carries)}
            for n, s in travel.overflows.items()
        },
    }
