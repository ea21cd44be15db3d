"""From a venue's configuration to what hangs on each device: outputs, inputs, and the points that they use."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import BaseModel

from roomlink.core.commands import (
    Actor,
    Command,
    ReportOverride,
    ReportPaging,
    ReportPassDoor,
    ReportPresence,
    ReportWall,
)
from roomlink.core.spec import ChoiceSpec, LevelSpec, Spec
from roomlink.core.treating import is_mute, is_sound
from roomlink.drivers.mapping import Scaling
from roomlink.drivers.port import Device, Driver, Value
from roomlink.drivers.registry import Registry

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Binding:
    """A control that drives a device: ``points`` holds one point, or one for each direction of a motion."""

    name: str
    zone: str
    control: str
    device: str
    points: Mapping[str, str]
    scaling: Scaling
    cls: str
    follow: bool
    min_on: float
    min_off: float
    supply: str | None
    last_on: bool
    cool: float
    restore: bool
    from_low: bool
    digest: str
    hushes: bool = False
    """A mute beside levels that come up from low: it is on until they have."""


@dataclass(frozen=True, slots=True)
class Input:
    """A point that is read; ``command`` makes of its value what the core is told, or None for what means nothing."""

    what: str
    """``wall/NAME/closed``, ``wall/NAME/stacked``, ``wall/NAME``, ``override/NAME``, or of ``_CONTACTS``"""
    command: Callable[[Value], Command | None]
    lost: Callable[[str], Command]
    """What the core is told when the device is lost; takes the reason."""


@dataclass(frozen=True, slots=True)
class SoundOutput:
    """A point that takes a gain of the sound plan in dB, or a delay in ms where there is no ``microphone``."""

    device: str
    point: str
    microphone: str | None
    loudspeakers: str
    off: float


@dataclass(frozen=True, slots=True)
class StationPart:
    """A key, a knob or a lamp of a station, at a point; ``raw`` is what the configuration says of it."""

    station: str
    controller: str
    kind: str
    name: str
    point: str
    debounce: float
    raw: Data


@dataclass(slots=True)
class Wired:
    """One device with all that hangs on it."""

    name: str
    driver: Driver
    config: BaseModel
    raw: Data
    points: dict[str, BaseModel] = field(default_factory=dict)
    bindings: list[Binding] = field(default_factory=list)
    inputs: dict[str, list[Input]] = field(default_factory=dict)
    """By the point's name."""
    stations: dict[str, list[StationPart]] = field(default_factory=dict)
    """Keys, knobs and lamps by the point's name."""
    sound: list[SoundOutput] = field(default_factory=list)
    alarms: str | None = None
    """The point that takes all alarms as one document."""

    @property
    def read(self) -> dict[str, list[str]]:
        """What is read at which point."""
        found = {point: [one.what for one in there] for point, there in self.inputs.items()}
        for point, parts in self.stations.items():
            for part in parts:
                if part.kind != "lamp":
                    found.setdefault(point, []).append(f"station/{part.station}/{part.name}")
        return found

    def make(self, registry: Registry) -> Device:
        return registry.make_device(self.driver, self.config, self.points.values())

    @property
    def key(self) -> str:
        """Changes when the device itself has to be made anew."""
        return repr((self.raw, sorted((name, repr(point)) for name, point in self.points.items())))


def wire(spec: Spec, registry: Registry) -> dict[str, Wired]:
    """All devices of a venue. The configuration was proved sound with the same registry."""
    data = spec.data
    devices: dict[str, Wired] = {}
    for name, raw in data.get("devices", {}).items():
        driver, config = registry.parse_device(name, raw)
        devices[name] = Wired(name, driver, config, raw)

    def point(device: str, raw: Data) -> str:
        wired = devices[device]
        parsed = registry.parse_point(wired.driver, raw)
        name = wired.driver.point_name(wired.config, parsed)
        wired.points[name] = parsed
        return name

    for raw in data.get("bindings", ()):
        binding = _binding(spec, raw, devices[raw["device"]].driver, point)
        devices[binding.device].bindings.append(binding)
    for wired in devices.values():
        wired.bindings = _in_order(spec, wired.bindings)
    for raw in data.get("sound_outputs", ()):
        at = point(raw["device"], raw["point"])
        found = SoundOutput(raw["device"], at, raw["microphone"], raw["loudspeakers"], raw["off"])
        devices[raw["device"]].sound.append(found)
    if topic := data.get("alarms", {}).get("mqtt"):
        devices[topic["device"]].alarms = point(topic["device"], topic["point"])
    for name, partition in data["partitions"].items():
        for device, at, read in _wall_inputs(name, partition, point):
            devices[device].inputs.setdefault(at, []).append(read)
    for device, at, read in _contacts(data, point):
        devices[device].inputs.setdefault(at, []).append(read)
    for name, override in data.get("overrides", {}).items():
        source = override["input"]
        if source["device"] not in devices:
            continue  # a lost input: ``unwired`` tells
        at = point(source["device"], source["point"])
        devices[source["device"]].inputs.setdefault(at, []).append(_override_input(name, source))
    for name, station in data.get("stations", {}).items():
        for kind in ("key", "knob", "lamp"):
            for one, raw in station[f"{kind}s"].items():
                at = point(raw["device"], raw["point"])
                part = StationPart(name, station["controller"], kind, one, at, station["debounce"], raw)
                devices[raw["device"]].stations.setdefault(at, []).append(part)
    return devices


_Told = Callable[[Actor, str, bool | None], Command]
_CONTACTS: dict[str, tuple[Callable[[Data, str], Any], _Told]] = {
    "pass-door": (
        lambda data, name: data["partitions"][name].get("pass_door"),
        lambda by, name, made: ReportPassDoor(by, name, None if made is None else not made),
    ),
    "presence": (
        lambda data, name: data["presence"][name],
        lambda by, name, made: ReportPresence(by, name, bool(made)),
    ),
    "paging": (
        lambda data, name: data["paging"][name]["input"],
        lambda by, name, made: ReportPaging(by, name, bool(made), "its input is lost" if made is None else ""),
    ),
}
"""Contacts that no wall's position and no override hangs on: where each is read, and what the core is told (made,
not made, or None where it is lost)."""
_SECTIONS = {"pass-door": "partitions", "presence": "presence", "paging": "paging"}


def _contacts(data: Data, point: Callable[[str, Data], str]) -> Iterator[tuple[str, str, Input]]:
    for kind, (of, told) in _CONTACTS.items():
        for name in data.get(_SECTIONS[kind], {}):
            source = of(data, name)
            if source is not None:
                at = point(source["device"], source["point"])
                yield source["device"], at, _plain_input(f"{kind}/{name}", name, source, told)


def _plain_input(what: str, name: str, source: Data, told: _Told) -> Input:
    by = Actor(source["device"], "device")
    return Input(
        what,
        lambda value: told(by, name, bool(value == source.get("made", True))),
        lambda why: told(by, name, None),
    )


def unwired(spec: Spec) -> list[ReportOverride]:
    """What to tell the core of overrides whose input no device has: they stand."""
    devices = spec.data.get("devices", {})
    sources = {name: override["input"]["device"] for name, override in spec.data.get("overrides", {}).items()}
    return [
        ReportOverride(Actor(device, "device"), name, True, f"{device} is not configured", lost=True)
        for name, device in sources.items()
        if device not in devices
    ]


def _binding(spec: Spec, raw: Data, driver: Driver, point: Callable[[str, Data], str]) -> Binding:
    zone, _, control = raw["control"].partition(".")
    level = spec.zones[zone].controls[control]
    onto = raw.get("onto") or driver.native
    scaling = Scaling(curve=raw.get("curve", "linear"), table=raw.get("values") or {})
    if isinstance(level, LevelSpec):
        scaling = Scaling(level.lo, level.hi, None if onto is None else (onto[0], onto[1]), scaling.curve)
    if raw.get("class") == "motion":
        points = {direction: point(raw["device"], raw[direction]) for direction in ("open", "close")}
    else:
        points = {"": point(raw["device"], raw["point"])}
    return Binding(
        name=raw["name"],
        zone=zone,
        control=control,
        device=raw["device"],
        points=points,
        scaling=scaling,
        cls=raw.get("class", "signal"),
        follow=bool(raw.get("follow", raw.get("class", "signal") == "signal")),
        min_on=raw.get("min_on") or 0.0,
        min_off=raw.get("min_off") or 0.0,
        supply=raw.get("supply"),
        last_on=raw.get("order") == "last-on",
        cool=raw.get("cool") or 0.0,
        restore=bool(raw.get("restore", False)),
        from_low=raw.get("on_return") == "from-low",
        digest=raw.get("digest", ""),
    )


def _in_order(spec: Spec, bindings: list[Binding]) -> list[Binding]:
    """Bindings of one device as they are driven when it is back: mutes, routes, levels of sound, all else."""
    comes_up = any(binding.from_low for binding in bindings)

    def rank(binding: Binding) -> int:
        control = spec.zones[binding.zone].controls[binding.control]
        if is_mute(control, binding.control):
            return 0
        if isinstance(control, ChoiceSpec):
            return 1 if "sound" in control.carries else 3
        return 2 if is_sound(control) else 3

    return [replace(b, hushes=comes_up and rank(b) == 0 and b.cls == "signal") for b in sorted(bindings, key=rank)]


def _wall_inputs(name: str, partition: Data, point: Callable[[str, Data], str]) -> list[tuple[str, str, Input]]:
    found = []
    contacts = partition.get("contacts")
    for place, end in enumerate(("closed", "stacked")):
        source = contacts.get(end) if isinstance(contacts, Mapping) else None
        if source is not None:
            at = point(source["device"], source["point"])
            found.append((source["device"], at, _contact_input(name, end, place, source)))
    if source := partition.get("report"):
        at = point(source["device"], source["point"])
        found.append((source["device"], at, _report_input(name, source)))
    return found


def _lost_wall(name: str, device: str) -> Callable[[str], Command]:
    return lambda why: ReportWall(Actor(device, "device"), name, position="unknown")


def _contact_input(name: str, end: str, place: int, source: Data) -> Input:
    made = source.get("made", True)

    def command(value: Value) -> Command:
        state = bool(value == made)
        contacts = (state, None) if place == 0 else (None, state)
        return ReportWall(Actor(source["device"], "device"), name, contacts=contacts)

    def lost(why: str) -> Command:
        return ReportWall(Actor(source["device"], "device"), name, lost=(end,))

    return Input(f"wall/{name}/{end}", command, lost)


def _report_input(name: str, source: Data) -> Input:
    meanings = {value: position for position, value in source["values"].items()}

    def command(value: Value) -> Command | None:
        position = meanings.get(value)
        return None if position is None else ReportWall(Actor(source["device"], "device"), name, position=position)

    return Input(f"wall/{name}", command, _lost_wall(name, source["device"]))


def _override_input(name: str, source: Data) -> Input:
    """Fail-safe: by default an open circuit means active, and so does everything that is not a plain closed."""
    by = Actor(source["device"], "device")
    active_open = source.get("active", "open") == "open"

    def command(value: Value) -> Command:
        closed = value is True or value == 1
        is_open = value is False or value == 0
        active = not closed if active_open else not is_open
        return ReportOverride(
            by, name, active, f"its contact on {source['device']} is {'closed' if closed else 'open'}"
        )

    def lost(why: str) -> Command:
        return ReportOverride(by, name, True, f"its input is lost: {why}", lost=True)

    return Input(f"override/{name}", command, lost)
