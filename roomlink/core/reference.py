"""Who adopts whom when zones combine, and when zones were last used by hand, which that depends on.

The parts of a new group are what its old groups brought into it. The one that others adopt is the part that a live
booking has, else the one used last by hand, else the lead's. It stays as it is: only the newcomers change.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.core.commands import Act, RecallScene, ReportControl
from roomlink.core.divisions import UsedByHand
from roomlink.core.leading import lead_of
from roomlink.core.state import Draft, State
from roomlink.limits import USED_EVERY_S

Group = tuple[str, ...]

BY_HAND = (Act, RecallScene, ReportControl)
"""Commands that use zones; what a device reports was done there by hand."""
NOT_BY_HAND = ("clock", "booking", "service")
"""Ways in which the service does the same by itself."""


def note_use(draft: Draft, command: Any, zones: Iterable[str]) -> None:
    """At the end of a decision: put down that ``zones`` were used by hand, where it may ever matter.

    Once a second at most, so that a finger on a level costs no entry more.
    """
    if not isinstance(command, BY_HAND) or command.by.via in NOT_BY_HAND or not _matters(draft):
        return
    fresh = draft.now - USED_EVERY_S
    used = tuple(z for z in zones if _matters_in(draft, z) and not draft.used.get(z, fresh) > fresh)
    if used and draft.events:
        draft.emit(UsedByHand(used, draft.now))


def _matters(state: State) -> bool:
    return state.spec.combining is not None or bool(state.spec.watched)


def _matters_in(state: State, zone: str) -> bool:
    joins = state.spec.combining is not None and bool(state.spec.walls_of[zone])
    return joins or zone in state.spec.watched


@dataclass(frozen=True, slots=True)
class Reference:
    """``part`` is adopted, as ``zone`` of it has it. ``settled`` are the zones that a live booking has where others
    join that none has: these adopt it whole, and what it has is not touched by them. Empty: no such difference.
    """

    zone: str
    part: Group
    settled: Group = ()


def parts_of(group: Group, old_of: Mapping[str, Group | None]) -> list[Group]:
    """What each old group brought into ``group``, in venue order; a zone that is new to the venue is its own part."""
    found: dict[Group, list[str]] = {}
    for zone in group:
        found.setdefault(old_of[zone] or (zone,), []).append(zone)
    return [tuple(part) for part in found.values()]


def choose(state: State, group: Group, parts: list[Group]) -> Reference | None:
    """The part of ``group`` that the others adopt; None where nothing tells one from the others, and nobody leads."""
    booked = [part for part in parts if any(zone in state.in_use for zone in part)]
    among = booked or parts
    settled = tuple(zone for part in booked for zone in part) if len(booked) < len(parts) else ()
    among = _used_last(state, among)
    if len(among) > 1:
        lead = lead_of(state, group)
        home = None if lead is None else state.spec.controllers[lead].home
        if home is None:
            return None
        # Where the lead's own part is out of the question, the lead of what is left stands for it.
        among = [part for part in among if home in part] or _led(state, among)
    part = among[0]
    # Of a part that a live booking has, an idle zone that joined it does not speak for the booking.
    speakers = tuple(zone for zone in part if zone in state.in_use) or part
    return Reference(_speaker(state, speakers), part, settled)


def _used_last(state: State, parts: list[Group]) -> list[Group]:
    stamps = [max((state.used.get(zone, float("-inf")) for zone in part), default=float("-inf")) for part in parts]
    newest = max(stamps)
    return [part for part, stamp in zip(parts, stamps, strict=True) if stamp == newest]


def _led(state: State, parts: list[Group]) -> list[Group]:
    lead = lead_of(state, tuple(zone for part in parts for zone in part))
    home = None if lead is None else state.spec.controllers[lead].home
    return [part for part in parts if home in part] or parts


def _speaker(state: State, part: Group) -> str:
    """The zone that says what a part has: where its lead is at home, else the one used last."""
    lead = lead_of(state, part)
    if lead is not None:
        return state.spec.controllers[lead].home
    return max(part, key=lambda zone: state.used.get(zone, float("-inf")))
