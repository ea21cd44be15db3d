"""What a venue is, as the core sees it: frozen records made from the resolved configuration.

The resolved configuration is plain JSON data (names resolved, ``repeat`` stamped out, durations in seconds). It is
carried by a ``Configured`` event, so that a replay uses the configuration of that time. ``venue/`` makes the data and
proves it sound; this module only gives it types, and trusts it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any

from roomlink.core.alarm_kinds import AlarmsSpec, alarms_spec
from roomlink.core.diary_spec import BookingsSpec as BookingsSpec
from roomlink.core.diary_spec import CrewSpec as CrewSpec
from roomlink.core.diary_spec import RoutineSpec as RoutineSpec
from roomlink.core.divisions import ArrangementSpec
from roomlink.core.evening_records import PagingSpec, paging_specs
from roomlink.core.lock_records import LockSpec
from roomlink.core.travel_spec import CARRIES, TravelSpec, travel_spec

Value = str | float | bool | None
"""What a control can be set to: an option's name, a number in the control's unit, on or off, or none."""


@dataclass(frozen=True, slots=True)
class ChoiceSpec:
    """An interlock: at most one of ``options`` is on. ``gap`` in seconds.

    Where ``sources`` travel it takes those of others that have one of ``carries``.
    """

    options: tuple[str, ...]
    allow_none: bool = True
    gap: float = 0.0
    sources: bool = False
    carries: tuple[str, ...] = CARRIES
    start: str | None = None
    fallback: str | None = None
    scope: str = "group"
    name: str = ""
    section: str = ""
    kind: str = "choice"


@dataclass(frozen=True, slots=True)
class LevelSpec:
    """A value in ``unit`` within [``lo``, ``hi``]; ``travel`` is seconds for the full range."""

    unit: str
    lo: float
    hi: float
    travel: float
    start: float
    tolerance: float = 0.0
    ceiling: float | None = None
    sound: bool | None = None
    """Whether more of it is louder; None: if its unit is dB."""
    unmute_on_raise: str | None = None
    """The mute that goes off when a hand raises it."""
    scope: str = "group"
    name: str = ""
    section: str = ""
    kind: str = "level"

    @property
    def top(self) -> float:
        """The highest value that an order can reach."""
        return self.hi if self.ceiling is None else min(self.hi, self.ceiling)

    @property
    def rate(self) -> float:
        """Units a second of raise and lower."""
        return (self.hi - self.lo) / self.travel

    def clamp(self, value: float) -> float:
        return min(max(value, self.lo), self.top)


@dataclass(frozen=True, slots=True)
class SwitchSpec:
    """On or off; ``min_on`` and ``min_off`` in seconds."""

    start: bool = False
    min_on: float = 0.0
    min_off: float = 0.0
    mutes: bool | None = None
    """Whether on is silence; None: if it is called mute, or its name ends so."""
    scope: str = "group"
    name: str = ""
    section: str = ""
    kind: str = "switch"


@dataclass(frozen=True, slots=True)
class MomentarySpec:
    """On only while somebody holds it."""

    scope: str = "group"
    name: str = ""
    section: str = ""
    kind: str = "momentary"


@dataclass(frozen=True, slots=True)
class MotionSpec:
    """A screen, shade or lift. All times in seconds: ``travel`` as measured, ``max_run`` the longest run at all,
    ``dead_time`` the least rest before reversing. ``hold``: it runs only while somebody holds it.

    It stays with its zone: combining alone never carries a motion to another zone.
    """

    travel: float
    max_run: float
    dead_time: float = 1.0
    hold: bool = True
    scope: str = "local"
    name: str = ""
    section: str = ""
    kind: str = "motion"


ControlSpec = ChoiceSpec | LevelSpec | SwitchSpec | MomentarySpec | MotionSpec
CONTROL_KINDS: dict[str, type[Any]] = {
    "choice": ChoiceSpec,
    "level": LevelSpec,
    "switch": SwitchSpec,
    "momentary": MomentarySpec,
    "motion": MotionSpec,
}


@dataclass(frozen=True, slots=True)
class ZoneSpec:
    type: str
    name: str
    controls: Mapping[str, ControlSpec]
    idle: str | None = None
    """The scene whose values it has when nobody needs it; None: where its controls start."""


@dataclass(frozen=True, slots=True)
class PartitionSpec:
    """An operable wall between two zones. ``settle`` and ``move_limit`` in seconds.

    ``sensed`` is true where the service itself reads the wall's contacts: after a restart such a wall is
    unknown until its sensor speaks.
    """

    between: tuple[str, str]
    settle: float = 2.0
    on_unknown: str = "hold"
    move_limit: float = 600.0
    sensed: bool = False
    combine: str = "auto"
    """Whether it combines when it opens: ``auto``, ``ask`` or ``hand``."""
    name: str = ""
    move_minutes: float | None = None
    """How long a crew takes to move it; None: nobody said, and ``limits.MOVE_MINUTES`` stands for it."""
    after: tuple[str, ...] = ()
    """Walls on the same track that are moved before it, whichever way."""


@dataclass(frozen=True, slots=True)
class ControllerSpec:
    """A logical control surface. ``reach`` is None where every zone may be linked by hand."""

    home: str
    name: str = ""
    feedback: str = "mismatch-flag"
    on_link: str = "keep"
    level_mode: str = "same"
    reach: tuple[str, ...] | None = None
    hand_links_on_close: str = "end"
    panel: str = "seen"
    """Whether its panel is missed: ``expected``, ``none``, or once one was ``seen`` since the start."""


@dataclass(frozen=True, slots=True)
class CombiningSpec:
    """What a regrouping does. ``on_combine`` and ``on_separate`` hold a rule's word or a value, by control."""

    lead_order: tuple[str, ...] = ()
    others: str = "own"
    blend: float = 0.0
    restore_for: float = 3600.0
    """How many seconds after it last stood alone a zone still gets back what it had."""
    on_combine: Mapping[str, Value] = field(default_factory=dict)
    on_separate: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SceneSpec:
    """Stored values: ``values`` for every zone of ``type`` or for ``zone``, or ``zones`` with values for each."""

    name: str = ""
    type: str | None = None
    zone: str | None = None
    values: Mapping[str, Value] = field(default_factory=dict)
    zones: Mapping[str, Mapping[str, Value]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OverrideSpec:
    """An input that masks outputs while active. ``zones`` None: all. ``values`` by control; ``blend`` in seconds."""

    kind: str = "life-safety"
    zones: tuple[str, ...] | None = None
    values: Mapping[str, Value] = field(default_factory=dict)
    blend: float = 3.0
    name: str = ""


@dataclass(frozen=True, slots=True)
class Room:
    """Zones that are one room in one arrangement, with the number of people posted for it.

    ``walls`` counts the partitions that have to stand right for it: those inside open, those on its edge closed.
    """

    posted: int
    walls: int
    zones: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BindingSpec:
    """Which control drives which device, as far as the core needs it. ``digest`` changes with anything about it."""

    zone: str
    control: str
    device: str
    name: str
    cls: str = "signal"
    digest: str = ""


@dataclass(frozen=True)
class Spec:
    """One venue. Mappings keep the configuration's order: "venue order" is that order."""

    id: str
    name: str
    timezone: str
    zones: Mapping[str, ZoneSpec]
    partitions: Mapping[str, PartitionSpec]
    controllers: Mapping[str, ControllerSpec]
    combining: CombiningSpec | None
    scenes: Mapping[str, SceneSpec]
    overrides: Mapping[str, OverrideSpec] = field(default_factory=dict)
    bindings: tuple[BindingSpec, ...] = ()
    bookings: BookingsSpec = field(default_factory=BookingsSpec)
    routines: Mapping[str, RoutineSpec] = field(default_factory=dict)
    crews: Mapping[str, CrewSpec] = field(default_factory=dict)
    alarms: AlarmsSpec = field(default_factory=AlarmsSpec)
    travel: TravelSpec = field(default_factory=TravelSpec)
    arrangements: Mapping[str, ArrangementSpec] = field(default_factory=dict)
    locks: Mapping[str, LockSpec] = field(default_factory=dict)
    """Locks that are ready by name; a person sets them."""
    paging: Mapping[str, PagingSpec] = field(default_factory=dict)
    idle_after: float = 1800.0
    """After so many seconds without the service, zones that no booking has get their idle scene."""
    data: Mapping[str, Any] = field(default_factory=dict, repr=False, compare=False)
    """The whole resolved configuration, outlines and devices included, for those who need more than the core."""

    @cached_property
    def walls_of(self) -> Mapping[str, tuple[str, ...]]:
        """Zone to the partitions on its edge."""
        found: dict[str, list[str]] = {zone: [] for zone in self.zones}
        for partition, spec in self.partitions.items():
            for zone in spec.between:
                found[zone].append(partition)
        return {zone: tuple(walls) for zone, walls in found.items()}

    @cached_property
    def watched(self) -> frozenset[str]:
        """Zones of which a routine asks when they were last used by hand, before it ends a party."""
        caring = [routine for routine in self.routines.values() if routine.unless_used > 0.0]
        if any(routine.zones is None for routine in caring):
            return frozenset(self.zones)
        return frozenset(zone for routine in caring for zone in routine.zones or ())

    @cached_property
    def homed_at(self) -> Mapping[str, tuple[str, ...]]:
        """Zone to the controllers at home there."""
        found: dict[str, list[str]] = {zone: [] for zone in self.zones}
        for controller, spec in self.controllers.items():
            found[spec.home].append(controller)
        return {zone: tuple(controllers) for zone, controllers in found.items()}

    @cached_property
    def zone_rank(self) -> Mapping[str, int]:
        """Zone to its place in venue order, to sort by."""
        return {zone: rank for rank, zone in enumerate(self.zones)}

    @cached_property
    def posted(self) -> Mapping[frozenset[str], int]:
        """Zones that are one room to the number of people posted for exactly that room."""
        return {frozenset(o["zones"]): o["posted"] for o in self.data.get("occupancy", ())}

    @cached_property
    def rooms(self) -> tuple[Room, ...]:
        """The posted rooms, the smallest number first, then those with fewest walls, then in venue order."""
        found = []
        for zones, posted in self.posted.items():
            # A configuration that was trusted when it was journalled may name zones of an older one.
            known = tuple(sorted(zones & self.zones.keys(), key=self.zone_rank.__getitem__))
            walls = {wall for zone in known for wall in self.walls_of[zone]}
            if len(known) == len(zones):
                found.append(Room(posted, len(walls), known))
        return tuple(sorted(found, key=lambda r: (r.posted, r.walls, [self.zone_rank[z] for z in r.zones])))

    @cached_property
    def lead_rank(self) -> Mapping[str, int]:
        """Controller to its place in ``lead_order``; controllers not listed never lead."""
        order = self.combining.lead_order if self.combining else ()
        return {controller: rank for rank, controller in enumerate(order)}


EMPTY = Spec("", "", "UTC", {}, {}, {}, None, {})


def _record(kind: type[Any], data: Mapping[str, Any]) -> Any:
    """A frozen record from the members of ``data`` that it knows; lists become tuples."""
    known = {f.name for f in fields(kind)}
    return kind(**{k: tuple(v) if isinstance(v, list) else v for k, v in data.items() if k in known})


def from_data(data: Mapping[str, Any]) -> Spec:
    """The venue of a resolved configuration. ``data`` is trusted: ``venue.load`` has proved it sound."""
    shared: dict[str, Mapping[str, ControlSpec]] = {}

    def controls(raw: Mapping[str, Any]) -> Mapping[str, ControlSpec]:
        # Thousands of zones are stamped from one type: they share one mapping, and can be compared by identity.
        key = repr(raw)
        if key not in shared:
            shared[key] = {name: _record(CONTROL_KINDS[c["kind"]], c) for name, c in raw.items()}
        return shared[key]

    combining = data.get("combining")
    return Spec(
        id=data["venue"]["id"],
        name=data["venue"]["name"],
        timezone=data["venue"]["timezone"],
        zones={
            z: ZoneSpec(v["type"], v["name"], controls(v["controls"]), v.get("idle")) for z, v in data["zones"].items()
        },
        partitions={p: _record(PartitionSpec, v) for p, v in data["partitions"].items()},
        controllers={c: _record(ControllerSpec, v) for c, v in data["controllers"].items()},
        combining=_record(CombiningSpec, combining) if combining else None,
        scenes={s: _record(SceneSpec, v) for s, v in data["scenes"].items()},
        overrides={o: _record(OverrideSpec, v) for o, v in data.get("overrides", {}).items()},
        bindings=tuple(_binding(b) for b in data.get("bindings", ())),
        bookings=_record(BookingsSpec, data.get("bookings", {})),
        routines={r: _record(RoutineSpec, v) for r, v in data.get("routines", {}).items()},
        crews={c: _record(CrewSpec, v) for c, v in data.get("crews", {}).items()},
        alarms=alarms_spec(data.get("alarms", {})),
        travel=travel_spec(data),
        arrangements={a: _record(ArrangementSpec, v) for a, v in data.get("arrangements", {}).items()},
        locks={name: _record(LockSpec, v) for name, v in data.get("locks", {}).items()},
        paging=paging_specs(data),
        idle_after=data["venue"].get("idle_after", 1800.0),
        data=data,
    )


def _binding(data: Mapping[str, Any]) -> BindingSpec:
    zone, _, control = data["control"].partition(".")
    name = data.get("name", data["control"])
    return BindingSpec(zone, control, data["device"], name, data.get("class", "signal"), data.get("digest", ""))
