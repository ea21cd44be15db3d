"""Options of a choice whose sources travel: ``laptop`` is a zone's own, ``plover/laptop`` the one in Plover.

A name is always said from somewhere: ``absolute`` and ``seen_from`` turn one standpoint's name into another's.
"""

from __future__ import annotations

from roomlink.core.groups import shares_group
from roomlink.core.spec import ChoiceSpec
from roomlink.core.state import State


def origin(zone: str, option: str) -> tuple[str, str]:
    """(zone that has the source, its option there) of an option as named in ``zone``."""
    at, slash, bare = option.rpartition("/")
    return (at, bare) if slash else (zone, option)


def named_in(zone: str, source: tuple[str, str]) -> str:
    """How ``zone`` names the source."""
    at, bare = source
    return bare if at == zone else f"{at}/{bare}"


def offered(state: State, zone: str, control: str) -> tuple[str, ...]:
    """The options that a zone's choice offers now: its own, then those of the other zones of its group."""
    spec = state.spec.zones[zone].controls[control]
    assert isinstance(spec, ChoiceSpec)
    if not spec.sources:
        return spec.options
    found = list(spec.options)
    for other in state.group_of.get(zone, ()):
        theirs = state.spec.zones[other].controls.get(control)
        if other != zone and isinstance(theirs, ChoiceSpec) and theirs.sources:
            found += [f"{other}/{option}" for option in theirs.options]
    return tuple(found)


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
