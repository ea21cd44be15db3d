"""What an entry touches, and the ``change`` that says so to one panel or to a watcher.

A touch names things, not values: touches of several entries merge into one, and the change made from it has the
latest values. So a slow panel, or one that comes back, gets one message whatever it missed.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from typing import Any

from roomlink.core import (
    alarm_view,
    bookings,
    discretion,
    evening_view,
    links,
    locking,
    microphones,
    paging,
    travel_view,
    view,
    wall_view,
)
from roomlink.core import events as ev
from roomlink.core.alarm_events import AlarmEvent
from roomlink.core.divisions import DivisionEnded, DivisionSet
from roomlink.core.evening_records import (
    ClosingEnded,
    ClosingSet,
    EndingDropped,
    EndingSet,
    PagingEnded,
    PagingStarted,
    PassDoorSet,
    PresenceSet,
    WallMarked,
    WallUnmarked,
)
from roomlink.core.lead_records import LeadEnded, LeadSet, PanelSet
from roomlink.core.lock_records import LockEnded, LockSet
from roomlink.core.records import Wall
from roomlink.core.spec import ChoiceSpec
from roomlink.core.state import State
from roomlink.core.travel_events import MicrophoneAssigned, OneWayEnded, OneWaySet

Data = dict[str, Any]


@dataclass(slots=True)
class Touch:
    """Names of what changed. ``fresh``: the venue itself did, so that only a whole new view will do."""

    controls: set[tuple[str, str]] = field(default_factory=set)
    """(zone, control)"""
    faces: dict[str, set[str]] = field(default_factory=dict)
    """by controller, the controls whose feedback may differ"""
    links: set[str] = field(default_factory=set)
    """controllers whose links changed, and so all their feedback"""
    roles: set[str] = field(default_factory=set)
    zones: set[str] = field(default_factory=set)
    """zones whose ``linked_by`` or booking changed"""
    regrouped: set[str] = field(default_factory=set)
    """zones whose group changed: ``groups`` tells it, so that not each zone need say its own"""
    walls: set[str] = field(default_factory=set)
    reports: set[str] = field(default_factory=set)
    """walls of which only the report that does not count yet changed: news for watchers alone"""
    groups: bool = False
    flows: bool = False
    """overflows, and so where microphones are heard"""
    offers: set[str] = field(default_factory=set)
    """zones whose choices may offer other sources than before"""
    overrides: bool = False
    locks: bool = False
    """locks, or what is told of them: that depends on what goes on where they are, and where their controllers work"""
    alarms: bool = False
    noticed: set[str] = field(default_factory=set)
    """controllers that an alarm concerns"""
    ends: set[str] = field(default_factory=set)
    """controllers that are told of ends to come"""
    scenes: bool = False
    turns: bool = False
    """what is booked, or ticked off, changed: the turn list is to be asked for again; news for watchers alone"""
    fresh: bool = False
    veil: bool = False
    """What may be told of a zone changed, so that only a whole new view will do for those who watch"""

    def merge(self, other: Touch) -> None:
        self.controls |= other.controls
        for controller, names in other.faces.items():
            self.faces.setdefault(controller, set()).update(names)
        self.links |= other.links
        self.roles |= other.roles
        self.zones |= other.zones
        self.regrouped |= other.regrouped
        self.walls |= other.walls
        self.reports |= other.reports
        self.groups |= other.groups
        self.flows |= other.flows
        self.offers |= other.offers
        self.overrides |= other.overrides
        self.locks |= other.locks
        self.alarms |= other.alarms
        self.noticed |= other.noticed
        self.ends |= other.ends
        self.scenes |= other.scenes
        self.turns |= other.turns
        self.fresh |= other.fresh
        self.veil |= other.veil

    def copy(self) -> Touch:
        other = Touch()
        other.merge(self)
        return other

    @property
    def everywhere(self) -> bool:
        """Whether every panel shows something of it."""
        shown = self.zones or self.walls or self.groups or self.flows or self.overrides or self.locks or self.scenes
        return bool(shown or self.fresh)

    @property
    def place(self) -> Hashable:
        """What all panels show of it: touches that are alike in this give the same ``place_change``."""
        told = (self.groups, self.flows, self.overrides, self.locks, self.scenes)
        return frozenset(self.zones), frozenset(self.walls), told

    def controllers(self) -> set[str]:
        """The controllers whose own face it changes."""
        return self.faces.keys() | self.links | self.roles | self.noticed | self.ends

    def concerns(self, controller: str) -> bool:
        """Whether it changes the face of this controller."""
        own = controller in self.faces or controller in self.links or controller in self.roles
        return own or controller in self.noticed or controller in self.ends


_OF_TURNS = (bookings.BookingSet, bookings.BookingDropped, bookings.MoveTicked, bookings.TickDropped)


def before(state: State, events: Iterable[ev.Event]) -> Touch:
    """What ``events`` touch; ``state`` is the one that they have not been applied to yet."""
    touch = Touch()
    for event in events:
        kind = type(event)
        if isinstance(event, ev.ControlSet):
            touch.controls.add((event.zone, event.control))
        elif isinstance(event, ev.LinkSet | ev.LinkEnded):
            touch.links.add(event.controller)
            # A link that stands keeps its place among the zone's: what changes in it shows on its own face alone.
            if isinstance(event, ev.LinkEnded) or event.controller not in state.linked_by.get(event.zone, ()):
                touch.zones.add(event.zone)
        elif isinstance(event, ev.WallSet):
            _wall(touch, event.partition, state.walls.get(event.partition), event.now)
        elif isinstance(event, ev.Regrouped):
            touch.groups = True
            touch.regrouped.update(zone for group in event.groups for zone in group)
        elif isinstance(event, LeadSet | LeadEnded | PanelSet):
            touch.groups = True  # who leads is told with them
        elif isinstance(event, ev.RoleSet):
            touch.roles.add(event.controller)
        elif isinstance(event, ev.Masked | ev.Unmasked):
            touch.controls.add((event.zone, event.control))
        elif isinstance(event, ev.OverrideSet | ev.OverrideCleared):
            touch.overrides = True
        elif isinstance(event, LockSet | LockEnded):
            _lock(touch, state, event)
        elif isinstance(event, OneWaySet | OneWayEnded):
            touch.flows = True
            flows = (state.one_ways.get(event.overflow), event.now if isinstance(event, OneWaySet) else None)
            touch.offers.update(flow.to for flow in flows if flow is not None)
        elif isinstance(event, AlarmEvent):
            touch.alarms = True
            touch.noticed.update(alarm_view.controllers_of(state, alarm_view.zones_of(state.spec, event.alarm)))
        elif isinstance(event, bookings.PhaseSet):
            touch.zones.update(event.zones)
            one = state.occurrences.get((event.booking, event.key))
            touch.veil |= one is not None and one.private
        elif isinstance(event, bookings.OccurrencesSet | bookings.OccurrencesDropped):
            _occurrences(touch, state, event)
            touch.turns = True
        elif kind in _OF_TURNS:
            touch.turns = True
        elif isinstance(event, bookings.WallRequested | bookings.WallRequestEnded | DivisionSet | DivisionEnded):
            touch.walls.add(event.partition)
        elif isinstance(event, _OF_ENDS):
            touch.ends.update(alarm_view.controllers_of(state, _ending_in(state, event)))
        elif isinstance(event, PagingStarted | PagingEnded):
            touch.controls.update(paging.covered(state, event.paging))
        elif isinstance(event, WallMarked | WallUnmarked | PassDoorSet):
            touch.walls.add(event.partition)
        elif isinstance(event, PresenceSet):
            touch.zones.add(event.zone)
        elif kind is ev.SceneSaved:
            touch.scenes = True
        elif kind in (ev.Configured, ev.ControlDropped, MicrophoneAssigned):
            touch.fresh = True
    touch.locks |= any(touch.veil or state.locks[name].controller in touch.links for name in state.locks.live())
    return touch


_OF_ENDS = (EndingSet, EndingDropped, ClosingSet, ClosingEnded)


def _ending_in(state: State, event: EndingSet | EndingDropped | ClosingSet | ClosingEnded) -> Iterable[str]:
    """The zones whose people are told something else from now on."""
    if isinstance(event, ClosingSet | ClosingEnded):
        return (event.zone,)
    old = state.endings.get((event.booking, event.key))
    return {*(() if old is None else old.zones), *(event.now.zones if isinstance(event, EndingSet) else ())}


def _occurrences(touch: Touch, state: State, event: bookings.OccurrencesSet | bookings.OccurrencesDropped) -> None:
    """Zones whose booking of now is changed, or is theirs no more."""
    news = event.occurrences if isinstance(event, bookings.OccurrencesSet) else ()
    keys = event.keys if isinstance(event, bookings.OccurrencesDropped) else [new.key for new in news]
    olds = [state.occurrences.get((event.booking, key)) for key in keys]
    ones = [one for one in (*olds, *news) if one is not None]
    booked = {zone for one in ones for zone in one.zones}
    # What is booked in a zone changes how long guests who have it may stay, which all of their panels tell.
    for ending in (state.endings[key] for key in state.endings.live()):
        if not booked.isdisjoint(ending.zones):
            touch.ends.update(alarm_view.controllers_of(state, ending.zones))
    for one in ones:
        if one.live:
            touch.zones.update(one.zones)
            touch.veil |= one.private


def _lock(touch: Touch, state: State, event: LockSet | LockEnded) -> None:
    touch.locks = True
    locks = (state.locks.get(event.lock), event.now if isinstance(event, LockSet) else None)
    touch.roles.update(lock.controller for lock in locks if lock is not None and lock.controller is not None)


def _wall(touch: Touch, name: str, old: Wall | None, new: Wall) -> None:
    def counting(wall: Wall) -> tuple[Any, ...]:
        says = (wall.by, wall.via, wall.sensed)
        return (wall.position, wall.joins, wall.trust, wall.flagged, wall.pinned_until, *says)

    if old is None or counting(old) != counting(new):
        touch.walls.add(name)
    elif old.report != new.report:
        touch.reports.add(name)


def spread(touch: Touch, state: State) -> None:
    """Add the faces that show what was touched; ``state`` is the one after the events."""
    if touch.fresh:
        return
    # What a travelling source's choice offers depends on the group, its own and that of which an overflow brings it.
    flows = [state.one_ways[name] for name in state.one_ways.live()]
    brought = {flow.to for flow in flows if flow.source in touch.regrouped}
    for zone in touch.regrouped | touch.offers | brought:
        for control, spec in state.spec.zones[zone].controls.items():
            if isinstance(spec, ChoiceSpec) and spec.sources:
                touch.controls.add((zone, control))
    for zone, control in touch.controls:
        for controller in state.linked_by.get(zone, ()):
            touch.faces.setdefault(controller, set()).add(control)


def _face(state: State, controller: str, touch: Touch, now: float) -> Data:
    data: Data = {}
    if controller in touch.links:
        data["links"] = view.face_links(state, controller)
    if controller in touch.roles:
        data.update(view.face_role(state, controller))
    if controller in touch.noticed or (controller in touch.links and state.alarms):
        data["alarms"] = alarm_view.on_panel(state, controller)
    if controller in touch.ends or controller in touch.links:
        data.update(evening_view.on_panel(state, controller))
    known = links.controls_of(state, controller)
    if controller in touch.links:
        names: Iterable[str] = known
    else:
        names = [control for control in touch.faces.get(controller, ()) if control in known]
    controls = {name: view.face_control(state, controller, name, known[name], now) for name in names}
    if controls:
        data["controls"] = controls
    return data


def _place(state: State, touch: Touch, walls: set[str]) -> Data:
    data: Data = {}
    if touch.zones:
        data["zones"] = {zone: view.zone_links(state, zone) for zone in touch.zones}
    if walls:
        data["partitions"] = {name: wall_view.partition(state, name) for name in walls}
    if touch.groups:
        data.update(wall_view.together(state))
    if touch.flows:
        data["one_way"] = travel_view.one_ways(state)
    if touch.groups or touch.flows:
        data["microphones"] = travel_view.places(state)
    if touch.overrides:
        data["overrides"] = view.overrides(state)
    if touch.locks:
        data["locks"] = locking.view(state)
    if touch.scenes:
        data["scenes"] = view.scenes_of(state)
    return data


def place_change(state: State, touch: Touch) -> Data:
    """The part of a change that all panels share."""
    return _place(state, touch, touch.walls)


def panel_change(state: State, controller: str, touch: Touch, place: Data, seq: int, now: float) -> Data | None:
    """The change for a panel of ``controller``, with the ``place_change`` of the touch; None where it shows nothing."""
    data = dict(place)
    if touch.concerns(controller):
        data["controller"] = _face(state, controller, touch, now)
    return {"type": "change", "seq": seq, "at": view.rfc3339(now), **data} if data else None


def watch_change(state: State, touch: Touch, seq: int, now: float) -> Data | None:
    """The change for those who watch everything."""
    data = _place(state, touch, touch.walls | touch.reports)
    zones: Data = data.setdefault("zones", {})
    for zone, control in touch.controls:
        if not discretion.veiled(state, zone) and microphones.here(state, zone, control):
            zones.setdefault(zone, {}).setdefault("controls", {})[control] = view.control(state, zone, control, now)
    if not zones:
        del data["zones"]
    if touch.alarms:
        data["alarms"] = alarm_view.alarms(state)
    if touch.turns:
        data["turns"] = True
    faces = {}
    for controller in touch.controllers():
        if not discretion.veiled_controller(state, controller):
            faces[controller] = _face(state, controller, touch, now)
        elif controller in touch.links or controller in touch.roles:
            faces[controller] = view.watched_face(state, controller, now)
    if faces:
        data["controllers"] = faces
    return {"type": "change", "seq": seq, "at": view.rfc3339(now), **data} if data else None
