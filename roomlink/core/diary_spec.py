"""What the configuration says of the diary: crews, what bookings have, routines. A part of ``spec``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CrewSpec:
    """People who move walls, one at a time, from ``start`` to ``end`` in minutes of the day on the venue's clock.

    An ``end`` that is not after ``start`` is on the next day.
    """

    name: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class BookingsSpec:
    """What bookings have where they say nothing else. ``set_up`` and ``clear_down`` in seconds.

    ``infeasible``: a turn that the crews cannot make is refused at booking (``refuse``) or only told (``flag``).
    """

    set_up: float = 0.0
    clear_down: float = 0.0
    infeasible: str = "flag"
    warn: float = 0.0
    """How many seconds before the end its guests are told; 0: never."""
    extend: tuple[float, ...] = ()
    """How many seconds more they are offered then."""


@dataclass(frozen=True, slots=True)
class RoutineSpec:
    """A scene that recurs outside bookings. ``cron`` fields in the venue's time zone; ``zones`` None: the scene's.

    ``when_busy``: in a zone that a booking holds it is left out (``skip``) or done once the zone is free (``defer``).
    """

    scene: str
    cron: Mapping[str, str]
    zones: tuple[str, ...] | None = None
    over: float = 0.0
    when_busy: str = "skip"
    name: str = ""
    unless_used: float = 0.0
    """For how many seconds a use by hand, or presence, puts it off; 0: it runs whoever is there."""
    warn: float = 300.0
    """How many seconds before it people are told whom it would surprise."""
