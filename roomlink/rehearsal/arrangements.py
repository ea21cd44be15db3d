"""Every arrangement of a venue's walls, and the groupings that come of them.

Walls that never join the same zones do not touch one another. So a venue falls apart into *divisible rooms* (zones that
walls, all open, make one), and each is looked at by itself: the venue's arrangements are all their combinations.

Within a room, many arrangements make the same groups: each is looked at, but what follows from the groups alone is
worked out once for each distinct grouping, or for each distinct group.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import TypeVar

from roomlink.core.groups import components
from roomlink.core.spec import Spec
from roomlink.venue.check import all_open

WALLS_EVERY_MAX = 14
"""A room with more walls than this is sampled, not looked at in every arrangement."""
SAMPLED_MAX = 4_000
"""So many arrangements of such a room are taken at random."""
SAMPLED_WALLS_MAX = 2_000_000
"""Bound of the work on one such room: arrangements times walls."""

T = TypeVar("T")
Group = tuple[str, ...]
Groups = tuple[Group, ...]
Arrangement = int
"""The positions of a room's walls: bit ``n`` is set where wall ``n`` is open."""
Tell = Callable[[str, int, int], object]
"""Told how far long work is: what is done, how much of it, of how much."""


def untold(what: str, done: int, of: int) -> None:
    """Nobody wants to know."""


@dataclass(frozen=True, slots=True)
class Grouping:
    """Groups that several arrangements of a room may make.

    ``open`` are the walls within groups: with these open and all others closed, the groups are these. ``loops`` are
    those among them that were seen closed although their zones are joined: in such an arrangement they are flagged.
    """

    groups: Groups
    arrangements: int
    open: tuple[str, ...]
    loops: tuple[str, ...]


@dataclass(frozen=True)
class DivisibleRoom:
    """A divisible room. ``looked_at`` are its arrangements, ``made`` the number of each one's grouping.

    ``seed`` is None where every arrangement was looked at; otherwise the seed of those that were taken at random, which
    are the last ``at_random`` ones.
    """

    zones: Group
    walls: tuple[str, ...]
    looked_at: Sequence[Arrangement] = field(repr=False)
    made: Sequence[int] = field(repr=False)
    groupings: tuple[Grouping, ...] = field(repr=False)
    _loops: Sequence[Arrangement] = field(repr=False)
    seed: int | None = None
    at_random: int = 0

    @property
    def possible(self) -> int:
        """How many arrangements there are."""
        return 1 << len(self.walls)

    @property
    def every(self) -> bool:
        return self.seed is None

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """Each distinct group once, the smallest first."""
        return tuple(sorted(self.times, key=len))

    @cached_property
    def times(self) -> Counter[Group]:
        """In how many of the groupings each group is."""
        return Counter(group for grouping in self.groupings for group in grouping.groups)

    def open(self, arrangement: Arrangement) -> tuple[str, ...]:
        """The walls that are open in an arrangement."""
        return tuple(wall for number, wall in enumerate(self.walls) if arrangement >> number & 1)

    def flagged(self, wall: str) -> Iterator[Arrangement]:
        """The arrangements in which the wall stands closed between zones that are joined another way."""
        bit = 1 << self.walls.index(wall)
        return (a for a, made in zip(self.looked_at, self.made, strict=True) if self._loops[made] & bit and not a & bit)

    def grouping(self, arrangement: Arrangement) -> Grouping:
        """What an arrangement that was looked at makes."""
        at = arrangement if self.every else self.looked_at.index(arrangement)
        return self.groupings[self.made[at]]


def divisible_rooms(spec: Spec, seed: int = 0, tell: Tell = untold) -> tuple[DivisibleRoom, ...]:
    """The divisible rooms of a venue, in venue order, each with every arrangement or, past a limit, a sample."""
    rooms = []
    for zones in all_open(spec):
        inside = set(zones)
        walls = tuple(wall for wall, partition in spec.partitions.items() if partition.between[0] in inside)
        rooms.append(_room(spec, zones, walls, seed, tell))
    return tuple(rooms)


def alone(spec: Spec) -> tuple[str, ...]:
    """The zones that no wall joins to any other, in venue order."""
    return tuple(zone for zone in spec.zones if not spec.walls_of[zone])


def _room(spec: Spec, zones: Group, walls: tuple[str, ...], seed: int, tell: Tell) -> DivisibleRoom:
    bits = {zone: 1 << number for number, zone in enumerate(zones)}
    pairs = [bits[a] | bits[b] for a, b in (spec.partitions[wall].between for wall in walls)]
    every = len(walls) <= WALLS_EVERY_MAX
    looked_at: Sequence[Arrangement]
    if every:
        looked_at, at_random = range(1 << len(walls)), 0
        made, parts = _every(list(bits.values()), pairs)
    else:
        looked_at, at_random = _sample(len(walls), seed)
        made, parts = _each(spec, bits, walls, looked_at, tell)

    @cache
    def within(group: int) -> tuple[Group, int]:
        """The zones of a group, and the walls between them."""
        return _named(group, zones), sum(1 << wall for wall, pair in enumerate(pairs) if group & pair == pair)

    inner = [sum(within(group)[1] for group in part) for part in parts]
    tell("arrangements", len(looked_at), len(looked_at))
    times = Counter(made)
    loops = [0] * len(parts)
    for arrangement, number in zip(looked_at, made, strict=True):
        loops[number] |= inner[number] & ~arrangement
    groupings = tuple(
        Grouping(
            tuple(within(group)[0] for group in part),
            times[number],
            _named(inner[number], walls),
            _named(loops[number], walls),
        )
        for number, part in enumerate(parts)
    )
    return DivisibleRoom(zones, walls, looked_at, made, groupings, loops, None if every else seed, at_random)


_Part = tuple[int, ...]
"""Groups as sets of bits, in venue order: that of each group's lowest bit."""


def _every(zones: list[int], pairs: list[int]) -> tuple[list[int], list[_Part]]:
    """The grouping of each arrangement, counted up in binary, and the distinct groupings.

    One wall more doubles the arrangements: those in which it is open make what the others do, with its zones joined. So
    each arrangement costs one look into a table, and each distinct grouping one joining for each wall.
    """
    first: _Part = tuple(zones)
    parts, number_of, made = [first], {first: 0}, [0]
    for pair in pairs:
        opened = []
        for part in parts[:]:
            joined = _joined(part, pair)
            number = number_of.setdefault(joined, len(parts))
            if number == len(parts):
                parts.append(joined)
            opened.append(number)
        made += [opened[number] for number in made]
    return made, parts


def _joined(part: _Part, pair: int) -> _Part:
    """The groups when what is in ``pair``, two zones, is joined."""
    first, second = (number for number, group in enumerate(part) for _ in range((group & pair).bit_count()))
    if first == second:
        return part
    return (*part[:first], part[first] | part[second], *part[first + 1 : second], *part[second + 1 :])


def _sample(walls: int, seed: int) -> tuple[list[Arrangement], int]:
    """All walls closed, all open, each of these with one wall changed, and others at random; how many those are."""
    budget = max(SAMPLED_WALLS_MAX // walls, 8)
    dice = random.Random(seed)
    everything = (1 << walls) - 1
    changed: Iterable[int] = range(walls) if 4 * walls <= budget else sorted(dice.sample(range(walls), budget // 4))
    chosen = dict.fromkeys([0, everything])
    for number in changed:
        chosen |= dict.fromkeys([1 << number, everything ^ 1 << number])
    planned = len(chosen)
    for _ in range(min(SAMPLED_MAX, budget - planned)):
        chosen[dice.getrandbits(walls)] = None
    return list(chosen), len(chosen) - planned


def _each(
    spec: Spec, bits: Mapping[str, int], walls: Group, looked_at: Sequence[Arrangement], tell: Tell
) -> tuple[list[int], list[_Part]]:
    """As ``_every``, for some arrangements."""
    number_of: dict[_Part, int] = {}
    made = []
    for done, arrangement in enumerate(looked_at):
        beyond: dict[str, list[str]] = {zone: [] for zone in bits}
        for number, wall in enumerate(walls):
            if arrangement >> number & 1:
                a, b = spec.partitions[wall].between
                beyond[a].append(b)
                beyond[b].append(a)
        part = tuple(sum(bits[zone] for zone in group) for group in components(bits, beyond.__getitem__))
        made.append(number_of.setdefault(part, len(number_of)))
        if done % 256 == 0:
            tell("arrangements", done, len(looked_at))
    return made, list(number_of)


def _named(bits: int, names: Sequence[T]) -> tuple[T, ...]:
    """The names whose bits are set."""
    return tuple(name for number, name in enumerate(names) if bits >> number & 1)
