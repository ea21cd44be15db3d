"""The sections ``stations`` and ``locks``, resolved and proved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.limits import STATION_DEBOUNCE_S_MAX
from roomlink.venue import models
from roomlink.venue.base import Fault
from roomlink.venue.controls import AnyControl, Choice, Level, Momentary, Switch, capitalised
from roomlink.venue.fields import plain
from roomlink.venue.findings import Path, Report, listing
from roomlink.venue.motion import Motion
from roomlink.venue.site import Controls, Site, known_zone
from roomlink.venue.station_models import Key, Knob, Lamp, Placed, ReadyLock, Station
from roomlink.venue.wiring import Devices

Data = dict[str, Any]

_NO_MOTION = (
    "work it from a panel, or from a station that is wired to it: the word that such a key was let go may be lost"
)


def stations(
    model: models.Configuration, controllers: Mapping[str, Data], site: Site, devices: Devices, report: Report
) -> Data:
    """What the data get of it: nothing where nothing is written. ``controllers`` are the resolved ones."""
    found: Data = {}
    for key, entry in model.stations.items():
        path: Path = ("stations", key)
        if key in site.claimed["controllers"]:
            report.add(path, "a controller has this name: who acted could not be told", "name it differently", key=True)
        if entry.debounce > STATION_DEBOUNCE_S_MAX:
            text = f"a key that may bounce for {plain(entry.debounce)} s is late"
            report.add(
                (*path, "debounce"), text, f"write {plain(STATION_DEBOUNCE_S_MAX)}s at most; 20ms to 50ms is common"
            )
        devices.exists((*path, "device"), entry.device)
        if not (entry.keys or entry.knobs or entry.lamps):
            report.add(path, "the station has nothing", "write keys:, knobs: or lamps:", key=True)
        if entry.controller not in site.claimed["controllers"]:
            report.dangling((*path, "controller"), "controller", entry.controller, site.claimed["controllers"])
        home = controllers.get(entry.controller, {}).get("home")
        controls = site.zone_controls.get(home) if home is not None else None
        if controls is not None:
            found[key] = _Reader(path, entry, controls, model, devices, report).data(key)
    return {"stations": found} if model.stations else {}


class _Reader:
    """One station, read with the controls that its controller has at home."""

    def __init__(
        self,
        path: Path,
        entry: Station,
        controls: Controls,
        model: models.Configuration,
        devices: Devices,
        report: Report,
    ) -> None:
        self.path, self.entry, self.controls = path, entry, controls
        self.model, self.devices, self.report = model, devices, report

    def data(self, key: str) -> Data:
        entry = self.entry
        return {
            "name": entry.name or capitalised(key),
            "controller": entry.controller,
            "debounce": entry.debounce,
            "keys": {name: self._key((*self.path, "keys", name), one) for name, one in entry.keys.items()},
            "knobs": {name: self._knob((*self.path, "knobs", name), one) for name, one in entry.knobs.items()},
            "lamps": {name: self._lamp((*self.path, "lamps", name), one) for name, one in entry.lamps.items()},
        }

    def _read(self, path: Path, placed: Placed) -> Data:
        return self.devices.read(path, placed.device or self.entry.device, placed.point)

    def _control(self, path: Path, name: str) -> AnyControl | None:
        if name not in self.controls:
            self.report.dangling((*path, "control"), f"control of {self.entry.controller}", name, self.controls)
        return self.controls.get(name)

    def _key(self, path: Path, key: Key) -> Data:
        found = {**self._read(path, key), "pressed": key.pressed, "each": key.each}
        found |= {"control": key.control, "do": None, "value": None, "scene": key.scene}
        given = [name for name in ("press", "step", "scene") if getattr(key, name) is not None]
        if len(given) != 1:
            said = f"the key does {listing(given)}" if given else "the key does nothing"
            self.report.add(path, said, "write one of press:, step: and scene:", key=True)
        elif key.scene is not None:
            if key.scene not in self.model.scenes:
                self.report.dangling((*path, "scene"), "scene", key.scene, self.model.scenes)
            if key.control is not None:
                self.report.add((*path, "control"), "a scene names its controls itself", "leave control out", key=True)
        elif key.control is None:
            self.report.add(path, "'control' is missing", "write control: a control of the controller's home", key=True)
        elif (control := self._control(path, key.control)) is not None:
            did = self._step(key, control) if key.step is not None else _press(control, key.press)
            if isinstance(did, Fault):
                self.report.add((*path, given[0]), did.text, did.right)
            else:
                found["do"], found["value"] = did
                if key.each and did[0] in ("press", "raise", "lower"):
                    text = f"{did[0]} lasts until the key is let go, which is never told"
                    self.report.add((*path, "each"), text, "leave each out, or let the key step", key=True)
        return found

    def _step(self, key: Key, control: AnyControl) -> tuple[str, Any] | Fault:
        if not isinstance(control, Level):
            return Fault(f"{key.control} is a {control.kind}, which has no steps", "write press:")
        most = control.range[1] - control.range[0]
        if not key.step or abs(key.step) > most:
            return Fault(
                f"{plain(key.step or 0.0)} is no step of {key.control}", f"write -{plain(most)} to {plain(most)}"
            )
        return "step", key.step

    def _knob(self, path: Path, knob: Knob) -> Data:
        control = self._control(path, knob.control)
        if control is not None and not isinstance(control, Level):
            text = f"{knob.control} is a {control.kind}: a knob turns a level"
            self.report.add((*path, "control"), text, "name a level, or write a key")
        if knob.step is not None and knob.onto is not None:
            self.report.add(path, "the knob tells steps and where it stands", "write step: or onto:", key=True)
        if knob.step == 0.0:
            self.report.add((*path, "step"), "a step of 0 changes nothing", "write what one step is, in the unit")
        return {
            **self._read(path, knob),
            "control": knob.control,
            "step": knob.step,
            "onto": knob.onto,
            "curve": knob.curve,
        }

    def _lamp(self, path: Path, lamp: Lamp) -> Data:
        device = lamp.device or self.entry.device
        self.devices.exists((*path, "device"), device)
        point = self.devices.drive((*path, "point"), device, lamp.point)
        found = {"device": device, "point": dict(lamp.point), **self.devices.naming("point_name", point)}
        control = self._control(path, lamp.control)
        stands = None if control is None else _stands_for(lamp, control)
        if isinstance(stands, Fault):
            self.report.add((*path, stands.member), stands.text, stands.right)
            stands = None
        shows = stands or {"shows": "value"}
        return {**found, "control": lamp.control, **shows, "on": lamp.on, "off": lamp.off, "mixed": lamp.mixed}


def _press(control: AnyControl, raw: Any) -> tuple[str, Any] | Fault:
    """What a press does: the verb, and its value."""
    if isinstance(control, Motion):
        return Fault("a key of a station runs no motion", _NO_MOTION)
    if isinstance(control, Momentary):
        return ("press", None) if raw == "hold" else Fault(f"{raw!r} is nothing to do with a momentary", "write hold")
    if isinstance(control, Level) and raw in ("raise", "lower"):
        return str(raw), None
    if isinstance(control, Switch) and raw == "toggle":
        return "toggle", None
    value = control.take(raw)
    if isinstance(value, Fault):
        more = {"level": ", raise or lower", "switch": " or toggle"}.get(control.kind, "")
        return Fault(value.text, f"{value.right}{more}")
    return "set", "none" if value is None else value


def _stands_for(lamp: Lamp, control: AnyControl) -> Data | Fault | None:
    """When a lamp is lit; None where it shows the value itself."""
    if isinstance(control, Level):
        if lamp.is_ is not None:
            return Fault(f"{lamp.control} is a level", "write at_least: and a number of its unit", "is")
        if lamp.at_least is None:
            return None
        lo, hi = control.range
        if not lo <= lamp.at_least <= hi:
            return Fault(
                f"{plain(lamp.at_least)} is outside the range", f"write {plain(lo)} to {plain(hi)}", "at_least"
            )
        return {"shows": "at-least", "is": lamp.at_least}
    if lamp.at_least is not None:
        return Fault(f"{lamp.control} is no level", "write is:", "at_least")
    if isinstance(control, Motion):
        right = "write open or close"
        fits = lamp.is_ in ("open", "close")
        return (
            {"shows": "is", "is": lamp.is_} if fits else Fault("a lamp of a motion says which way it runs", right, "is")
        )
    if isinstance(control, Choice):
        if lamp.is_ is None:
            return None
        value = control.take(lamp.is_)
        return Fault(value.text, value.right, "is") if isinstance(value, Fault) else {"shows": "is", "is": value}
    if lamp.is_ in (None, True, "on"):
        return {"shows": "is", "is": True}
    if lamp.is_ in (False, "off"):
        return {"shows": "is", "is": False}
    return Fault(f"{lamp.is_!r} is neither on nor off", "write on or off, or leave it out", "is")


def locks(written: Mapping[str, ReadyLock], site: Site, controllers: Mapping[str, Data], report: Report) -> Data:
    """What the data get of the locks that are ready by name: nothing where none is."""
    return (
        {"locks": {key: _lock(key, one, site, controllers, report) for key, one in written.items()}} if written else {}
    )


def _lock(key: str, entry: ReadyLock, site: Site, controllers: Mapping[str, Data], report: Report) -> Data:
    path: Path = ("locks", key)
    controls: Controls | None = None
    if (entry.zone is None) == (entry.controller is None):
        said = "it locks a zone and a controller" if entry.zone else "it does not say what it locks"
        report.add(path, said, "write zone: or controller:", key=True)
    elif entry.zone is not None:
        if known_zone((*path, "zone"), entry.zone, site, report):
            controls = site.zone_controls[entry.zone]
    elif entry.controller not in site.claimed["controllers"]:
        report.dangling((*path, "controller"), "controller", str(entry.controller), site.claimed["controllers"])
    else:
        controls = site.zone_controls.get(controllers.get(str(entry.controller), {}).get("home", ""))
    for index, control in enumerate(entry.controls if controls is not None else ()):
        if controls is not None and control not in controls:
            report.dangling(
                (*path, "controls", index), f"control of {entry.zone or entry.controller}", control, controls
            )
    return {
        "name": entry.name or capitalised(key),
        "zone": entry.zone,
        "controller": entry.controller,
        "controls": list(entry.controls),
        "seconds": entry.for_,
    }
