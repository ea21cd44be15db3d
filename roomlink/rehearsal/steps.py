"""What can be done in a rehearsal: one table of verbs, as written in a scenario, as the core's commands, and in words.

``{set: heron.volume, value: -20, over: 2s}`` has the verb ``set`` with its object and two further keys.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from roomlink.core import commands as cmd
from roomlink.core.commands import Actor, Command
from roomlink.core.spec import Spec
from roomlink.core.state import State
from roomlink.rehearsal import evening_steps, hand_steps
from roomlink.rehearsal.booking import book, cancel
from roomlink.rehearsal.invariants import said
from roomlink.rehearsal.trial import Step

NOBODY = "rehearsal"
"""Who acts where a scenario names nobody."""

Members = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Verb:
    """``object`` and ``keys`` say what kind of value each takes, see ``reading.KINDS``; ``needs`` must be there.

    ``make`` gives the core's command; None for what is done to a device or to the service instead.
    """

    object: str
    words: str
    keys: Mapping[str, str] = field(default_factory=dict)
    needs: tuple[str, ...] = ()
    make: Callable[[Actor, Members], Command] | None = None


@dataclass(frozen=True, slots=True)
class Do:
    """One thing done: a verb with its members; durations in seconds. The verb's object is under the verb itself."""

    verb: str
    members: Members

    def command(self, spec: Spec, now: float, state: State | None = None) -> Command | None:
        """What the core is told at the stamp ``now``; None for what is not the core's.

        ``state`` is needed where a verb looks up what is on, such as the date of a booking.
        """
        verb = VERBS[self.verb]
        if verb.make is None:
            return None
        m = {**self.members, "object": self.members[self.verb], "now": now, "spec": spec, "state": state}
        by = m.get("by", NOBODY)
        holder = m.get("holder", _finger(self.verb, by, m))
        return verb.make(Actor(by, m.get("via", "panel" if holder else "http"), holder), m)

    def __str__(self) -> str:
        verb = VERBS[self.verb]
        m = {k: _in_words(k, v) for k, v in self.members.items()}
        untold = (k for k in m if k not in (self.verb, *COMMON, "holder") and f"{{{k}}}" not in verb.words)
        more = "".join(f", {k} {m[k]}" for k in untold)
        more = more.removeprefix(", position").removeprefix(",") if self.verb == "wall" else more
        return verb.words.format_map({**m, "object": m[self.verb]}) + more


_SECONDS = ("over", "for", "delay", "restart", "start", "end", "set_up", "clear_down", "due")
"""Members that are told with their unit."""


def _in_words(key: str, value: Any) -> str:
    if isinstance(value, list | tuple):
        return " + ".join(map(str, value)) if key != "happened" else f"{len(value)} events"
    if key in _SECONDS and isinstance(value, int | float):
        return f"{value:g} s"
    return said(value) if value is None or isinstance(value, bool | int | float | str) else str(value)


def _act(do: str) -> Callable[[Actor, Members], Command]:
    def make(by: Actor, m: Members) -> Command:
        surface, _, control = m["object"].rpartition(".")
        through = surface in m["spec"].controllers
        return cmd.Act(
            by, control, do,
            controller=surface if through else None,
            zone=None if through else surface,
            value=m.get("value"),
            over=m.get("over", 0.0),
            for_s=m.get("for"),
            given=do != "align" or "value" in m,
        )  # fmt: skip

    return make


def _wall(by: Actor, m: Members) -> Command:
    if "position" in m:
        return cmd.ReportWall(by, m["object"], m["position"])
    return cmd.ReportWall(by, m["object"], contacts=(m.get("closed"), m.get("stacked")))


def _report(by: Actor, m: Members) -> Command:
    zone, _, control = m["object"].rpartition(".")
    return cmd.ReportControl(by, zone, control, m["value"])


def _zones(m: Members) -> tuple[str, ...] | None:
    return tuple(m["zones"]) if "zones" in m else None


def _overflow(by: Actor, m: Members) -> Command:
    carries = tuple(m["carries"]) if "carries" in m else None
    return cmd.StartOverflow(by, m["object"], m.get("from"), m.get("to"), carries)


HELD = ("press", "release", "raise", "lower", "stop", "open", "close")
_HOLDING = {"holder": "word", "for": "duration"}
_AT_PANEL = {"panel": "controller"}

VERBS: dict[str, Verb] = {
    "link": Verb("controller", "link {object} to {to}", {"to": "zone"}, ("to",),
                 lambda by, m: cmd.LinkZone(by, m["object"], m["to"])),
    "unlink": Verb("controller", "unlink {object}", {"from": "zone"}, (),
                   lambda by, m: cmd.Unlink(by, m["object"], m.get("from"))),
    "set": Verb("control", "set {object} to {value}", {"value": "value", "over": "duration"}, ("value",), _act("set")),
    "align": Verb("control", "align {object}", {"value": "value", "over": "duration"}, (), _act("align")),
    "press": Verb("control", "press {object}", _HOLDING, (), _act("press")),
    "release": Verb("control", "release {object}", {"holder": "word"}, (), _act("release")),
    "raise": Verb("control", "raise {object}", _HOLDING, (), _act("raise")),
    "lower": Verb("control", "lower {object}", _HOLDING, (), _act("lower")),
    "stop": Verb("control", "stop {object}", {"holder": "word"}, (), _act("stop")),
    "open": Verb("control", "open {object}", _HOLDING, (), _act("open")),
    "close": Verb("control", "close {object}", _HOLDING, (), _act("close")),
    "silent": Verb("word", "{object} gives no sign of life", {"why": "text"}, (),
                   lambda by, m: cmd.LetGo(by, m["object"], m["now"], m.get("why", "no sign of life"))),
    "wall": Verb("wall", "{object} reports", {"position": "position", "closed": "flag", "stacked": "flag"}, (),
                 _wall),
    "pin": Verb("wall", "pin {object} {position} for {for}", {"position": "position", "for": "duration"},
                ("position", "for"), lambda by, m: cmd.ReportWall(by, m["object"], m["position"], pin=m["for"])),
    "unpin": Verb("wall", "unpin {object}", {}, (), lambda by, m: cmd.ReportWall(by, m["object"], pin=0.0)),
    "combine": Verb("wall", "combine {object}", _AT_PANEL, (),
                    lambda by, m: cmd.CombineWall(by, m["object"], True, m.get("panel"))),
    "apart": Verb("wall", "keep {object} apart", _AT_PANEL, (),
                  lambda by, m: cmd.CombineWall(by, m["object"], False, m.get("panel"))),
    "arrange": Verb("arrangement", "state {object}", {"for": "duration"}, (),
                    lambda by, m: cmd.StateArrangement(by, m["object"], m.get("for"))),
    "join": Verb("word", "join {zones} as {object}", {"zones": "zones"}, ("zones",),
                 lambda by, m: cmd.JoinZones(by, m["object"], tuple(m["zones"]))),
    "part": Verb("word", "part {object}", {}, (), lambda by, m: cmd.JoinZones(by, m["object"])),
    "overflow": Verb("word", "overflow {object}", {"from": "zone", "to": "zone", "carries": "carries"}, (), _overflow),
    "end-overflow": Verb("word", "end overflow {object}", {}, (), lambda by, m: cmd.EndOverflow(by, m["object"])),
    "assign": Verb("microphone", "assign {object} to {to}", {"to": "zone"}, ("to",),
                   lambda by, m: cmd.AssignMicrophone(by, m["object"], m["to"])),
    "scene": Verb("word", "recall {object}",
                  {"zones": "zones", "controller": "controller", "group": "zone", "over": "duration"}, (),
                  lambda by, m: cmd.RecallScene(by, m["object"], _zones(m), m.get("controller"), m.get("group"),
                                                m.get("over", 0.0))),
    "capture": Verb("word", "capture {object}", {"zones": "zones"}, ("zones",),
                    lambda by, m: cmd.SaveScene(by, m["object"], capture=_zones(m), if_match=("*",))),
    "override": Verb("override", "{object} override active: {active}", {"active": "flag", "why": "text"}, ("active",),
                     lambda by, m: cmd.ReportOverride(by, m["object"], m["active"], m.get("why", ""))),
    "report": Verb("control", "{object} is found at {value}", {"value": "value"}, ("value",), _report),
    "device": Verb("device", "{object} up: {up}", {"up": "flag", "why": "text"}, ("up",),
                   lambda by, m: cmd.ReportDevice(by, m["object"], m["up"], m.get("why", ""))),
    "arm": Verb("word", "arm {object}", {"who": "text", "note": "text"}, ("who",),
                lambda by, m: cmd.Arm(by, m["object"], m["who"], m.get("note", ""))),
    "disarm": Verb("word", "disarm {object}", {"why": "text"}, (),
                   lambda by, m: cmd.Disarm(by, m["object"], m.get("why", ""))),
    "step": Verb("control", "step {object} by {value}", {"value": "value", "over": "duration"}, ("value",),
                 _act("step")),
    "toggle": Verb("control", "toggle {object}", {}, (), _act("toggle")),
    "lock": Verb("word", "lock {object}", hand_steps.LOCK_KEYS, (), hand_steps.lock),
    "unlock": Verb("word", "release the lock {object}", {"pin": "word"}, (), hand_steps.unlock),
    "lead": Verb("controller", "{object} takes the lead", {}, (), hand_steps.lead),
    "panel": Verb("controller", "the panel of {object} is there: {there}",
                  {"there": "flag", "others": "controllers"}, ("there",), hand_steps.panel),
    "stop-motion": Verb("text", "stop every motion: {object}", {}, (), lambda by, m: cmd.StopMotion(by, m["object"])),
    "book": Verb("word", "book {zones} for {object}, {start} to {end}",
                 {"zones": "zones", "start": "when", "end": "when", "set_up": "duration", "clear_down": "duration",
                  "attendance": "count", "scene": "word", "private": "flag"}, ("zones", "start", "end"), book),
    "cancel": Verb("word", "cancel {object}", {}, (), cancel),
    "prolong": Verb("word", "{object} stays {for} longer", {"for": "duration", **_AT_PANEL}, ("for",),
                    evening_steps.prolong),
    "routine": Verb("word", "the routine {object} is due", {"due": "duration"}, (), evening_steps.routine),
    "keep-on": Verb("word", "keep on what {object} would end", {"zones": "zones", **_AT_PANEL}, (),
                    evening_steps.keep_on),
    "mark": Verb("wall", "mark {object} as not to be moved: {why}", {"why": "text"}, ("why",), evening_steps.mark),
    "unmark": Verb("wall", "{object} may be moved again", {}, (), evening_steps.unmark),
    "tick": Verb("wall", "tick {object} off for {of}", {"of": "word", "done": "flag"}, ("of",), evening_steps.tick),
    # Done to devices and walls, not to the core.
    "run": Verb("wall", "run {object} to {to}", {"to": "position"}, ("to",)),
    "unplug": Verb("device", "unplug {object}", {"power": "flag"}),
    "plug": Verb("device", "plug {object}"),
    "turn": Verb("device", "turn {point} of {object} to {value}", {"point": "text", "value": "reading"},
                 ("point", "value")),
    "slow": Verb("device", "{object} takes {delay}", {"delay": "duration"}, ("delay",)),
    "refuse": Verb("device", "{object} refuses {point}", {"point": "text"}, ("point",)),
    "accept": Verb("device", "{object} accepts {point} again", {"point": "text"}, ("point",)),
    # Done to the service.
    "restart": Verb("duration", "restart, down for {object}"),
    "reload": Verb("text", "reload {object}"),
    "happened": Verb("events", "{object} as the journal has them"),
}  # fmt: skip


def _finger(verb: str, by: str, members: Members) -> str | None:
    """Who can be seen to hold where a scenario does not say: whoever acts, unless a time bounds it."""
    return by if verb in HELD and members.get("for") is None else None


COMMON = {"by": "text", "via": "text"}
"""Keys that every verb takes: who acts, and over what."""


def words(step: Step) -> str:
    """A step of a proof in words."""
    after = "" if step.wait is None else ", and go on at once" if not step.wait else f", and {step.wait:g} s pass"
    return f"{as_written(step.command)}{after}"


def as_written(command: Command) -> Do:
    """The verb that stands for a command. Raises KeyError for a command that no verb stands for."""
    verb, members = _WRITTEN[type(command)](command)
    kept = {k: v for k, v in members.items() if v is not None}
    by = command.by
    if by.who != NOBODY:
        kept["by"] = by.who
    if verb in HELD and by.holder != _finger(verb, by.who, kept):
        kept["holder"] = by.holder
    if by.via != ("panel" if by.holder and verb in HELD else "http"):
        kept["via"] = by.via
    return Do(verb, kept)


Written = tuple[str, dict[str, Any]]


def _act_written(c: cmd.Act) -> Written:
    members: dict[str, Any] = {c.do: f"{c.controller or c.zone}.{c.control}", "over": c.over or None, "for": c.for_s}
    if c.do in ("set", "step", "align") and (c.value is not None or c.do == "set"):
        members["value"] = "none" if c.value is None else c.value
    return c.do, members


def _wall_written(c: cmd.ReportWall) -> Written:
    if c.contacts is not None:
        return "wall", {"wall": c.partition, "closed": c.contacts[0], "stacked": c.contacts[1]}
    if c.pin is None:
        return "wall", {"wall": c.partition, "position": c.position}
    if c.pin:
        return "pin", {"pin": c.partition, "position": c.position, "for": c.pin}
    if c.position is not None:
        raise KeyError("a pin taken away together with a report")
    return "unpin", {"unpin": c.partition}


def _scene_written(c: cmd.RecallScene) -> Written:
    zones = None if c.zones is None else list(c.zones)
    more = {"zones": zones, "controller": c.controller, "group": c.group, "over": c.over or None}
    return "scene", {"scene": c.scene, **more}


def _overflow_written(c: cmd.StartOverflow) -> Written:
    carries = None if c.carries is None else list(c.carries)
    return "overflow", {"overflow": c.overflow, "from": c.source, "to": c.to, "carries": carries}


def _combine_written(c: cmd.CombineWall) -> Written:
    if c.controller is not None:
        raise KeyError("a wall combined from a panel")
    return ("combine", {"combine": c.partition}) if c.combine else ("apart", {"apart": c.partition})


def _book_written(c: cmd.CreateBooking) -> Written:
    """As a proof books: at once, for as long as it says."""
    wish = c.wish
    when = {"start": 0.0, "end": wish.end - wish.start, "set_up": wish.set_up, "clear_down": wish.clear_down}
    return "book", {"book": c.booking, "zones": list(wish.zones), **when}


def _join_written(c: cmd.JoinZones) -> Written:
    return ("join", {"join": c.overflow, "zones": list(c.zones)}) if c.zones else ("part", {"part": c.overflow})


_WRITTEN: dict[type[Any], Callable[[Any], Written]] = {
    cmd.Act: _act_written,
    cmd.LinkZone: lambda c: ("link", {"link": c.controller, "to": c.zone}),
    cmd.Unlink: lambda c: ("unlink", {"unlink": c.controller, "from": c.zone}),
    cmd.LetGo: lambda c: ("silent", {"silent": c.holder, "why": c.why}),
    cmd.ReportWall: _wall_written,
    cmd.CombineWall: _combine_written,
    cmd.StateArrangement: lambda c: ("arrange", {"arrange": c.arrangement, "for": c.pin}),
    cmd.CreateBooking: _book_written,
    cmd.JoinZones: _join_written,
    cmd.StartOverflow: _overflow_written,
    cmd.EndOverflow: lambda c: ("end-overflow", {"end-overflow": c.overflow}),
    cmd.AssignMicrophone: lambda c: ("assign", {"assign": c.microphone, "to": c.zone}),
    cmd.RecallScene: _scene_written,
    cmd.ReportOverride: lambda c: (
        "override", {"override": c.override, "active": c.active, "why": c.why or None}),
    cmd.ReportControl: lambda c: (
        "report", {"report": f"{c.zone}.{c.control}", "value": "none" if c.value is None else c.value}),
    cmd.ReportDevice: lambda c: ("device", {"device": c.device, "up": c.up, "why": c.why or None}),
    cmd.Arm: lambda c: ("arm", {"arm": c.binding, "who": c.who, "note": c.note or None}),
    cmd.Disarm: lambda c: ("disarm", {"disarm": c.binding, "why": c.why or None}),
    **hand_steps.WRITTEN,
    cmd.StopMotion: lambda c: ("stop-motion", {"stop-motion": c.why}),
}  # fmt: skip
