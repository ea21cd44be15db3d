"""What people ask of open walls and of arrangements. Nothing here moves a wall."""

from __future__ import annotations

from dataclasses import dataclass

from roomlink.core.actor import Actor


@dataclass(frozen=True, slots=True)
class CombineWall:
    """Combine the zones of an open wall (``combine``), or keep it as a division though it is open.

    A ``controller`` asks from its panel: it may speak for its own group, if it leads it or nobody does.
    """

    by: Actor
    partition: str
    combine: bool
    controller: str | None = None


@dataclass(frozen=True, slots=True)
class StateArrangement:
    """State the positions of all walls of a named arrangement at once, as pins.

    ``pin`` in seconds; None: as configured; 0 takes the pins of its walls away.
    """

    by: Actor
    arrangement: str
    pin: float | None = None


DivisionCommand = CombineWall | StateArrangement
