"""Stations on the wall: presses and turns become commands of their controller, and lamps follow its feedback.

A key's contact may bounce, and a device tells how its keys stand when it is connected: neither is a press. What a key
holds is held by the station; it is let go with the key, when the device is lost, or after ``STATION_HELD_S_MAX``.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import structlog

from roomlink.core import events as ev
from roomlink.core import lamps
from roomlink.core.act import HELD
from roomlink.core.commands import Act, Actor, Command, LetGo, RecallScene
from roomlink.core.spec import LevelSpec
from roomlink.core.state import State
from roomlink.core.travel_events import MicrophoneAssigned
from roomlink.drivers.mapping import Scaling
from roomlink.drivers.outbox import alike
from roomlink.drivers.port import Value
from roomlink.drivers.runner import Runner
from roomlink.errors import RoomlinkError
from roomlink.limits import STATION_FIRST_WORD_S, STATION_HELD_S_MAX
from roomlink.runtime.clock import Timer
from roomlink.runtime.wiring import StationPart, Wired
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")


@dataclass(slots=True)
class _Touched:
    """One key or knob: how it is, and what is on its way."""

    part: StationPart
    told: Value = None
    """What was reported last; None: nothing over this connection."""
    counts: bool = False
    """Whether it counts as pressed."""
    deaf: Timer | None = None
    """Runs while its contact may bounce."""
    held: Timer | None = None
    """Runs while it holds something."""
    steps: float = 0.0
    absolute: float | None = None
    busy: bool = False
    """Whether a turn is on its way: what is turned meanwhile goes with the next."""

    def rest(self) -> None:
        for timer in (self.deaf, self.held):
            if timer is not None:
                timer.cancel()
        self.deaf = self.held = None


@dataclass(slots=True)
class _Device:
    """One device with parts of stations."""

    inputs: dict[str, list[_Touched]] = field(default_factory=dict)
    """By point."""
    since: float = float("-inf")
    """When it was connected last."""


_NONE = _Device()
"""Stands for a device without parts of stations; nothing is ever put into it."""


def station_holder(station: str, key: str) -> str:
    """Who holds what a key of a station holds."""
    return f"station-{station}.{key}"


class Stations:
    """All stations of one venue. ``take_up`` with each configuration, after the devices were made."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer
        self._devices: dict[str, _Device] = {}
        self._lamps: dict[str, list[tuple[StationPart, Runner]]] = {}
        """By controller."""

    def take_up(self, wired: Mapping[str, Wired], runners: Mapping[str, Runner]) -> None:
        """Other keys and lamps from now on; what the old ones hold is let go unless they are the same."""
        before, self._devices = self._devices, {}
        kept: set[int] = set()
        self._lamps = {}
        for name, one in wired.items():
            old = before.get(name, _NONE)
            device = self._devices[name] = _Device(since=old.since)
            known = {(t.part.station, t.part.name): t for there in old.inputs.values() for t in there}
            for point, parts in one.stations.items():
                for part in parts:
                    if part.kind == "lamp":
                        self._lamps.setdefault(part.controller, []).append((part, runners[name]))
                        continue
                    same = known.get((part.station, part.name))
                    touched = same if same is not None and same.part == part else _Touched(part)
                    kept.add(id(touched))
                    device.inputs.setdefault(point, []).append(touched)
        for device in before.values():
            for touched in (t for there in device.inputs.values() for t in there if id(t) not in kept):
                self._let_go(touched, "the configuration changed")
        self._show_all()

    def stop(self) -> None:
        for device in self._devices.values():
            for there in device.inputs.values():
                for touched in there:
                    self._let_go(touched, "the service stops")

    # What keys and knobs say

    def connected(self, device: str) -> None:
        if (found := self._devices.get(device)) is not None:
            found.since = self._writer.clock.stamp()

    def lost(self, device: str, why: str) -> None:
        """The device is gone, and so is whoever held a key there."""
        for there in self._devices.get(device, _NONE).inputs.values():
            for touched in there:
                self._let_go(touched, f"{device} was lost: {why}")
                touched.told, touched.counts = None, False

    def heard(self, device: str, point: str, value: Value) -> None:
        found = self._devices.get(device, _NONE)
        for touched in found.inputs.get(point, ()):
            first = touched.told is None and self._writer.clock.stamp() < found.since + STATION_FIRST_WORD_S
            touched.told = value
            if touched.part.kind == "knob":
                if not first:
                    self._turned(touched, value)
            elif first:
                touched.counts = self._is_pressed(touched) and not touched.part.raw["each"]
            else:
                self._key(touched)

    def _is_pressed(self, touched: _Touched) -> bool:
        return alike(touched.part.raw["pressed"], touched.told)

    def _key(self, touched: _Touched) -> None:
        """A key has told something. The first change counts at once; while its contact may bounce nothing else does."""
        pressed, each = self._is_pressed(touched), touched.part.raw["each"]
        if touched.deaf is not None or (not pressed if each else pressed == touched.counts):
            return
        touched.counts = pressed and not each
        if touched.part.debounce > 0.0:
            until = self._writer.clock.stamp() + touched.part.debounce
            touched.deaf = self._writer.clock.call_at(until, partial(self._steady, touched))
        if pressed:
            self._pressed(touched)
        else:
            self._let_go(touched, "released")

    def _steady(self, touched: _Touched) -> None:
        """The contact bounces no more: how it is now counts."""
        touched.deaf = None
        if not touched.part.raw["each"] and touched.told is not None:
            self._key(touched)

    def _pressed(self, touched: _Touched) -> None:
        part = touched.part
        key = part.raw
        if key["scene"] is not None:
            self._order(part, RecallScene(self._actor(part), key["scene"], controller=part.controller))
            return
        if key["do"] in HELD:
            until = self._writer.clock.stamp() + STATION_HELD_S_MAX
            too_long = partial(self._let_go, touched, "it was held for too long")
            touched.held = self._writer.clock.call_at(until, too_long)
        self._order(part, Act(self._actor(part), key["control"], key["do"], part.controller, value=key["value"]))

    def _let_go(self, touched: _Touched, why: str) -> None:
        holds = touched.held is not None
        deaf = touched.deaf
        touched.deaf = None
        touched.rest()
        touched.deaf = deaf
        if holds:
            actor = self._actor(touched.part)
            self._writer.surely(LetGo(actor, actor.holder or "", self._writer.clock.stamp(), why))

    def _turned(self, touched: _Touched, value: Value) -> None:
        part = touched.part
        if isinstance(value, bool) or not isinstance(value, int | float):
            log.warning("not taken", station=part.station, knob=part.name, error=f"{value!r} is no number")
            return
        if part.raw["step"] is not None:
            touched.steps += float(value) * part.raw["step"]
        else:
            touched.absolute = float(value)
        if not touched.busy:
            self._turn(touched)

    def _turn(self, touched: _Touched) -> None:
        """Send what was turned since the last word: a fast hand makes one entry of many steps."""
        part = touched.part
        control = part.raw["control"]
        spec = self._level(part)
        steps, absolute = touched.steps, touched.absolute
        touched.steps, touched.absolute = 0.0, None
        if spec is None or (not steps and absolute is None):
            return
        if absolute is None:
            most = spec.hi - spec.lo
            order = Act(self._actor(part), control, "step", part.controller, value=min(max(steps, -most), most))
        else:
            onto = part.raw["onto"]
            scaling = Scaling(spec.lo, spec.hi, None if onto is None else (onto[0], onto[1]), part.raw["curve"])
            value = spec.clamp(float(scaling.back(absolute, "level") or 0.0))
            order = Act(self._actor(part), control, "set", part.controller, value=value)
        touched.busy = True
        if not self._order(part, order, partial(self._went, touched)):
            touched.busy = False

    def _went(self, touched: _Touched) -> None:
        touched.busy = False
        self._turn(touched)

    def _level(self, part: StationPart) -> LevelSpec | None:
        spec = self._writer.state.spec
        controller = spec.controllers.get(part.controller)
        found = None if controller is None else spec.zones[controller.home].controls.get(part.raw["control"])
        return found if isinstance(found, LevelSpec) else None

    def _actor(self, part: StationPart) -> Actor:
        return Actor(part.station, "station", station_holder(part.station, part.name))

    def _order(self, part: StationPart, command: Command, then: Any = None) -> bool:
        """Give an order as a hand would: where it is refused nothing happens, and the lamps go on saying what is so."""
        try:
            done = self._writer.put(command)
        except RoomlinkError as error:
            log.info("refused", station=part.station, part=part.name, error=str(error))
            return False

        def answered(one: Any) -> None:
            if (error := one.exception()) is not None:
                log.warning("not stored", station=part.station, part=part.name, error=str(error))
            if then is not None:
                then()

        done.add_done_callback(answered)
        return True

    # What lamps show

    def follow(self, state: State, events: Iterable[ev.Event]) -> None:
        """After an entry: lamps of the controllers whose feedback may differ."""
        if not self._lamps:
            return
        touched: dict[str, set[str] | None] = {}
        for event in events:
            if isinstance(event, ev.ControlSet | ev.Masked | ev.Unmasked):
                for controller in state.linked_by.get(event.zone, ()):
                    names = touched.setdefault(controller, set())
                    if names is not None:
                        names.add(event.control)
            elif isinstance(event, ev.LinkSet | ev.LinkEnded):
                touched[event.controller] = None
            elif isinstance(event, ev.Regrouped | MicrophoneAssigned):
                touched.update(dict.fromkeys(self._lamps))
        for controller, names in touched.items():
            for part, runner in self._lamps.get(controller, ()):
                if names is None or part.raw["control"] in names:
                    self._show(part, runner)

    def _show_all(self) -> None:
        for shown in self._lamps.values():
            for part, runner in shown:
                self._show(part, runner)

    def _show(self, part: StationPart, runner: Runner) -> None:
        state, now = self._writer.state, self._writer.clock.stamp()

        def sample(at: float) -> Value:
            # Read from the durable state as it is then: whatever changes in between makes this be asked anew.
            with contextlib.suppress(KeyError):
                return lamps.shown(self._writer.state, part.controller, part.raw, at)
            return part.raw["off"]  # type: ignore[no-any-return]  # a value as the configuration has it

        runner.want(part.point, sample, lamps.steady_from(state, part.controller, part.raw["control"], now))
