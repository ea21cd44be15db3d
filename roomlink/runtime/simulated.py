"""Simulated walls: contacts that a person can move on the plan, where the configuration says so.

A simulated wall reports as a real pair of contacts would: neither end made while it runs, then the other end.
"""

from __future__ import annotations

from collections.abc import Callable

from roomlink.core.commands import Actor, ReportWall
from roomlink.core.spec import Spec
from roomlink.core.state import State
from roomlink.core.walls import STATED
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.runtime.clock import Clock, Timer

RUN_S = 3.0
"""How long a simulated wall runs from end to end."""

WALL = Actor("simulated wall", "contact")
ENDS = {"closed": (True, False), "open": (False, True)}


class SimulatedWalls:
    """Moves simulated walls; ``submit`` takes the reports of their contacts."""

    def __init__(self, clock: Clock, submit: Callable[[ReportWall], object]) -> None:
        self._clock = clock
        self._submit = submit
        self._running: dict[str, Timer] = {}

    def begin(self, state: State) -> None:
        """Simulated walls that have never reported are closed, as a real contact would say at once."""
        for partition, data in state.spec.data["partitions"].items():
            if data.get("simulated") and state.walls[partition].sensed is None:
                self._submit(ReportWall(WALL, partition, contacts=ENDS["closed"]))

    def leaving(self, spec: Spec, partition: str, position: str) -> ReportWall:
        """The report with which a run to ``position`` begins; carry it out, then call ``run``.

        Raises ``CallerFault`` for what is no simulated wall or no end.
        """
        if partition not in spec.partitions:
            raise UnknownName("partition", partition, list(spec.partitions))
        if not spec.data["partitions"][partition].get("simulated"):
            raise Refused("not-simulated", f"{partition} is a real wall: only people and its crew move it")
        if position not in STATED:
            raise BadValue("position", f"{position!r} is not an end: {', '.join(STATED)}", allowed=list(STATED))
        return ReportWall(WALL, partition, contacts=(False, False))

    def run(self, partition: str, position: str) -> None:
        """Let a wall run towards ``position``; its contacts report when it is there."""
        if partition in self._running:
            self._running.pop(partition).cancel()
        self._running[partition] = self._clock.call_at(
            self._clock.stamp() + RUN_S, lambda: self._arrive(partition, position)
        )

    def _arrive(self, partition: str, position: str) -> None:
        self._running.pop(partition, None)
        self._submit(ReportWall(WALL, partition, contacts=ENDS[position]))

    def stop(self) -> None:
        for timer in self._running.values():
            timer.cancel()
        self._running.clear()
