"""Nobody is left: at clear-down, and after the service was away for long, zones become what they are when idle."""

from __future__ import annotations

from collections.abc import Iterable

from roomlink.core import combining, locks, microphones, orders, overflows, scenes, walls
from roomlink.core.bookings import Occurrence, OccurrenceKey
from roomlink.core.commands import SERVICE, Actor, RecallScene
from roomlink.core.events import Noticed
from roomlink.core.groups import has_guests
from roomlink.core.lock_records import LockEnded
from roomlink.core.state import Draft, State
from roomlink.errors import Refused


def clear_down(draft: Draft, key: OccurrenceKey, one: Occurrence) -> None:
    """Guests are gone: what they pinned and locked is free again, then the idle scene, and microphones muted.

    Zones that somebody else has by now are his.
    """
    zones = tuple(z for z in one.zones if z in draft.spec.zones and draft.in_use.get(z) in (None, key))
    by = Actor(f"booking {key[0]}", "booking")
    # What guests locked and pinned goes first: a lock of theirs keeps no microphone open, and zones that part as a
    # pin goes get the idle scene after what they had before.
    _unlock(draft, zones)
    _unpin(draft, zones)
    overflows.end_into(draft, zones)
    give_idle(draft, zones, by)
    for name, microphone in draft.spec.travel.microphones.items():
        zone, mute = microphones.zone_of(draft, name), microphone.mute
        if zone in zones and mute is not None and locks.covering(draft, zone, mute) is None:
            orders.set_switch(draft, zone, mute, True, by=by.who)


def _is_guest(state: State, who: str, zones: Iterable[str]) -> bool:
    """What is done from a panel of the zones is done by their guests."""
    key = state.keys.get(who)
    name = who if key is None or key.controller is None else key.controller
    controller = state.spec.controllers.get(name)
    return controller is not None and controller.home in zones


def _unlock(draft: Draft, zones: tuple[str, ...]) -> None:
    for name in list(draft.locks.live()):
        lock = draft.locks[name]
        controller = draft.spec.controllers.get(lock.controller or "")
        home = lock.zone if controller is None else controller.home
        if home in zones and _is_guest(draft, lock.by, zones):
            draft.emit(LockEnded(name, "the guests who set it are gone", lock.zone, lock.controller))


def _unpin(draft: Draft, zones: tuple[str, ...]) -> None:
    around: list[str] = []
    for name in dict.fromkeys(wall for zone in zones for wall in draft.spec.walls_of[zone]):
        wall = draft.walls[name]
        if wall.pinned_until is not None and _is_guest(draft, wall.by, zones):
            around += walls.put(draft, name, walls.unpinned(draft.spec.partitions[name], wall, draft.now))
    combining.regroup(draft, around)


def give_idle(draft: Draft, zones: Iterable[str], by: Actor) -> None:
    """Recall the idle scene of each zone that has one."""
    by_scene: dict[str, list[str]] = {}
    for zone in zones:
        scene = draft.spec.zones[zone].idle
        if scene is not None and scene in scenes.names(draft):
            by_scene.setdefault(scene, []).append(zone)
    blend = draft.spec.combining.blend if draft.spec.combining is not None else 0.0
    for scene, there in by_scene.items():
        try:
            scenes.recall(draft, RecallScene(by, scene, tuple(there), over=blend))
        except Refused as refused:
            draft.emit(Noticed(f"{' and '.join(there)} would be idle: {refused.detail}"))


def after_outage(draft: Draft, last: float) -> None:
    """The service was away for long: rooms that no booking has are idle, as nobody knows what was left on."""
    if draft.now - last > draft.spec.idle_after:
        give_idle(draft, [zone for zone in draft.spec.zones if not has_guests(draft, zone)], SERVICE)
