"""A venue on virtual time: commands in, events collected, nothing waits.

>>> driver = Driver(venues.row(2))
>>> driver.wall("a-b", "open")
>>> driver.advance(1.5)
>>> driver.value("b", "volume")
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from roomlink.core import snapshot, view, wall_view
from roomlink.core.apply import apply
from roomlink.core.commands import (
    Act,
    Actor,
    Command,
    Configure,
    JoinZones,
    LinkZone,
    Recover,
    ReportWall,
    Unlink,
    Wake,
)
from roomlink.core.decide import Decision, Request, decide, next_deadline
from roomlink.core.events import Event, decode, encode
from roomlink.core.spec import Value
from roomlink.core.state import State
from roomlink.errors import CallerFault

FIRST_STAMP = 1000.0
WAKES_AT_ONE_STAMP_MAX = 100

FINGER = Actor("alex", "panel", "finger")
"""A holder that can be seen; ``PHONE`` is another one."""
PHONE = Actor("kim", "panel", "phone")
PLAIN = Actor("program", "http")
"""A client that cannot show that a finger is still there."""


class Driver:
    """Runs one venue by plain calls.

    With ``checked``, each step also proves what must always hold: deciding changes nothing, a refusal decides nothing,
    a snapshot restores the same state, and so does a replay of all events after a round trip through JSON.
    """

    def __init__(
        self, data: Mapping[str, Any] | None = None, *, checked: bool = True, now: float = FIRST_STAMP
    ) -> None:
        self.state = State()
        self.now = now
        self.checked = checked
        self.replayed = State()
        self.events: list[Event] = []
        """Everything that happened, in order."""
        self.decisions: list[Decision] = []
        """The decision of each command that made something happen: the entries of a journal."""
        if data is not None:
            self.configure(data)

    # Time

    def advance(self, seconds: float) -> None:
        """Let time pass; the core is woken at each deadline on the way, never before or after."""
        self.advance_to(self.now + seconds)

    def advance_to(self, stamp: float) -> None:
        assert stamp >= self.now, "time does not go back"
        while (due := next_deadline(self.state)) is not None and due <= stamp:
            self.now = max(self.now, due)
            self.wake()
        self.now = stamp

    def wake(self) -> None:
        """Wake the core until nothing is due now."""
        for _ in range(WAKES_AT_ONE_STAMP_MAX):
            due = next_deadline(self.state)
            if due is None or due > self.now:
                return
            self._decide(Wake(), None)
        raise AssertionError(f"the core wants to be woken for ever at {self.now}")

    # Commands

    def do(self, command: Command, request: Request | None = None) -> Decision:
        """Carry out a command now. Raises ``CallerFault`` as ``decide`` does, with nothing changed."""
        self.wake()
        return self._decide(command, request)

    def _decide(self, command: Command, request: Request | None) -> Decision:
        before = self._fingerprint()
        try:
            decision = decide(self.state, command, self.now, request)
        except CallerFault:
            assert self._fingerprint() == before, "a refused command changed the state"
            raise
        assert self._fingerprint() == before, "deciding changed the state"
        for event in decision.events:
            apply(self.state, event)
        self.events += decision.events
        if decision.events:
            self.decisions.append(decision)
        if self.checked:
            self._check(decision.events)
        return decision

    def _fingerprint(self) -> str:
        if not self.checked:
            return ""
        deadlines = sorted(self.state.deadlines.standing().items())
        return json.dumps([[encode(event) for event in snapshot.snapshot(self.state)], deadlines])

    def _check(self, events: tuple[Event, ...]) -> None:
        restored = snapshot.restored(through_json(e) for e in snapshot.snapshot(self.state))
        assert snapshot.same(restored, self.state), "a snapshot does not restore the state"
        for event in events:
            apply(self.replayed, through_json(event))
        assert snapshot.same(self.replayed, self.state), "a replay of all events does not give the state"

    def configure(self, data: Mapping[str, Any]) -> Decision:
        digest = str(hash(json.dumps(data)))
        return self.do(Configure(Actor("technician", "service"), data, digest))

    def restart(self, down_s: float = 0.0, *, last: float | None = None) -> Decision:
        """The service stops now and is back after ``down_s``; its last entry before was stamped ``last``."""
        last = self.now if last is None else last
        self.now += down_s
        return self._decide(Recover(Actor("service", "service"), last), None)

    def act(self, surface: str, control: str, do: str, *, by: Actor = FINGER, **members: Any) -> Decision:
        """Act through a controller, or on a zone if ``surface`` names one."""
        known = surface in self.state.spec.controllers
        return self.do(Act(by, control, do, surface if known else None, None if known else surface, **members))

    def set(self, surface: str, control: str, value: Value, *, over: float = 0.0, by: Actor = FINGER) -> Decision:
        return self.act(surface, control, "set", value=value, over=over, by=by)

    def align(self, controller: str, control: str, *value: Value) -> Decision:
        """Align to the value shown, or to a given one."""
        return self.act(controller, control, "align", value=value[0] if value else None, given=bool(value))

    def link(self, controller: str, *zones: str) -> None:
        for zone in zones:
            self.do(LinkZone(FINGER, controller, zone))

    def unlink(self, controller: str, zone: str | None = None) -> Decision:
        return self.do(Unlink(FINGER, controller, zone))

    def wall(self, partition: str, position: str | None, *, pin: float | None = None) -> Decision:
        return self.do(ReportWall(Actor("wall", "contact"), partition, position, pin=pin))

    def contacts(self, partition: str, closed: bool | None, stacked: bool | None = None) -> Decision:
        return self.do(ReportWall(Actor("wall", "contact"), partition, contacts=(closed, stacked)))

    def join(self, overflow: str, *zones: str) -> Decision:
        return self.do(JoinZones(FINGER, overflow, zones))

    # What is so now

    def value(self, zone: str, control: str) -> Any:
        """A control's value now, as views give it."""
        return self.control(zone, control)["value"]

    def values(self, control: str, zones: str) -> list[Any]:
        """A control's values in zones with one-letter names: ``values("volume", "abc")``."""
        return [self.value(zone, control) for zone in zones]

    def control(self, zone: str, control: str) -> dict[str, Any]:
        return view.control(self.state, zone, control, self.now)

    def shown(self, controller: str, control: str) -> dict[str, Any]:
        """What a controller shows for a control."""
        face: dict[str, Any] = view.face(self.state, controller, self.now)["controls"][control]
        return face

    def linked(self, controller: str) -> list[str]:
        """The linked zones, in the order of linking."""
        return list(self.state.linked.get(controller, ()))

    def reasons(self, controller: str, zone: str) -> tuple[str, ...]:
        """Why a link stands; empty if there is none."""
        link = self.state.links.get((controller, zone))
        return () if link is None else link.reasons

    def groups(self) -> list[list[str]]:
        return wall_view.groups(self.state)


def through_json(event: Event) -> Event:
    """The event as it comes back from a journal."""
    return decode(json.loads(json.dumps(encode(event))))
