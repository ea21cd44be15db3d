"""Which zones belong together: connected components over the ties of open partitions and overflows."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from roomlink.core.state import State


def components(zones: Iterable[str], neighbours: Callable[[str], Iterable[str]]) -> list[list[str]]:
    """Connected components of what can be reached from ``zones``, in the order of ``zones``."""
    seen: set[str] = set()
    found: list[list[str]] = []
    for first in zones:
        if first in seen:
            continue
        seen.add(first)
        group = [first]
        for zone in group:
            for other in neighbours(zone):
                if other not in seen:
                    seen.add(other)
                    group.append(other)
        found.append(group)
    return found


def joins(state: State, partition: str) -> bool:
    """Whether a wall joins its zones: it is open, and not kept as a division."""
    wall = state.walls.get(partition)
    return wall is not None and wall.joins and partition not in state.divisions


def ties(state: State, without: Collection[str] = ()) -> Callable[[str], Iterable[str]]:
    """Zone to the zones that it is joined to directly now, by an open partition that is no division, or an overflow.

    Partitions in ``without`` are left aside.
    """
    spec = state.spec
    overflows: dict[str, set[str]] = {}
    for name in state.overflows.live():
        members = state.overflows[name]
        for zone in members:
            overflows.setdefault(zone, set()).update(members)

    def neighbours(zone: str) -> Iterable[str]:
        for partition in spec.walls_of[zone]:
            if partition not in without and joins(state, partition):
                a, b = spec.partitions[partition].between
                yield b if a == zone else a
        yield from overflows.get(zone, ())

    return neighbours


def regrouped(state: State, seeds: Iterable[str]) -> list[tuple[str, ...]]:
    """The groups that ``seeds`` and all zones of their present groups belong to by the walls and overflows now.

    Only the neighbourhood of the seeds is looked at. Groups and zones in them are in venue order.
    """
    rank = state.spec.zone_rank
    affected: dict[str, None] = {}
    for zone in seeds:
        for member in state.group_of.get(zone, (zone,)):
            if member in rank:
                affected[member] = None
    neighbours = ties(state)
    found = components(affected, neighbours)
    # A component may reach into a group that no seed belongs to; what is left of that group counts as well.
    reached = {zone for group in found for zone in group}
    left = {z for zone in reached for z in state.group_of.get(zone, ()) if z not in reached and z in rank}
    found += components(sorted(left, key=rank.__getitem__), neighbours)
    groups = [tuple(sorted(group, key=rank.__getitem__)) for group in found]
    return sorted(groups, key=lambda group: rank[group[0]])


def shares_group(state: State, a: str, b: str) -> bool:
    return a == b or b in state.group_of.get(a, ())


def has_guests(state: State, zone: str) -> bool:
    """Whether a live booking has a zone, or another of its group: then people are in that room."""
    return any(member in state.in_use for member in state.group_of.get(zone, (zone,)))
