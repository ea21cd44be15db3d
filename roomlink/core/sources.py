"""Options of a choice whose sources travel: ``laptop`` is a zone's own, ``plover/laptop`` the one in Plover.

``venue/music`` belongs to no zone and is on offer whatever the walls, where the choice takes what it carries. What a
one-way overflow brings is named by its zone, as in a group. Each choice travels by itself: ``plover/laptop`` of
``screen-left`` is an option of Plover's ``screen-left``. A name is always said from somewhere: ``for_zone`` and
``seen_from`` turn one standpoint's name into another's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from roomlink.core import orders
from roomlink.core.groups import shares_group
from roomlink.core.records import Choice
from roomlink.core.spec import ChoiceSpec, Spec
from roomlink.core.state import Draft, State
from roomlink.core.travel_spec import VENUE, meet


def origin(zone: str, option: str) -> tuple[str, str]:
    """(zone that has the source, its option there) of an option as named in ``zone``."""
    at, slash, bare = option.rpartition("/")
    return (at, bare) if slash else (zone, option)


def named_in(zone: str, source: tuple[str, str]) -> str:
    """How ``zone`` names the source."""
    at, bare = source
    return bare if at == zone else f"{at}/{bare}"


def of_venue(spec: Spec, choice: ChoiceSpec) -> tuple[str, ...]:
    """The sources of the whole venue that a choice takes."""
    if not choice.sources:
        return ()
    return tuple(f"{VENUE}/{n}" for n, s in spec.travel.sources.items() if meet(s.carries, choice.carries))


def _near(state: State, zone: str, choice: ChoiceSpec) -> Iterator[str]:
    """The zones whose sources a choice may have now: those of its group, then those that overflows bring."""
    yield from state.group_of.get(zone, (zone,))
    for name in state.one_ways.live():
        flow = state.one_ways[name]
        if flow.to == zone and meet(flow.carries, choice.carries):
            yield from state.group_of.get(flow.source, (flow.source,))


def offered(state: State, zone: str, control: str) -> tuple[str, ...]:
    """The options that a zone's choice offers now: its own, those of the zones that it may hear, the venue's."""
    spec = state.spec.zones[zone].controls[control]
    assert isinstance(spec, ChoiceSpec)
    if not spec.sources:
        return spec.options
    found = list(spec.options)
    for other in dict.fromkeys(_near(state, zone, spec)):
        theirs = state.spec.zones[other].controls.get(control)
        if other != zone and isinstance(theirs, ChoiceSpec) and theirs.sources:
            found += [f"{other}/{option}" for option in theirs.options]
    return (*found, *of_venue(state.spec, spec))


def drop_lost(draft: Draft, zones: Iterable[str], by: str = "combining") -> None:
    """Sound and picture cross no closed wall: what ``zones`` have from where they may not have it any more falls back.

    So do the zones to which overflows bring what is in ``zones``. What belongs to the venue stays.
    """
    around = dict.fromkeys(zones)
    flows = [draft.one_ways[name] for name in draft.one_ways.live()]
    # While a new configuration is taken, an overflow may still lead to a zone that is gone.
    around.update(dict.fromkeys(flow.to for flow in flows if flow.source in around and flow.to in draft.spec.zones))
    for zone in around:
        for control, spec in draft.spec.zones[zone].controls.items():
            if not isinstance(spec, ChoiceSpec) or not spec.sources:
                continue
            record = draft.controls.get((zone, control))
            on = (record.pending or record.value) if isinstance(record, Choice) else None
            if on is None:
                continue
            at = origin(zone, on)[0]
            if at != zone and on not in of_venue(draft.spec, spec) and at not in _near(draft, zone, spec):
                orders.set_choice(draft, zone, control, spec.fallback, by=by)


def for_zone(state: State, home: str, zone: str, option: str | None, spec: ChoiceSpec) -> str | None:
    """What an option named at a controller's ``home`` means in ``zone``.

    In one group it is the same source for all; a zone elsewhere takes its own source of that name.
    """
    if option is None or not spec.sources:
        return option
    if "/" not in option and not shares_group(state, home, zone):
        return option
    return named_in(zone, origin(home, option))


def seen_from(state: State, home: str, zone: str, option: str | None, spec: ChoiceSpec) -> str | None:
    """The reverse of ``for_zone``: how a controller at ``home`` names what is on in ``zone``."""
    if option is None or not spec.sources:
        return option
    if "/" not in option and not shares_group(state, home, zone):
        return option
    return named_in(home, origin(zone, option))
