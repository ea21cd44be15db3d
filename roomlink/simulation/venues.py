"""Random venues, and what may become of one's configuration, as resolved data. Everything comes from the given dice."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from hashlib import sha256
from itertools import pairwise
from random import Random
from typing import Any

from roomlink.testing import venues

Data = dict[str, Any]
Change = Callable[[Data, Random], None]

VARIANTS = 4
DESK = {
    "name": "Desk", "ducks": ["volume"], "by": 12.0, "most": 20.0, "zones": None,
    "control": "a.talkback", "input": None,
}  # fmt: skip
"""Configurations of one venue that reloads go back and forth between."""
SCENES: Data = {
    "dinner": {"name": "Dinner", "type": "section", "values": {"volume": -38.0, "program": "laptop"}},
    "dark": {"name": "Dark", "type": "section", "values": {"house": 0.0, "mute": True}},
    "doors": {"name": "Doors open", "zone": "a", "values": {"volume": -45.0, "mute": False}},
}


def digest_of(data: Any) -> str:
    return sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()


def random_venue(dice: Random) -> Data:
    """Two to eight zones, some of a type that lacks or adds a control, with walls, panels, devices and overrides."""
    zones = venues.names(dice.randint(2, 8))
    walls = list(pairwise(zones))
    if len(zones) > 2 and dice.random() < 0.5:
        walls.append((zones[0], zones[-1]))
    walls += [pair for pair in zip(zones, zones[3:], strict=False) if dice.random() < 0.2]
    controls = _controls(dice)
    bare = {name: spec for name, spec in controls.items() if name not in ("talkback", "screen")}
    data = venues.venue(
        zones,
        walls,
        controls=controls,
        zone_controls={zones[-1]: {**bare, "haze": venues.level(unit="%", lo=0.0, hi=100.0, start=0.0)}},
        controllers=_panels(zones, dice),
        wall={
            "settle": dice.choice([0.0, 1.0, 2.0]),
            "on_unknown": dice.choice(["hold", "closed"]),
            "move_limit": 60.0,
        },
        combining=_combining(zones, dice),
        scenes=deepcopy(SCENES),
        occupancy=[{"zones": [zone], "posted": 100} for zone in zones] + [{"zones": zones[:2], "posted": 230}],
        bookings={"set_up": 300.0, "clear_down": 300.0, "infeasible": "flag", "warn": 60.0, "extend": [60.0, 900.0]},
        paging={"desk": DESK},
        routines={
            "night": {
                "scene": "dark",
                "cron": {"hour": "23"},
                "when_busy": dice.choice(["skip", "defer"]),
                "unless_used": dice.choice([0.0, 120.0]),
                "warn": 30.0,
            }
        },
        crews={},
    )
    _travelling(data, zones, dice)
    for wall in data["partitions"].values():
        wall["combine"] = dice.choice(["auto", "auto", "ask", "hand"])
    stated = {name: dice.choice(["open", "open", "closed"]) for name in data["partitions"]}
    data["arrangements"] = {"banquet": {"walls": stated, "pin": 900.0}}
    data["zones"][zones[0]]["idle"] = dice.choice([None, "dark", "doors"])
    _wire(data, dice)
    return data


def _controls(dice: Random) -> Data:
    gap, shared = dice.choice([0.0, 0.5, 2.0]), dice.random() < 0.5
    return {
        "program": venues.choice("lectern", "laptop", "camera", gap=gap, sources=shared),
        "display": venues.choice("on-air", "signage", allow_none=False, start="signage", fallback="signage", gap=0.3),
        "volume": venues.level(tolerance=dice.choice([0.0, 0.5]), ceiling=dice.choice([None, -6.0]), section="sound"),
        "house": venues.level(unit="%", lo=0.0, hi=100.0, start=70.0, scope="local", section="light", travel=4.0),
        "mute": venues.switch(start=True, section="sound"),
        "lamp": venues.switch(min_on=dice.choice([0.0, 3.0]), min_off=dice.choice([0.0, 5.0])),
        "talkback": venues.momentary(),
        "screen": venues.motion(travel=4.0, max_run=6.0, hold=dice.random() < 0.8),
    }


def _travelling(data: Data, zones: Sequence[str], dice: Random) -> None:
    """Sources of the venue, a named overflow, a microphone with a cable, and one that goes from zone to zone."""
    data["venue_sources"] = {
        "music": {"name": "Music", "carries": ["sound"]},
        "roof": {"name": "Roof camera", "carries": dice.choice([["picture"], ["sound", "picture"]])},
    }
    carries = dice.choice([["sound"], ["picture"], ["sound", "picture"]])
    data["overflows"] = {"balcony": {"name": "Balcony", "from": zones[0], "to": zones[-1], "carries": carries}}
    data["microphones"], data["loudspeakers"] = {}, {}
    places = {"lectern": [zones[0]], "handheld": list(zones)}
    for name, there in places.items():
        controls = {f"{name}-level": venues.level(section="sound"), f"{name}-mute": venues.switch(start=True)}
        for zone in there:
            data["zones"][zone]["controls"] = {**data["zones"][zone]["controls"], **controls}
        members = {"level": f"{name}-level", "mute": f"{name}-mute", "zones": there, "radio": name == "handheld"}
        data["microphones"][name] = {"name": name.capitalize(), "zone": zones[0], "at": [0.0, 0.0], **members}


def _panels(zones: Sequence[str], dice: Random) -> Data:
    found: Data = {
        f"{zone}-panel": {
            "home": zone,
            "feedback": dice.choice(["mismatch-flag", "majority", "last-linked"]),
            "on_link": dice.choice(["keep", "carry", "pickup"]),
            "level_mode": dice.choice(["same", "offset"]),
            "hand_links_on_close": dice.choice(["end", "end", "keep"]),
        }
        for zone in zones
    }
    found["rover"] = {"home": zones[0], "feedback": "majority", "reach": list(zones[: max(2, len(zones) // 2)])}
    return found


def _combining(zones: Sequence[str], dice: Random) -> Data | None:
    if dice.random() < 0.1:
        return None
    order = [f"{zone}-panel" for zone in zones]
    dice.shuffle(order)
    rules = ["lead", "keep", "quietest", "loudest", "mean", -40.0]
    return {
        "lead_order": order[: dice.randint(1, len(order))],
        "others": dice.choice(["own", "mirror", "lock"]),
        "blend": dice.choice([0.0, 1.0, 3.0]),
        "restore_for": dice.choice([0.0, 60.0, 3600.0]),
        "on_combine": {"volume": dice.choice(rules), "program": dice.choice(["lead", "keep"]), "mute": "lead"},
        "on_separate": {"volume": dice.choice(["restore", "keep"]), "program": dice.choice(["restore", "keep", None])},
    }


def _wire(data: Data, dice: Random) -> None:
    """Put every zone on devices: signals on a rack a zone, loads and motion on relays, walls on contacts."""
    data["devices"] = {name: {"driver": "simulated", "rate": 20} for name in ("relays", "sensors", "fire-panel")}
    data["supplies"] = {"mains": {"name": "Mains", "stagger": 0.5}}
    data["bindings"] = []
    for zone, content in data["zones"].items():
        rack = f"rack-{zone}"
        data["devices"][rack] = {"driver": "simulated", "rate": 20}
        for control in content["controls"]:
            _bind(data, zone, control, rack, dice)
    for name, wall in data["partitions"].items():
        if dice.random() < 0.4:
            ends = ("closed", "stacked") if dice.random() < 0.5 else ("closed",)
            wall["contacts"] = {end: {"device": "sensors", "point": {"name": f"{name} {end}"}} for end in ends}
            wall["sensed"] = True
    mutes = {microphone["mute"]: True for microphone in data["microphones"].values()}
    data["stations"] = {"keypad": _station(next(iter(data["controllers"])), dice)}
    data["overrides"] = {
        "fire": _override("life-safety", {"mute": True, "house": 100.0, **mutes}, None),
        "rigging": _override("lockout", {"house": 100.0}, list(data["zones"])[:1]),
    }


def _station(controller: str, dice: Random) -> Data:
    """Keys and a lamp at the sensors: what is held there is held by no client, so that nothing is."""
    does = {"quiet": ("toggle", "mute", None, None), "softer": ("step", "volume", -3.0, None),
            "evening": (None, None, None, dice.choice([*SCENES]))}  # fmt: skip
    keys = {
        name: {"do": do, "control": control, "value": value, "scene": scene, "pressed": True, "each": False,
               "device": "sensors", "point": {"name": f"{name} key"}}
        for name, (do, control, value, scene) in does.items()
    }  # fmt: skip
    shows = {"control": "mute", "shows": "is", "is": True, "on": "lit", "off": "dark", "mixed": "blink"}
    lamp = {**shows, "device": "sensors", "point": {"name": "quiet lamp"}}
    parts = {"keys": keys, "knobs": {}, "lamps": {"quiet": lamp}}
    return {"name": "Keypad", "controller": controller, "debounce": 0.03, **parts}


def _override(kind: str, values: Data, zones: list[str] | None) -> Data:
    contact = {"name": kind, "start": True}
    point = {"device": "fire-panel", "point": contact, "active": "open"}
    return {"kind": kind, "input": point, "values": values, "zones": zones, "blend": 1.0}


def _bind(data: Data, zone: str, control: str, rack: str, dice: Random) -> None:
    name = f"{zone}.{control}"
    binding: Data = {"name": name, "control": name, "device": rack, "point": {"name": control}}
    if control == "screen":
        directions = {way: {"name": f"{zone} screen {way}"} for way in ("open", "close")}
        binding = {"name": name, "control": name, "device": "relays", "class": "motion", **directions}
    elif control == "lamp":
        binding |= {"device": "relays", "point": {"name": f"{zone} lamp"}, "class": "power", "supply": "mains"}
        binding |= {"min_on": 2.0, "min_off": 4.0, "restore": dice.random() < 0.5}
    elif control == "house":
        binding |= {"onto": [0.0, 1.0], "curve": "square", "on_return": "from-low"}
    elif control in ("talkback", "haze"):
        return
    elif dice.random() < 0.5:
        binding["follow"] = False
    binding["digest"] = digest_of(binding)
    data["bindings"].append(binding)


def variants(data: Mapping[str, Any], dice: Random) -> list[Data]:
    """``data`` itself, and what an integrator may make of it: things gone, changed, of another kind."""
    found = [dict(data)]
    while len(found) < VARIANTS:
        other = deepcopy(dict(data))
        for change in dice.sample(CHANGES, dice.randint(1, 2)):
            change(other, dice)
        found.append(other)
    return found


def _without_zone(data: Data, dice: Random) -> None:
    if len(data["zones"]) < 3:
        return
    zone = list(data["zones"])[-1]
    del data["zones"][zone]
    for name, wall in list(data["partitions"].items()):
        if zone in wall["between"]:
            _drop_wall(data, name)
    for name, controller in list(data["controllers"].items()):
        if controller["home"] == zone:
            _drop_controller(data, name)
        elif controller.get("reach") is not None:
            controller["reach"] = [z for z in controller["reach"] if z != zone]
    _drop_bindings(data, lambda at, control: at == zone)
    data["occupancy"] = [one for one in data.get("occupancy", ()) if zone not in one["zones"]]
    for override in data["overrides"].values():
        if override.get("zones"):
            override["zones"] = [z for z in override["zones"] if z != zone] or None
    _drop_scenes(data, lambda scene: scene.get("zone") == zone or zone in (scene.get("zones") or {}))
    data.update({key: none for key, none in (("sound_outputs", []), ("loudspeakers", {})) if data.get(key)})
    for microphone in data["microphones"].values():
        microphone["zones"] = [z for z in microphone.get("zones", ()) if z != zone]
    _drop_microphones(data, lambda microphone: microphone["zone"] == zone)
    flows = data["overflows"].items()
    data["overflows"] = {name: flow for name, flow in flows if zone not in (flow["from"], flow["to"])}


def _without_wall(data: Data, dice: Random) -> None:
    if data["partitions"]:
        _drop_wall(data, dice.choice(list(data["partitions"])))


def _drop_wall(data: Data, name: str) -> None:
    del data["partitions"][name]
    for arrangement in data["arrangements"].values():
        arrangement["walls"].pop(name, None)


def _without_controller(data: Data, dice: Random) -> None:
    if len(data["controllers"]) > 1:
        _drop_controller(data, dice.choice(list(data["controllers"])))


def _without_control(data: Data, dice: Random) -> None:
    control = _shared_control(data, dice)
    for zone in data["zones"].values():
        zone["controls"].pop(control, None)
    _forget_control(data, control)


def _another_kind(data: Data, dice: Random) -> None:
    control = _shared_control(data, dice)
    for zone in data["zones"].values():
        if control in zone["controls"]:
            was = zone["controls"][control]["kind"]
            zone["controls"][control] = venues.momentary() if was == "switch" else venues.switch(start=True)
    _forget_control(data, control)


def _new_control(data: Data, dice: Random) -> None:
    for zone in data["zones"].values():
        zone["controls"]["balcony"] = venues.level(unit="%", lo=0.0, hi=100.0, start=20.0)


def _other_times(data: Data, dice: Random) -> None:
    for wall in data["partitions"].values():
        wall["settle"] = dice.choice([0.0, 0.5, 4.0])
    for zone in data["zones"].values():
        for control in zone["controls"].values():
            if control["kind"] == "choice":
                control["gap"] = dice.choice([0.0, 1.0])


def _other_combining(data: Data, dice: Random) -> None:
    if data["combining"] is not None:
        data["combining"]["others"] = dice.choice(["own", "mirror", "lock"])
        dice.shuffle(data["combining"]["lead_order"])


def _checked_anew(data: Data, dice: Random) -> None:
    """Every binding is changed in a way that takes away its commissioning record."""
    for binding in data["bindings"]:
        binding["digest"] = digest_of([binding, dice.random()])


CHANGES: tuple[Change, ...] = (
    _without_zone, _without_wall, _without_controller, _without_control, _another_kind, _new_control, _other_times,
    _other_combining, _checked_anew,
)  # fmt: skip


def _shared_control(data: Data, dice: Random) -> str:
    known: set[str] = {control for zone in data["zones"].values() for control in zone["controls"]}
    return dice.choice(sorted(known))


def _forget_control(data: Data, control: str) -> None:
    """Nothing names a control that is not what it was."""
    _drop_bindings(data, lambda zone, name: name == control)
    for override in data["overrides"].values():
        override["values"].pop(control, None)
    for rules in ("on_combine", "on_separate"):
        (data["combining"] or {}).get(rules, {}).pop(control, None)
    _drop_scenes(data, lambda scene: control in json.dumps(scene))
    _drop_microphones(data, lambda microphone: control in (microphone.get("level"), microphone.get("mute")))


def _drop_microphones(data: Data, goes: Callable[[Data], bool]) -> None:
    """With the controls that they have left, which would mean nothing without them."""
    for name, microphone in list(data["microphones"].items()):
        if goes(microphone):
            del data["microphones"][name]


def _drop_bindings(data: Data, goes: Callable[[str, str], bool]) -> None:
    data["bindings"] = [one for one in data["bindings"] if not goes(*one["control"].split(".", 1))]


def _drop_scenes(data: Data, goes: Callable[[Data], bool]) -> None:
    data["scenes"] = {name: scene for name, scene in data["scenes"].items() if not goes(scene)}
    routines = data.get("routines", {})
    data["routines"] = {name: one for name, one in routines.items() if one["scene"] in data["scenes"]}


def _drop_controller(data: Data, name: str) -> None:
    del data["controllers"][name]
    data["stations"] = {n: one for n, one in data.get("stations", {}).items() if one["controller"] != name}
    if data["combining"] is not None:
        data["combining"]["lead_order"] = [one for one in data["combining"]["lead_order"] if one != name]
