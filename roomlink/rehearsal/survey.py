"""What every group that walls can make comes to: who leads, who acts on what, how many people, how talk is heard."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from roomlink.core.leading import lead_of
from roomlink.core.spec import Spec
from roomlink.core.state import State
from roomlink.rehearsal.arrangements import DivisibleRoom, Group, Tell, alone, divisible_rooms, untold
from roomlink.venue.load import Loaded
from roomlink.venue.sound_plan import GroupPlan, plan


@dataclass(frozen=True, slots=True)
class Charge:
    """One group as it is while nobody has linked anything by hand.

    ``acts`` has the zones that each controller acts on, the lead first; controllers that are locked act on none.
    ``posted`` is the number of people from the authority, or None; ``sound`` is None where nobody talks or listens.
    """

    zones: Group
    lead: str | None
    acts: Mapping[str, Group]
    locked: tuple[str, ...]
    posted: int | None
    sound: GroupPlan | None

    @property
    def unreached(self) -> tuple[str, ...]:
        """The zones that no controller acts on."""
        reached = {zone for zones in self.acts.values() for zone in zones}
        return tuple(zone for zone in self.zones if zone not in reached)


@dataclass(frozen=True)
class Survey:
    """A venue in every arrangement of its walls. ``alone`` are the zones that no wall joins to others."""

    spec: Spec = field(repr=False)
    rooms: tuple[DivisibleRoom, ...]
    alone: tuple[str, ...]
    charges: Mapping[Group, Charge] = field(repr=False)
    """By group, in the order of ``groups``."""

    @cached_property
    def possible(self) -> int:
        """How many arrangements the venue has."""
        return 1 << len(self.spec.partitions)

    @property
    def every(self) -> bool:
        """Whether all of them are accounted for."""
        return all(room.every for room in self.rooms)

    @property
    def seed(self) -> int | None:
        """The seed of what was taken at random; None where nothing was."""
        return next((room.seed for room in self.rooms if room.seed is not None), None)

    @property
    def groupings(self) -> int:
        """How many distinct groupings of the venue were found."""
        found = 1
        for room in self.rooms:
            found *= len(room.groupings)
        return found


def survey(loaded: Loaded, seed: int = 0, tell: Tell = untold) -> Survey:
    """Look at every arrangement of a venue; ``seed`` is for rooms that have too many, ``tell`` hears how far it is."""
    spec = loaded.spec
    rooms, single = divisible_rooms(spec, seed, tell), alone(spec)
    state = State()
    state.spec = spec
    posted = {frozenset(entry["zones"]): entry["posted"] for entry in loaded.data["occupancy"]}
    heard = {entry["zone"] for section in ("microphones", "loudspeakers") for entry in loaded.data[section].values()}
    charges = {}
    groups = list(_groups(rooms, single))
    for done, group in enumerate(groups):
        lead = lead_of(state, group) if spec.combining else None
        sound = None if heard.isdisjoint(group) else plan(loaded.data, [group])[0]
        acts, locked = _acting(spec, group, lead)
        charges[group] = Charge(group, lead, acts, locked, posted.get(frozenset(group)), sound)
        if done % 1024 == 0:
            tell("groups", done, len(groups))
    tell("groups", len(groups), len(groups))
    return Survey(spec, rooms, single, charges)


def _groups(rooms: tuple[DivisibleRoom, ...], single: tuple[str, ...]) -> Iterator[Group]:
    for room in rooms:
        yield from room.groups
    yield from ((zone,) for zone in single)


def _acting(spec: Spec, group: Group, lead: str | None) -> tuple[dict[str, Group], tuple[str, ...]]:
    """What each controller at home in a group acts on by itself, and which are locked; as ``combining.others`` says."""
    homed = sorted((c for zone in group for c in spec.homed_at[zone]), key=lambda c: c != lead)
    others = spec.combining.others if spec.combining and lead is not None and len(group) > 1 else "own"
    locked = tuple(c for c in homed if c != lead) if others == "lock" else ()
    whole = {lead, *(homed if others == "mirror" else ())}
    acts = {c: group if c in whole else (spec.controllers[c].home,) for c in homed if c not in locked}
    return acts, locked
