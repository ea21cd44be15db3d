"""What people and programs see: plain data made from a state at a time. Levels are given as they are at that time."""

from __future__ import annotations

from typing import Any

from roomlink.core import (
    alarm_view,
    diary_view,
    discretion,
    evening_view,
    links,
    locking,
    locks,
    microphones,
    paging,
    scenes,
    sources,
    travel_view,
    wall_view,
)
from roomlink.core import commissioning as site
from roomlink.core.instants import rfc3339 as rfc3339
from roomlink.core.records import Choice, Level, Mask, Momentary, Motion, Switch
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec
from roomlink.core.state import State
from roomlink.core.wall_view import together
from roomlink.limits import LEVEL_EPSILON, VIEW_DECIMALS

Data = dict[str, Any]


def _number(value: float) -> float:
    return round(value, VIEW_DECIMALS)


def _moving(origin: float, to: float, start: float, seconds: float, curve: str) -> Data:
    return {
        "from": _number(origin),
        "to": _number(to),
        "start": rfc3339(start),
        "seconds": _number(seconds),
        "curve": curve,
    }


def control(state: State, zone: str, name: str, now: float) -> Data:
    """One control of one zone."""
    seen = _control(state, zone, name, now)
    if by := paging.ducked(state, zone, name):
        seen["ducked"] = by
    mask = state.masks.get((zone, name))
    return seen if mask is None else {**seen, **_masked(mask)}


def _masked(mask: Mask) -> Data:
    """What an override makes of a control: this is what its output is, so this is what is shown."""
    return {"value": mask.value, "moving": None, "overridden": mask.override}


def _control(state: State, zone: str, name: str, now: float) -> Data:
    record = state.controls[zone, name]
    if isinstance(record, Level):
        moves = record.arrival is not None and record.arrival > now
        moving = _moving(record.origin, record.to, record.start, record.seconds, record.curve) if moves else None
        return {"kind": "level", "value": _number(record.at(now)), "moving": moving, "by": record.by}
    if isinstance(record, Momentary):
        return {"kind": "momentary", "value": record.value, "by": record.by}
    if isinstance(record, Motion):
        return {"kind": "motion", "value": record.running, "pending": record.pending, "by": record.by}
    kind = "choice" if isinstance(record, Choice) else "switch"
    seen: Data = {"kind": kind, "value": record.value, "pending": record.pending, "by": record.by}
    spec = state.spec.zones[zone].controls[name]
    if isinstance(spec, ChoiceSpec) and spec.sources:
        seen["options"] = list(sources.offered(state, zone, name))
    return seen


def zone(state: State, name: str, now: float, *, may_see: bool = False) -> Data:
    """A zone as everybody sees it: without its controls while a private booking has it."""
    controls = () if discretion.veiled(state, name, may_see=may_see) else state.spec.zones[name].controls
    return {
        "zone": name,
        "group": list(state.group_of.get(name, (name,))),
        **zone_links(state, name, may_see=may_see),
        "controls": {c: control(state, name, c, now) for c in controls if microphones.here(state, name, c)},
    }


def zone_links(state: State, name: str, *, may_see: bool = False) -> Data:
    """A zone without its controls: what the plan of a panel needs. ``in_use`` is the booking that has it now.

    Nor has it its group: ``groups`` tells that once for all zones, where each telling it would cost their square.
    """
    veiled = discretion.veiled(state, name, may_see=may_see)
    # Said as unknown rather than left out: who was told before would keep what it was.
    present = {"present": None if veiled else name in state.presences}
    return {
        "linked_by": [] if veiled else list(state.linked_by.get(name, ())),
        "in_use": diary_view.in_use(state, name, may_see=may_see),
        **(present if name in state.spec.data.get("presence", ()) else {}),
    }


def face_control(state: State, controller: str, name: str, spec: ControlSpec, now: float) -> Data:
    """The feedback of one control of a controller."""
    seen = links.shown(state, controller, name, spec, now)
    value = _number(seen.value) if isinstance(seen.value, float) else seen.value
    face: Data = {
        "kind": spec.kind,
        "value": value,
        "decided": seen.decided,
        "mixed": seen.mixed,
        "outliers": list(seen.outliers),
    }
    if overridden := _overridden(state, controller, name, spec):
        face["overridden"] = overridden
    if state.pagings and isinstance(spec, LevelSpec):
        zones = links.reached(state, controller, name, spec)
        if by := max((paging.ducked(state, z, name) for z in zones), default=0.0):
            face["ducked"] = by
    if isinstance(spec, LevelSpec):
        face["moving"] = _face_moving(state, controller, name, spec, now)
    elif isinstance(spec, ChoiceSpec):
        face["pending"] = _pending(state, controller, name, spec)
        if spec.sources:
            face["options"] = _offered(state, controller, name, spec)
    elif spec.kind in ("switch", "motion"):
        face["pending"] = _pending(state, controller, name, spec)
    return face


def _overridden(state: State, controller: str, name: str, spec: ControlSpec) -> str | None:
    """The override that masks this control in a linked zone, if any does."""
    if not state.masks:
        return None
    masks = (state.masks.get((z, name)) for z in links.reached(state, controller, name, spec))
    return next((mask.override for mask in masks if mask is not None), None)


def _face_moving(state: State, controller: str, name: str, spec: LevelSpec, now: float) -> Data | None:
    """The move of the value shown; none where the zones' moves do not add up to one straight move of it."""
    zones = list(links.reached(state, controller, name, spec))
    if state.spec.controllers[controller].feedback == "last-linked":
        zones = zones[-1:]
    moving = [record for z in zones if (record := _on_its_way(state, z, name, now)) is not None]
    if not moving:
        return None
    one = len({(record.start, record.seconds) for record in moving}) == 1
    start = moving[0].start if one else now
    end = max(record.start + record.seconds for record in moving)
    times = (start, now, (start + end) / 2.0, end)
    shown = [links.shown(state, controller, name, spec, at).value for at in times]
    values = [value for value in shown if isinstance(value, float)]
    if len(values) < len(times):
        return None
    before, _, middle, after = values
    # A value that is shown at both ends may lie elsewhere between them, where zones pass each other.
    strays = abs(middle - (before + after) / 2.0) > spec.tolerance + LEVEL_EPSILON
    if strays or abs(after - before) <= LEVEL_EPSILON:
        return None
    return _moving(before, after, start, end - start, moving[0].curve if one else "linear")


def _on_its_way(state: State, zone: str, name: str, now: float) -> Level | None:
    """A level that moves, unless an override masks it: what is masked is shown still."""
    record = state.controls[zone, name]
    if not isinstance(record, Level) or record.arrival is None or record.arrival <= now:
        return None
    return None if (zone, name) in state.masks else record


def _pending(state: State, controller: str, name: str, spec: ControlSpec) -> Any:
    """What linked zones wait for in a gap or a minimum time, if they all wait for the same."""
    home = state.spec.controllers[controller].home
    waiting = set()
    for z in links.reached(state, controller, name, spec):
        record = state.controls[z, name]
        theirs = state.spec.zones[z].controls[name]
        if isinstance(record, Choice) and isinstance(theirs, ChoiceSpec) and record.pending is not None:
            waiting.add(sources.seen_from(state, home, z, record.pending, theirs))
        elif isinstance(record, Switch | Motion) and record.pending is not None:
            waiting.add(record.pending)  # type: ignore[arg-type]  # a set of one kind of value at a time
    return waiting.pop() if len(waiting) == 1 else None


def _offered(state: State, controller: str, name: str, spec: ChoiceSpec) -> list[str]:
    """The options that at least one linked zone offers now, named as at the controller's home."""
    home = state.spec.controllers[controller].home
    found: dict[str, None] = {}
    for z in links.reached(state, controller, name, spec):
        theirs = state.spec.zones[z].controls[name]
        assert isinstance(theirs, ChoiceSpec)
        for option in sources.offered(state, z, name):
            found[sources.seen_from(state, home, z, option, theirs) or ""] = None
    own = [o for o in spec.options if o in found]
    return own + [o for o in found if o not in spec.options]


def face_links(state: State, controller: str) -> list[Data]:
    found = []
    for z in state.linked.get(controller, ()):
        link = state.links[controller, z]
        by = next(r for r in links.REASONS if r in link.reasons)
        found.append(
            {
                "zone": z,
                "by": by,
                "reasons": list(link.reasons),
                "since": rfc3339(link.since),
                "pickup": list(link.pickup),
            }
        )
    return found


def face_role(state: State, controller: str) -> Data:
    role = state.roles.get(controller)
    locked: Data | None = None if role is None or role.locked is None else {"by": role.locked}
    if locked is None and (lock := locks.of_controller(state, controller)) is not None:
        locked = {"by": state.locks[lock].by, "lock": lock}
    return {"lead": role is not None and role.lead, "locked": locked}


def face(state: State, controller: str, now: float) -> Data:
    """What a controller shows: its links, its part in the group, and the feedback of each control."""
    controls = links.controls_of(state, controller)
    return {
        "controller": controller,
        "links": face_links(state, controller),
        **face_role(state, controller),
        "controls": {c: face_control(state, controller, c, spec, now) for c, spec in controls.items()},
        "alarms": alarm_view.on_panel(state, controller),
        **evening_view.on_panel(state, controller),
    }


def watched_face(state: State, controller: str, now: float, *, may_see: bool = False) -> Data:
    """A controller as everybody sees it."""
    if may_see or not discretion.veiled_controller(state, controller):
        return face(state, controller, now)
    nothing: Data = {"controls": {}, "alarms": [], "endings": [], "closings": []}
    role = face_role(state, controller)
    if "lock" in (role["locked"] or {}):
        role["locked"]["by"] = ""
    return {"controller": controller, "links": [], **role, **nothing}


def watched(state: State, seq: int, now: float) -> Data:
    """The view of a watcher: all state, with the groups told once."""
    data = whole(state, seq, now)
    for shown in data["zones"].values():
        del shown["group"]
    return data


def whole(state: State, seq: int, now: float, *, may_see: bool = False) -> Data:
    """All state: ``GET /state``. ``may_see``: for a reader who may see what is private."""
    return {
        "at": rfc3339(now),
        "seq": seq,
        "zones": {z: zone(state, z, now, may_see=may_see) for z in state.spec.zones},
        "controllers": {c: watched_face(state, c, now, may_see=may_see) for c in state.spec.controllers},
        "partitions": wall_view.partitions(state),
        **together(state),
        "overflows": travel_view.joins(state),
        "one_way": travel_view.one_ways(state),
        "microphones": travel_view.places(state),
        "overrides": overrides(state),
        "locks": locking.view(state, may_see=may_see),
        "alarms": alarm_view.alarms(state),
    }


def overrides(state: State) -> Data:
    """The overrides that stand."""
    found = {}
    for name in state.overrides.live():
        override, spec = state.overrides[name], state.spec.overrides.get(name)
        if spec is not None:
            found[name] = {
                "name": spec.name or name,
                "kind": spec.kind,
                "zones": None if spec.zones is None else list(spec.zones),
                "since": rfc3339(override.since),
                "why": override.why,
            }
    return found


def bindings(state: State) -> Data:
    """What drives which device, and for power and motion who armed it."""
    found = {}
    for binding in state.spec.bindings:
        arming = state.armed.get(binding.name)
        found[binding.name] = {
            "class": binding.cls,
            "device": binding.device,
            "control": f"{binding.zone}.{binding.control}",
            "armed": None if arming is None else {"who": arming.who, "at": rfc3339(arming.at), "note": arming.note},
        }
    return found


def commissioning(state: State) -> Data:
    """The commissioning items of the configuration as it is now, how many stand how, and what was found at each."""
    found = [_checked(state, item) for item in site.items(state.spec)]
    standings = [item["standing"] for item in found]
    summary = {standing: standings.count(standing) for standing in site.STANDINGS}
    return {"digest": state.digest, "summary": summary, "items": found}


def _checked(state: State, item: site.Item) -> Data:
    check = state.checks.get(item.id)
    record: Data | None = None
    if check is not None:
        names = ("result", "measured", "unit", "note", "who")
        record = {**{name: getattr(check, name) for name in names}, "at": rfc3339(check.at), "digest": check.digest}
    shown = {name: getattr(item, name) for name in ("kind", "of", "check", "title", "how", "unit", "digest")}
    return {"item": item.id, **shown, "standing": site.standing(state, item), "record": record}


def panel(state: State, controller: str, now: float) -> Data:
    """The whole view of one controller's panel: its face, and who is linked and joined where."""
    return {"controller": face(state, controller, now), **place(state)}


def place(state: State) -> Data:
    """What the panels of all controllers show alike; it changes with entries alone, never with time."""
    return {
        "zones": {z: zone_links(state, z) for z in state.spec.zones},
        "partitions": wall_view.partitions(state),
        **together(state),
        "one_way": travel_view.one_ways(state),
        "microphones": travel_view.places(state),
        "overrides": overrides(state),
        "locks": locking.view(state),
    }


def venue(state: State) -> Data:
    """What the place is, from the configuration: ``GET /venue``."""
    data = state.spec.data
    return {
        "venue": data["venue"],
        "digest": state.digest,
        "zones": {
            name: {
                "name": z["name"],
                "type": z["type"],
                "outline": z.get("outline"),
                "controls": {c: _control_spec(spec) for c, spec in z["controls"].items()},
            }
            for name, z in data["zones"].items()
        },
        "zone_types": {
            t: [name for name, z in data["zones"].items() if z["type"] == t]
            for t in dict.fromkeys(z["type"] for z in data["zones"].values())
        },
        "partitions": {
            name: {
                **{k: p.get(k) for k in ("name", "between", "line", "settle", "on_unknown", "simulated")},
                "combine": p.get("combine", "auto"),
            }
            for name, p in data["partitions"].items()
        },
        "controllers": {
            name: {k: c.get(k) for k in ("name", "home", "feedback", "on_link", "level_mode", "reach")}
            for name, c in data["controllers"].items()
        },
        "combining": data.get("combining"),
        **travel_view.configured(state),
        "arrangements": data.get("arrangements", {}),
        "scenes": scenes_of(state),
        "locks": {name: {"name": lock.name or name} for name, lock in state.spec.locks.items()},
    }


def _control_spec(spec: Data) -> Data:
    shown = {k: v for k, v in spec.items() if k not in ("lo", "hi")}
    return {**shown, "range": [spec["lo"], spec["hi"]]} if spec["kind"] == "level" else shown


def scenes_of(state: State) -> Data:
    found = {}
    for name in scenes.names(state):
        scene, etag = scenes.find(state, name)
        found[name] = {
            "name": scene.name or name.replace("-", " ").capitalize(),
            "type": scene.type,
            "zone": scene.zone,
            "zones": list(scenes.scope(state, scene)),
            "values": dict(scene.values) if scene.values else {z: dict(v) for z, v in scene.zones.items()},
            "etag": etag,
        }
    return found
