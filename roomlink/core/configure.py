"""Taking a configuration, the first or a newer one, and starting again after a stop.

What is gone is dropped with a notice, what is new starts, what changed kind starts afresh; the rest keeps its state.
"""

from __future__ import annotations

from dataclasses import replace

from roomlink.core import (
    alarms,
    combining,
    devices,
    diary,
    leading,
    leads,
    links,
    locking,
    motion,
    orders,
    overflows,
    overrides,
    radio,
    sources,
    walls,
)
from roomlink.core.commands import Configure, Recover
from roomlink.core.events import (
    Configured,
    ControlDropped,
    ControllerDropped,
    ControlSet,
    HandSet,
    Noticed,
    OverflowSet,
    SceneSaved,
    Unmasked,
    WallDropped,
    WallSet,
    ZoneDropped,
)
from roomlink.core.records import KIND_OF, Choice, Level, Wall
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, Spec, from_data
from roomlink.core.state import Draft

RECOVERY_GRACE_S = 30.0
"""How long a sensed wall may stay silent after a restart before that is an alarm."""


def configure(draft: Draft, command: Configure) -> dict[str, list[str]]:
    """Make the venue what ``command.data`` says."""
    old, new = draft.spec, from_data(command.data)
    _drop_gone(draft, old, new)
    draft.emit(Configured(command.data, command.digest))
    for zone, spec in new.zones.items():
        for control, control_spec in spec.controls.items():
            _start_or_keep(draft, zone, control, control_spec)
    for name in new.partitions:
        if draft.walls.get(name) is None:
            draft.emit(WallSet(name, Wall()))
    _drop_what_no_longer_holds(draft, old, new)
    for controller, controller_spec in new.controllers.items():
        known = old.controllers.get(controller)
        if known is None:
            links.link(draft, controller, controller_spec.home, "home")
        elif known.home != controller_spec.home:
            links.drop_reason(draft, controller, known.home, "home", "its home changed")
            links.link(draft, controller, controller_spec.home, "home")
    overrides.settle(draft)
    locking.settle(draft)
    leads.settle(draft, old)
    devices.disarm_changed(draft, old)
    if new.combining is None and old.combining is not None:
        leading.dissolve(draft)
    combining.regroup(draft, new.zones, renew=_renewed(old, new))
    overflows.settle(draft)
    radio.settle(draft)
    diary.reconfigure(draft)
    alarms.renew(draft)
    return {"zones": list(new.zones)}


def _drop_gone(draft: Draft, old: Spec, new: Spec) -> None:
    """Take down what the new configuration does not have, while the old one still explains it."""
    for controller in old.controllers:
        if controller not in new.controllers:
            for zone in draft.linked.get(controller, ()):
                links.unlink(draft, controller, zone, "the controller is no longer configured")
            for key in list(draft.hands.live()):
                if key[0] == controller:
                    draft.emit(HandSet(*key, None))
            draft.emit(ControllerDropped(controller))
            draft.emit(Noticed(f"controller {controller} is no longer configured"))
    for zone, spec in old.zones.items():
        kept = new.zones[zone].controls if zone in new.zones else {}
        for control, old_spec in spec.controls.items():
            if control not in kept or kept[control].kind != old_spec.kind:
                orders.end_holds(draft, zone, control, "the configuration changed")
                if (zone, control) in draft.masks:
                    draft.emit(Unmasked(zone, control))
                draft.emit(ControlDropped(zone, control))
        if zone not in new.zones:
            for controller in draft.linked_by.get(zone, ()):
                links.unlink(draft, controller, zone, "the zone is no longer configured")
            draft.emit(ZoneDropped(zone))
            draft.emit(Noticed(f"zone {zone} is no longer configured"))
    for name, partition in old.partitions.items():
        if name not in new.partitions or new.partitions[name].between != partition.between:
            draft.emit(WallDropped(name))
            for alarm in ("wall-unknown", "wall-late", "fence", "turn-late"):
                alarms.drop(draft, f"{alarm}/{name}")
    alarms.drop_gone(draft, new)
    for overflow in list(draft.overflows.live()):
        if any(zone not in new.zones for zone in draft.overflows[overflow]):
            draft.emit(OverflowSet(overflow, ()))


def _start_or_keep(draft: Draft, zone: str, control: str, spec: ControlSpec) -> None:
    record = draft.controls.get((zone, control))
    if record is None or KIND_OF[type(record)] != spec.kind:
        draft.emit(ControlSet(zone, control, orders.start_record(spec)))
        return
    if isinstance(record, Level) and isinstance(spec, LevelSpec):
        here = record.at(draft.now)
        if spec.clamp(record.to) != record.to or spec.clamp(here) != here:
            here = spec.clamp(here)
            draft.emit(ControlSet(zone, control, Level(here, here, draft.now, 0.0, "configuration")))
    elif isinstance(record, Choice) and isinstance(spec, ChoiceSpec):
        on = record.pending or record.value
        if (on is None and not spec.allow_none) or (on is not None and not _has(draft.spec, zone, control, on)):
            orders.set_choice(draft, zone, control, spec.fallback, by="configuration")


def _has(spec: Spec, zone: str, control: str, option: str) -> bool:
    """Whether there still is such an option; where it travels, its source. Groups are looked at later."""
    at, bare = sources.origin(zone, option)
    own = spec.zones[zone].controls[control]
    if isinstance(own, ChoiceSpec) and option in sources.of_venue(spec, own):
        return True
    theirs = spec.zones[at].controls.get(control) if at in spec.zones else None
    travels = isinstance(own, ChoiceSpec) and own.sources and isinstance(theirs, ChoiceSpec) and theirs.sources
    return isinstance(theirs, ChoiceSpec) and bare in theirs.options and (at == zone or travels)


def _renewed(old: Spec, new: Spec) -> set[str]:
    """The zones whose leads and links are settled anew though their groups stay. Elsewhere links stay as they are."""
    if old.combining != new.combining:
        return set(new.zones)
    homes = {(c, s.home) for c, s in old.controllers.items()} ^ {(c, s.home) for c, s in new.controllers.items()}
    return {home for _, home in homes}


def _drop_what_no_longer_holds(draft: Draft, old: Spec, new: Spec) -> None:
    """Links out of reach and scenes saved over configured ones that have changed since."""
    for controller, spec in new.controllers.items():
        for zone in draft.linked.get(controller, ()) if spec.reach is not None else ():
            if zone not in (*(spec.reach or ()), spec.home):
                links.drop_reason(draft, controller, zone, "hand", "the zone is out of the controller's reach")
    for scene in list(draft.scenes.live()):
        if scene in new.scenes and old.scenes.get(scene) != new.scenes[scene]:
            draft.emit(SceneSaved(scene, None, ""))
            draft.emit(Noticed(f"scene {scene} changed in the configuration, which counts again"))


def recover(draft: Draft, command: Recover) -> dict[str, list[str]]:
    """The first entry after a stop: nothing is held any more, and sensed walls are unknown until they speak.

    Trajectories, gaps and waits go on as they were. Reports by people and over HTTP outlast a restart.
    """
    for hold in list(draft.holds.live()):
        orders.let_go(draft, hold, command.last, "the service stopped")
    motion.stop_all(draft, tuple(draft.spec.zones), "the service stopped")
    seeds: list[str] = []
    for name, spec in draft.spec.partitions.items():
        if not spec.sensed:
            continue
        wall = draft.walls[name]
        wall = replace(wall, report=None, due=None, sensed=None, contacts=(None, None))
        if wall.pinned_until is None:
            wall = walls.take(spec, wall, "unknown", "unknown", draft.now)
            wall = replace(wall, late=draft.now + RECOVERY_GRACE_S)
        joined = draft.walls[name].joins
        draft.emit(WallSet(name, wall))
        alarms.clear_alarm(draft, f"wall-late/{name}")
        if wall.joins != joined:
            seeds += spec.between
    combining.regroup(draft, seeds)
    return {"zones": []}
