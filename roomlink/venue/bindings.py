"""Which control drives which point of a device: resolved, and proved to fit the control, the device and the class."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from roomlink.core.overrides import SOUND_UNITS
from roomlink.venue.base import NONE
from roomlink.venue.controls import AnyControl, Choice, Level, Switch
from roomlink.venue.equipment import Binding
from roomlink.venue.fields import NAME_PATTERN, plain
from roomlink.venue.findings import Path, Report, listing
from roomlink.venue.motion import Motion
from roomlink.venue.parse import Parsed
from roomlink.venue.site import Site, known_zone
from roomlink.venue.stamp import Stamp, braces, claimed, repetitions
from roomlink.venue.wiring import Devices

CLASSES = {
    "point": ("signal", "power"),
    "open": ("motion",),
    "close": ("motion",),
    "curve": ("signal",),
    "onto": ("signal",),
    "values": ("signal", "power"),
    "follow": ("signal", "power"),
    "min_on": ("power",),
    "min_off": ("power",),
    "supply": ("power",),
    "order": ("power",),
    "cool": ("power",),
    "restore": ("power",),
    "on_loss": ("power", "motion"),
    "on_return": ("signal",),
}
"""Member to the classes of binding that have it."""

KINDS = {
    "curve": ("level",),
    "onto": ("level",),
    "values": ("choice", "switch", "momentary"),
    "follow": ("choice", "level", "switch"),
}
"""Member to the kinds of control that have it; all others not listed here."""

SAY = "say what the device does by itself when it loses this service"
KEEPS_MOVING = "the device keeps its outputs when it loses this service: it would move on until its own limits stop it"


def bindings(
    parsed: Parsed, raw: Mapping[str, Any], data: Mapping[str, Any], site: Site, devices: Devices, report: Report
) -> list[dict[str, Any]]:
    """The resolved bindings; ``data`` holds the zones and supplies as they are resolved."""
    site.claimed["supplies"] = claimed(raw.get("supplies"), data["supplies"])
    found: list[dict[str, Any]] = []
    names: dict[str, Path] = {}
    for index, entry in zip(parsed.origin.get("bindings", ()), parsed.model.bindings, strict=True):
        path: Path = ("bindings", index)
        for member in ("name", "control", "device"):
            braces(getattr(entry, member) or "", entry, (*path, member), report)
        if entry.step is not None and entry.repeat is None:
            report.add((*path, "step"), "step stands for nothing without repeat", "add repeat: or leave it out")
        for nth, word in repetitions(path, entry, report):
            made = _One(Stamp("", entry, path, word, nth), site, devices, report).resolve()
            name = made["name"]
            if name in names:
                text = f"{name} is the name of a binding already, at {report.places.of(names[name])}"
                report.add(path, text, "give it a name: of its own", key=True)
            names.setdefault(name, path)
            # Later findings about a repetition point at the entry that it was stamped from.
            report.places.keys.setdefault(("bindings", name), report.places.of(path))
            found.append({**made, "digest": digest(made, data)})
    return found


def digest(binding: Mapping[str, Any], data: Mapping[str, Any]) -> str:
    """SHA-256, in hexadecimal, of all that a person who arms a binding has checked: it changes with any of it."""
    zone, _, control = binding["control"].partition(".")
    # A point's name is the driver's word for the point, and no part of what was written.
    written = {key: value for key, value in binding.items() if not key.endswith("_name")}
    whole = {
        "binding": written,
        "device": data["devices"].get(binding["device"]),
        "supply": data["supplies"].get(binding["supply"]),
        "control": data["zones"].get(zone, {}).get("controls", {}).get(control),
    }
    text = json.dumps(whole, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class _One:
    """One binding, of one repetition."""

    made: Stamp[Binding]
    site: Site
    devices: Devices
    report: Report

    def resolve(self) -> dict[str, Any]:
        """The binding with every member written out; what is wrong with it is noted."""
        entry, path = self.made.entry, self.made.path
        name = self.made.fill(entry.control)
        device = self.made.fill(entry.device)
        self.devices.exists((*path, "device"), device)
        control = self._control(name)
        self._members(control)
        if control is not None:
            self._fits(control)
        known = self.devices.known.get(device)
        native = known.native if known else None
        onto = entry.onto or (list(native) if native and isinstance(control, Level) else None)
        if known is not None:
            # Of a control with a mistake nobody knows yet what there is to bend.
            self._onto(entry, native, onto, bends=control is not None)
        from_low = isinstance(control, Level) and control.unit in SOUND_UNITS
        # A motion is never driven by itself, also not when its device is back.
        back = None if entry.duty == "motion" else "from-low" if from_low else "at-once"
        signal = entry.duty == "signal" and not (control and control.kind == "momentary")
        return {
            "name": self._name(name),
            "control": name,
            "device": device,
            "class": entry.duty,
            **self._points(device),
            "curve": entry.curve or "linear",
            "onto": onto,
            "values": dict(entry.values or {}),
            "follow": signal if entry.follow is None else entry.follow,
            "min_on": entry.min_on or 0.0,
            "min_off": entry.min_off or 0.0,
            "supply": entry.supply,
            "restore": bool(entry.restore),
            "on_loss": entry.on_loss or "unknown",
            "on_return": entry.on_return or back,
            # Named only where they are written: what was checked on site before they were known stays armed.
            **({"order": entry.order} if entry.order else {}),
            **({"cool": entry.cool} if entry.cool else {}),
        }

    def _control(self, name: str) -> AnyControl | None:
        """The control as its zone has it; None, noted, where there is none such."""
        path: Path = (*self.made.path, "control")
        zone, _, control = name.partition(".")
        if not known_zone(path, zone, self.site, self.report):
            return None
        controls = self.site.zone_controls[zone]
        if control not in controls:
            self.report.dangling(path, f"control of {zone}", control, controls)
        return controls.get(control)

    def _name(self, control: str) -> str:
        entry, path = self.made.entry, (*self.made.path, "name")
        name = self.made.fill(entry.name) if entry.name else control
        if entry.name and not re.fullmatch(NAME_PATTERN[1:-1], name):
            right = "use lower-case letters, digits and hyphens, beginning with a letter"
            self.report.add(path, f"{name!r} is not a name", right)
        return name

    def _members(self, control: AnyControl | None) -> None:
        """Whether each member belongs to the binding's class, and to its control's kind."""
        entry, path = self.made.entry, self.made.path
        for member, classes in CLASSES.items():
            value = getattr(entry, member)
            kinds = KINDS.get(member)
            # To deny what could not be is harmless.
            if value is None or value is False:
                continue
            if entry.duty not in classes:
                self.report.add(
                    (*path, member), f"{member} is for the class {listing(classes)}", "leave it out", key=True
                )
            elif control is not None and kinds and control.kind not in kinds:
                text = f"{member} is for a {' or '.join(kinds)}; this is a {control.kind}"
                self.report.add((*path, member), text, "leave it out", key=True)
        for member in ("open", "close") if entry.duty == "motion" else ("point",):
            if getattr(entry, member) is None:
                right = f"write {member}: with one of the device's points"
                self.report.add(path, f"{member!r} is missing", right, key=True)
        if entry.order is not None and entry.supply is None:
            self.report.add((*path, "order"), "last of which loads?", "write supply: with the one that they share")
        if entry.supply is not None and entry.supply not in self.site.claimed["supplies"]:
            self.report.dangling((*path, "supply"), "supply", entry.supply, self.site.claimed["supplies"])

    def _fits(self, control: AnyControl) -> None:
        """Whether the class suits the control, and all that it takes is said."""
        entry, path = self.made.entry, self.made.path
        if (entry.duty == "motion") != isinstance(control, Motion):
            right = "write class: motion" if isinstance(control, Motion) else "write class: signal or power"
            self.report.add((*path, "class"), f"the control is a {control.kind}, the class {entry.duty}", right)
        elif entry.duty == "power" and not isinstance(control, Switch):
            text = f"power is switched: the class is for switches, and this is a {control.kind}"
            self.report.add((*path, "class"), text, "write class: signal, or bind a switch")
        else:
            self._loss(entry.on_loss or "unknown")
        if entry.on_return == "from-low" and not isinstance(control, Level):
            self.report.add((*path, "on_return"), f"a {control.kind} has no low end", "write on_return: at-once")
        if entry.values is not None:
            self._values(control, entry.values)

    def _loss(self, on_loss: Literal["off", "holds", "unknown"]) -> None:
        duty, path = self.made.entry.duty, (*self.made.path, "on_loss")
        if on_loss == "unknown" and duty == "motion":
            right = "write on_loss: off, once it was tried on site that its outputs drop"
            self.report.add(path, f"{SAY}: nothing may go on moving unseen", right, key=True)
        elif on_loss == "unknown" and duty == "power":
            self.report.add(path, SAY, "write on_loss: off or holds, once tried", key=True, severity="warning")
        elif on_loss == "holds" and duty == "motion":
            right = "set the device's own watchdog so that its outputs drop, then write on_loss: off"
            self.report.add(path, KEEPS_MOVING, right, severity="warning")

    def _values(self, control: AnyControl, values: Mapping[str, Any]) -> None:
        """Each option needs its value; ``none`` may have one, and so may options that come from other zones."""
        path = (*self.made.path, "values")
        if control.kind not in KINDS["values"]:
            return
        needed, allowed = ["on", "off"], ["on", "off"]
        if isinstance(control, Choice):
            needed, allowed = control.options, [*control.options, NONE]
        if lacking := [name for name in needed if name not in values]:
            text = f"there is no value for {listing(lacking)}"
            self.report.add(path, text, f"write what the device takes for {listing(needed)}", key=True)
        for name, value in values.items():
            if isinstance(value, dict | list):
                self.report.add((*path, name), "a device takes plain values", "write a word, a number, true or false")
            if name not in allowed and not self._travels(control, name):
                self.report.dangling((*path, name), "option", name, allowed)

    def _travels(self, control: AnyControl, name: str) -> bool:
        """Whether ``name`` is an option that the same control may get from another zone, such as ``plover/laptop``."""
        zone, _, option = name.partition("/")
        here = self.made.fill(self.made.entry.control).partition(".")[2]
        theirs = self.site.zone_controls.get(zone, {}).get(here)
        both = [c for c in (control, theirs) if isinstance(c, Choice) and c.sources]
        return len(both) == 2 and option in both[1].options

    def _onto(self, entry: Binding, native: tuple[float, float] | None, onto: list[float] | None, bends: bool) -> None:
        path = self.made.path
        if entry.onto and native and not min(native) <= min(entry.onto) <= max(entry.onto) <= max(native):
            right = f"write numbers from {plain(native[0])} to {plain(native[1])}"
            self.report.add((*path, "onto"), "it is outside the device's range", right)
        if bends and entry.curve not in (None, "linear") and onto is None:
            right = "write onto: with what the lowest and the highest become, or leave curve out"
            self.report.add(
                (*path, "curve"), "the level goes to the device in its own unit: there is nothing to bend", right
            )

    def _points(self, device: str) -> dict[str, Any]:
        """The members that say where it drives, each point taken for this binding."""
        entry, found = self.made.entry, dict[str, Any]()
        stepped: set[str] = set()
        for member in ("point", "open", "close"):
            written = getattr(entry, member)
            found[member] = None if written is None else self._stepped(self.made.filled(written), stepped)
        for key in (entry.step or {}).keys() - stepped if self.made.word else ():
            text = f"the point has no number {key!r} to add to"
            self.report.add((*self.made.path, "step", key), text, "name one of its numbers", key=True)
        for member in ("point", "open", "close"):
            if found[member] is not None:
                point = self.devices.drive((*self.made.path, member), device, found[member])
                found |= self.devices.naming(f"{member}_name", point)
        return found

    def _stepped(self, point: dict[str, Any], stepped: set[str]) -> dict[str, Any]:
        """The point of this repetition; the keys that were added to are put into ``stepped``."""
        for key, step in (self.made.entry.step or {}).items():
            value = point.get(key)
            if isinstance(value, int | float) and not isinstance(value, bool):
                stepped.add(key)
                moved = value + self.made.nth * step
                # Channels are whole numbers, and have to stay such.
                point[key] = int(moved) if isinstance(value, int) and moved == int(moved) else round(moved, 9)
        return point
