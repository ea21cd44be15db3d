"""Scenes: stored values recalled together, and saved by people over the configured ones."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from roomlink import limits
from roomlink.core import leading, locks, orders, sources
from roomlink.core.checks import checked, require, require_no_override, require_unlocked, seconds
from roomlink.core.commands import RecallScene, RemoveScene, SaveScene
from roomlink.core.events import Noticed, SceneSaved
from roomlink.core.groups import shares_group
from roomlink.core.spec import ChoiceSpec, ControlSpec, SceneSpec, Value
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue, Precondition, Refused, UnknownName

HAND = ("http", "panel", "station")
"""Ways in which a person or a program on their behalf acts: these an override refuses; what is planned goes on."""

Values = dict[str, dict[str, Value]]


def names(state: State) -> list[str]:
    """Configured scenes, then those that people added."""
    return [*state.spec.scenes, *(s for s in state.scenes.live() if s not in state.spec.scenes)]


def find(state: State, name: str) -> tuple[SceneSpec, str]:
    """A scene as it is now and its entity tag. Raises ``UnknownName``."""
    require("scene", name, names(state))
    stored = state.scenes.get(name)
    if stored is not None:
        return SceneSpec(**stored.content), stored.etag
    scene = state.spec.scenes[name]
    return scene, _etag(asdict(scene))


def _etag(content: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]


def scope(state: State, scene: SceneSpec) -> Values:
    """Zone to the values that a scene holds for it. A saved scene may name zones that are no longer configured."""
    if scene.zones:
        return {zone: dict(values) for zone, values in scene.zones.items() if zone in state.spec.zones}
    if scene.zone is not None:
        return {scene.zone: dict(scene.values)} if scene.zone in state.spec.zones else {}
    return {z: dict(scene.values) for z, spec in state.spec.zones.items() if spec.type == scene.type}


def recall(draft: Draft, command: RecallScene) -> dict[str, Any]:
    """Set every value of a scene where it is asked for. The reply's ``zones`` are those that change."""
    scene, _ = find(draft, command.scene)
    over = seconds("over", command.over, limits.OVER_S_MAX)
    values = scope(draft, scene)
    asked = _asked_for(draft, command)
    zones = [zone for zone in values if asked is None or zone in asked]
    if not zones:
        where = ", ".join(list(values)[:10]) or "no zone"
        text = f"scene {command.scene} is for {where}, and none of these is asked for here"
        raise Refused("nothing-linked", text, scene=command.scene, allowed=list(values)[:100])
    if command.by.via in HAND:
        require_no_override(draft, zones)
    home = draft.spec.controllers[command.controller].home if command.controller else None
    kept = _kept(draft, command, zones, values)
    for zone in zones:
        for control, value in values[zone].items():
            if control in kept.get(zone, ()):
                continue
            spec = draft.spec.zones[zone].controls.get(control)
            if spec is None or not orders.fits(spec, value):
                continue
            if isinstance(spec, ChoiceSpec) and isinstance(value, str):
                value = sources.for_zone(draft, _standpoint(draft, home, zone), zone, value, spec)
                if value not in sources.offered(draft, zone, control):
                    continue
            orders.set_value(draft, zone, control, value, over=over, by=f"scene {command.scene}")
    return {"zones": zones, **({"locked": kept} if kept else {})}


def _kept(draft: Draft, command: RecallScene, zones: list[str], values: Values) -> dict[str, list[str]]:
    """Zone to the controls that a lock keeps as they are. Where a hand would set nothing else, it is refused; of what
    is planned it is noted.
    """
    kept: dict[str, list[str]] = {}
    names: dict[str, None] = {}
    for zone in zones:
        for control in values[zone]:
            name = locks.covering(draft, zone, control)
            if name is None and command.controller is not None:
                name = locks.of_controller(draft, command.controller, control)
            if name is not None:
                kept.setdefault(zone, []).append(control)
                names[name] = None
    if kept and command.by.via not in HAND:
        what = ", ".join(f"{control} in {zone}" for zone, controls in kept.items() for control in controls)
        draft.emit(Noticed(f"{command.by.who}: scene {command.scene} leaves {what}: locked by {', '.join(names)}"))
    elif kept and all(set(values[zone]) <= set(kept.get(zone, ())) for zone in zones):
        raise locks.refusal(draft, next(iter(names)), f"all that scene {command.scene} would set", scene=command.scene)
    return kept


def _standpoint(draft: Draft, home: str | None, zone: str) -> str:
    """From where a scene's sources are named: in a group all zones show the same, the lead's."""
    if home is not None and shares_group(draft, home, zone):
        return home
    lead = leading.lead_of(draft, draft.group_of.get(zone, (zone,)))
    return zone if lead is None else draft.spec.controllers[lead].home


def _asked_for(draft: Draft, command: RecallScene) -> set[str] | None:
    if command.controller is not None:
        require("controller", command.controller, draft.spec.controllers)
        require_unlocked(draft, command.controller)
        return set(draft.linked.get(command.controller, ()))
    if command.group is not None:
        require("zone", command.group, draft.spec.zones)
        return set(draft.group_of.get(command.group, (command.group,)))
    if command.zones is not None:
        for zone in command.zones:
            require("zone", zone, draft.spec.zones)
        return set(command.zones)
    return None


def save(draft: Draft, command: SaveScene) -> dict[str, Any]:
    """Save a scene, given or captured. The reply holds its new ``etag``."""
    exists = command.scene in names(draft)
    _check_condition(draft, command, exists)
    old = find(draft, command.scene)[0] if exists else SceneSpec()
    content = _captured(draft, old, command.capture) if command.capture else _given(draft, old, command.content or {})
    etag = _etag(content)
    if not exists or find(draft, command.scene)[1] != etag:
        draft.emit(SceneSaved(command.scene, content, etag))
    return {"zones": list(scope(draft, SceneSpec(**content))), "etag": etag}


def remove(draft: Draft, command: RemoveScene) -> dict[str, Any]:
    """Remove a saved scene. The reply's ``zones`` are those of the configured one that counts again, if there is one.

    Raises ``UnknownName`` where none is saved: what is configured is changed in the configuration alone.
    """
    if command.scene not in draft.scenes:
        raise UnknownName("saved scene", command.scene, list(draft.scenes.live()))
    _check_tag(draft, command.scene, command.if_match)
    draft.emit(SceneSaved(command.scene, None, ""))
    configured = draft.spec.scenes.get(command.scene)
    return {"zones": [] if configured is None else list(scope(draft, configured))}


def _check_condition(draft: Draft, command: SaveScene, exists: bool) -> None:
    if command.only_new:
        if exists:
            raise Precondition(
                "exists", f"scene {command.scene} exists already; send If-Match to replace it", status=412
            )
        return
    if not exists:
        if command.if_match is not None:
            raise Precondition("changed", f"there is no scene {command.scene} to replace", status=412)
        return
    _check_tag(draft, command.scene, command.if_match)


def _check_tag(draft: Draft, scene: str, if_match: tuple[str, ...] | None) -> None:
    if if_match is None:
        text = f"scene {scene} exists: GET it and send its ETag in If-Match, so that nobody's change is lost"
        raise Precondition("needs-if-match", text, status=428)
    etag = find(draft, scene)[1]
    if "*" not in if_match and etag not in if_match:
        text = f"scene {scene} was changed meanwhile; GET it again and send its new ETag in If-Match"
        raise Precondition("changed", text, status=412, etag=etag)


def _captured(draft: Draft, old: SceneSpec, zones: tuple[str, ...]) -> dict[str, Any]:
    """What the zones have now, for the controls that the scene holds already, or for all that can be set."""
    found: Values = {}
    for zone in zones:
        require("zone", zone, draft.spec.zones)
        held = old.zones.get(zone) or old.values
        found[zone] = {
            control: orders.wanted_now(draft, zone, control)
            for control, spec in draft.spec.zones[zone].controls.items()
            if spec.kind not in ("momentary", "motion") and (not held or control in held)
        }
    if len(zones) == 1 and (old.type == draft.spec.zones[zones[0]].type or old.zone == zones[0]):
        return asdict(SceneSpec(old.name, old.type, old.zone, found[zones[0]]))
    return asdict(SceneSpec(old.name, zones=found))


def _given(draft: Draft, old: SceneSpec, content: Mapping[str, Any]) -> dict[str, Any]:
    """A scene as a person gives it: its scope is kept where none is given."""
    if content.get("zones"):
        scene = SceneSpec(content.get("name") or old.name, zones=content["zones"])
    else:
        type_, zone = content.get("type"), content.get("zone")
        if type_ is None and zone is None:
            type_, zone = old.type, old.zone
        scene = SceneSpec(content.get("name") or old.name, type_, zone, content.get("values") or {})
        if type_ is None and zone is None:
            raise BadValue(
                "type", "a scene is for a `type` of zone, for one `zone`, or holds values for each of `zones`"
            )
    if scene.zone is not None:
        require("zone", scene.zone, draft.spec.zones)
    if scene.type is not None:
        require("type", scene.type, {spec.type for spec in draft.spec.zones.values()})
    zones: Values = {}
    for zone, values in scope(draft, scene).items():
        require("zone", zone, draft.spec.zones)
        controls = draft.spec.zones[zone].controls
        for control, value in values.items():
            require("control", control, controls)
            zones.setdefault(zone, {})[control] = _checked(draft, control, controls[control], value)
    if not zones:
        raise BadValue("values", "a scene holds at least one value")
    first = next(iter(zones.values()))
    return asdict(
        SceneSpec(scene.name, zones=zones) if scene.zones else SceneSpec(scene.name, scene.type, scene.zone, first)
    )


def _checked(draft: Draft, control: str, spec: ControlSpec, value: Value) -> Value:
    """A scene holds a zone's own options and the venue's: those are there whatever the walls."""
    options = (*spec.options, *sources.of_venue(draft.spec, spec)) if isinstance(spec, ChoiceSpec) else None
    return checked(control, spec, value, options)
