"""One-way overflows, and joins. An overflow lets one zone have what is in another, and sends nothing back.

The groups stay as they are: the receiving zone keeps its panel, its level and its lights, and its microphones are heard
nowhere else. What it may have is in ``sources`` and ``microphones``. A join makes zones one group, as open walls do.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from roomlink.core import sources
from roomlink.core.bookings import BEFORE_THE_END, OccurrenceKey
from roomlink.core.checks import require
from roomlink.core.groups import shares_group
from roomlink.core.state import Draft, State
from roomlink.core.travel_commands import EndOverflow, StartOverflow
from roomlink.core.travel_events import OneWay, OneWayEnded, OneWaySet
from roomlink.core.travel_spec import CARRIES
from roomlink.errors import BadValue, Refused


def start(draft: Draft, command: StartOverflow) -> dict[str, Any]:
    """Start an overflow, or make the one of that name another. The reply's ``zones`` are the one that has it."""
    asked = _asked(draft, command)
    if command.overflow in draft.overflows:
        text = (
            f"{command.overflow} joins {' and '.join(draft.overflows[command.overflow])}: end it, or take another name"
        )
        raise Refused("taken", text, overflow=command.overflow)
    if shares_group(draft, asked.source, asked.to):
        raise Refused("joined", f"{asked.source} and {asked.to} are one room now: nothing has to flow over")
    for name in draft.one_ways.live():
        other = draft.one_ways[name]
        if name != command.overflow and (other.source, other.to) == (asked.to, asked.source):
            text = f"{name} brings {other.to} what is in {other.source} already; to join the two give `zones`"
            raise Refused("both-ways", text, overflow=name)
    old = draft.one_ways.get(command.overflow)
    if old is None or (old.source, old.to, old.carries) != (asked.source, asked.to, asked.carries):
        draft.emit(OneWaySet(command.overflow, asked))
        if old is not None:
            sources.drop_lost(draft, (old.to,), by=f"overflow {command.overflow}")
    return {"zones": [asked.to]}


def _asked(draft: Draft, command: StartOverflow) -> OneWay:
    """What is asked for, where the configuration knows the name with what it says of it."""
    known = draft.spec.travel.overflows.get(command.overflow)
    source = command.source if command.source or known is None else known.source
    to = command.to if command.to or known is None else known.to
    for field, zone in (("from", source), ("to", to)):
        if zone is None:
            raise BadValue(
                field, f"no overflow named {command.overflow} is configured: give `from` and `to`, or `zones`"
            )
        require("zone", zone, draft.spec.zones)
    assert source
    assert to
    if source == to:
        raise BadValue("to", f"{to} has what is in it already: name another zone")
    carries = command.carries if command.carries is not None else known.carries if known else CARRIES
    if not carries or any(one not in CARRIES for one in carries):
        raise BadValue("carries", "an overflow carries sound, picture or both", allowed=list(CARRIES))
    kept = tuple(one for one in CARRIES if one in carries)
    return OneWay(source, to, kept, draft.now, command.by.who, _booking_of(draft, source))


def _booking_of(state: State, zone: str) -> OccurrenceKey | None:
    """The live booking of a zone, with which what is started now ends."""
    key: OccurrenceKey | None = state.in_use.get(zone)
    return key if key is not None and _is_on(state, key, zone) else None


def _is_on(state: State, key: OccurrenceKey, zone: str) -> bool:
    """Whether a booking is on, and in the zone still."""
    one = state.occurrences.get(key)
    return one is not None and one.acts and one.phase in BEFORE_THE_END and zone in one.zones


def end(draft: Draft, command: EndOverflow) -> dict[str, Any]:
    """End an overflow. The reply's ``zones`` are the one that had it."""
    require("overflow", command.overflow, list(draft.one_ways.live()))
    to = draft.one_ways[command.overflow].to
    _end(draft, command.overflow, f"ended by {command.by.who}")
    return {"zones": [to]}


def end_with_bookings(draft: Draft) -> None:
    """End the overflows whose booking is at its end, cancelled, or gone from where they come from."""
    for name in list(draft.one_ways.live()):
        flow = draft.one_ways[name]
        if flow.booking is not None and not _is_on(draft, flow.booking, flow.source):
            _end(draft, name, "its booking is over")


def end_into(draft: Draft, zones: Iterable[str]) -> None:
    """Guests of ``zones`` are gone: who comes next hears nothing that came over to them."""
    for name in list(draft.one_ways.live()):
        if draft.one_ways[name].to in zones:
            _end(draft, name, "the booking there is over")


def settle(draft: Draft) -> None:
    """After a change of configuration: overflows of zones that are gone end, and so does what came over them."""
    for name in list(draft.one_ways.live()):
        flow = draft.one_ways[name]
        if flow.source not in draft.spec.zones or flow.to not in draft.spec.zones:
            _end(draft, name, "its zone is no longer configured")
    sources.drop_lost(draft, draft.spec.zones, by="configuration")


def _end(draft: Draft, name: str, why: str) -> None:
    """What came over it falls back before anything else happens."""
    to = draft.one_ways[name].to
    draft.emit(OneWayEnded(name, why))
    if to in draft.spec.zones:
        sources.drop_lost(draft, (to,), by=f"overflow {name}")
