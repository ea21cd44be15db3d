"""One venue on virtual time under the eyes of a watch: it can be forked at any moment, and tells how it got there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from roomlink.core import snapshot
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Act, Command, Configure, RecallScene, ReportControl, ReportWall, Wake
from roomlink.core.decide import decide, next_deadline
from roomlink.core.events import Event
from roomlink.core.spec import Spec, from_data
from roomlink.core.state import State
from roomlink.errors import CallerFault
from roomlink.rehearsal.faces import check_faces
from roomlink.rehearsal.invariants import Broken, Watch, hold_to

FIRST_STAMP = 1_000_000.0
REST_S = 300.0
"""What is due later than this after a command is not waited for, such as an alarm for a wall that never comes."""
WAKES_MAX = 200
"""Wakes after one command at most: more, and the venue never comes to rest."""


BY_HAND = (Act, RecallScene, ReportControl)
"""Commands by which people use zones."""


class Step(NamedTuple):
    """A command, and how long to wait after it; None: until nothing is due any more."""

    command: Command
    wait: float | None = None


class Trial:
    """``begin``, then ``do`` step after step: ``Broken`` where a rule breaks, ``CallerFault`` where one is refused."""

    __slots__ = ("_data", "events", "now", "state", "steps", "watch")

    def __init__(self, data: Mapping[str, Any], spec: Spec | None = None) -> None:
        self.state = State()
        self.now = FIRST_STAMP
        self.steps: tuple[Step, ...] = ()
        self.events: list[Event] | None = None
        """Everything that happened since ``record``; None while nobody asks."""
        self.watch = Watch.over(spec or from_data(data))
        self._data = data

    def begin(self) -> None:
        """Make the venue. Raises ``Broken`` as ``do`` does."""
        self._carry_out(Configure(SERVICE, self._data, "proof"))
        self.watch.open = {name for name, wall in self.state.walls.items() if wall.joins}
        self.watch.used = {}

    def fork(self) -> Trial:
        """Another trial that goes on from here by itself."""
        other = Trial.__new__(Trial)
        other.state, other.now, other.steps = self.state.copy(), self.now, self.steps
        other.watch, other.events, other._data = self.watch.copy(), None, self._data
        return other

    def do(self, command: Command, wait: float | None = None) -> None:
        self.steps += (Step(command, wait),)
        if isinstance(command, ReportWall):
            self._expect(command)
        self._carry_out(command)
        self.pass_time(wait)

    def _expect(self, command: ReportWall) -> None:
        """Tell the watch from when on a report shall count. Only plain positions are known from outside."""
        assert command.pin is None, "pins are for scenarios"
        assert command.position is not None
        spec, wall = self.state.spec.partitions[command.partition], self.state.walls[command.partition]
        if command.position == wall.sensed:
            self.watch.expected.pop(command.partition, None)
        elif command.position in ("open", "closed"):
            self.watch.expect(command.partition, command.position == "open", self.now + spec.settle)
        elif command.position == "unknown" and spec.on_unknown == "closed":
            self.watch.expect(command.partition, False, self.now + spec.settle)

    def pass_time(self, wait: float | None) -> None:
        end = self.now + (REST_S if wait is None else wait)
        for _ in range(WAKES_MAX):
            due = next_deadline(self.state)
            if due is None or due > end:
                break
            self.now = max(self.now, due)
            self._carry_out(Wake())
        else:
            hold_to("rest", False, f"something was due {WAKES_MAX} times after one command")
        if wait is not None:
            self.now = end

    def _carry_out(self, command: Command) -> None:
        self.watch.look(self.state)
        try:
            decision = decide(self.state, command, self.now)
            events = decision.events
            for event in events:
                apply(self.state, event)
        except CallerFault:
            raise
        except Exception as error:  # whatever the engine stumbles over is what a proof is there to find
            raise Broken("whole", f"{type(error).__name__}: {error}") from error
        if self.events is not None:
            self.events += events
        self.watch.entry(self.state, self.now)
        if isinstance(command, BY_HAND) and events:
            self.watch.note_use(decision.reply["zones"], self.now)
            hold_to("used", self.watch.used == self.state.used, f"{command.by.who} used {decision.reply['zones']}")

    # Closer looks, taken now and then.

    def check_faces(self) -> None:
        check_faces(self.watch.plan, self.state, self.now)

    def check_snapshot(self) -> None:
        """A snapshot restores exactly this state."""
        restored = snapshot.restored(snapshot.snapshot(self.state))
        hold_to("replay", snapshot.same(restored, self.state), "a snapshot restores another state")

    def check_replay(self, base: State, commands: Iterable[Step]) -> None:
        """Events of ``commands``, folded into a copy of ``base`` (this state now), give the same state."""
        folded = base.copy()
        self.events = []
        for step in commands:
            self.do(*step)
        for event in self.events:
            apply(folded, event)
        self.events = None
        hold_to("replay", snapshot.same(folded, self.state), "a replay of the entries gives another state")
