"""Care where an output feeds power or motion: when a wanted change may reach the device. Pure; times are stamps.

These gates lie between what the core wants and what is sent, so that they hold whatever was ordered, and from a restart
on. They are no safety function: hard-wired protection comes first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from roomlink.drivers.outbox import Sample
from roomlink.drivers.port import Value
from roomlink.drivers.runner import Runner


@dataclass(slots=True)
class Supply:
    """One supply of power: loads on it are switched on one after another, ``stagger`` seconds apart.

    Those of ``loads`` that are ``last_on`` come on after all others that are on their way, and go off before them.
    """

    stagger: float
    next_on: float = 0.0
    loads: dict[str, PowerGate] = field(default_factory=dict)

    def book(self, at: float) -> float:
        """The earliest time from ``at`` on for one more load; it is taken by that."""
        at = max(at, self.next_on)
        self.next_on = at + self.stagger
        return at

    def arrange(self, now: float) -> list[str]:
        """Put loads that wait into order; gives those whose time is another now."""
        amplifiers = {name: gate for name, gate in self.loads.items() if gate.last_on}
        others = {name: gate for name, gate in self.loads.items() if not gate.last_on}
        moved = self._behind(amplifiers, others, True, now) if amplifiers else []
        return [*moved, *self._behind(others, amplifiers, False, now)] if amplifiers else moved

    def _behind(self, later: dict[str, PowerGate], first: dict[str, PowerGate], on: bool, now: float) -> list[str]:
        ahead = [gate.at for gate in first.values() if gate.waits(on, now) and gate.at is not None]
        if not ahead:
            return []
        after, moved = max(ahead) + self.stagger, []
        for name, gate in later.items():
            if gate.waits(on, now) and gate.at is not None and gate.at < after:
                gate.at = after
                moved.append(name)
                after += self.stagger if on else 0.0
                self.next_on = max(self.next_on, after) if on else self.next_on
        return moved


@dataclass(slots=True)
class PowerGate:
    """One load: on for ``min_on`` and off for ``min_off`` seconds at least, and in turn with others of its supply."""

    min_on: float
    min_off: float
    supply: Supply | None
    since: float
    """When the load was last switched, or may have been: the start of the service counts."""
    now_on: bool | None = None
    """What was last let through; None while nothing was."""
    to_on: bool = False
    at: float | None = None
    """When what is wanted is let through; None while nothing is."""
    last_on: bool = False
    """Of its supply's loads it comes on last and goes off first."""
    cool: float = 0.0
    """How many seconds it stays on after it is ordered off."""

    def want(self, on: bool, now: float, *, at_once: bool = False) -> tuple[Callable[[float], bool], float]:
        """The output as a function of time, and the time from which it stays as it is.

        ``at_once``: an override orders it, which waits for no lamp to cool.
        """
        self._settle(now)
        # A load that was never switched from here is taken for off: nothing is held on that nobody ordered on.
        before = bool(self.now_on)
        if self.at is not None and on == self.to_on:
            at = (
                min(self.at, max(now, self.since + self.min_on)) if at_once and not on else self.at
            )  # it keeps its turn
        elif on != before:
            cooled = now if on or at_once else now + self.cool
            at = max(cooled, self.since + (self.min_off if on else self.min_on))
            if on and self.supply is not None:
                at = self.supply.book(at)
        else:
            at = now
        self.to_on, self.at = on, at
        return self.sample(), at

    def sample(self) -> Callable[[float], bool]:
        """The output as a function of time, as it is now arranged."""
        on, at, before = self.to_on, self.at, bool(self.now_on)
        return lambda t: on if at is not None and t >= at else before

    def waits(self, on: bool, now: float) -> bool:
        """Whether it is on its way to on, or to off: also one that is let through at this very moment."""
        return self.at is not None and self.at >= now and self.to_on == on and bool(self.now_on) != on

    def hold(self, now: float) -> bool | None:
        """Forget what waits; gives what is on or off now, None where nothing was let through."""
        self._settle(now)
        self.at = None
        return self.now_on

    def _settle(self, now: float) -> None:
        """Take note of a change that has gone through by ``now``."""
        if self.at is not None and now >= self.at and self.now_on != self.to_on:
            self.now_on, self.since = self.to_on, self.at


@dataclass(slots=True)
class MotionGate:
    """The two outputs of one motion: never both, and a rest between them as the *device* got it, not as it was meant.

    ``clear`` is asked at each sample: the other direction must have been sent off, at least ``dead_time`` ago.
    """

    runner: Runner
    points: dict[str, str]
    """Direction (open, close) to the device's point."""
    dead_time: float
    on: Value = True
    off: Value = False

    def want(self, running: str | None, until: float | None, now: float) -> None:
        """Run a direction until ``until`` at the latest, or rest."""
        for direction, point in self.points.items():
            if direction == running and until is not None:
                self.runner.want(point, self._sample(direction, until), until)
            else:
                self.runner.want(point, self._rest, now)
                self.runner.hurry()

    def _rest(self, t: float) -> Value:
        return self.off

    def _sample(self, direction: str, until: float) -> Sample:
        def sample(t: float) -> Value:
            return self.on if t < until and self.clear(direction, t) else self.off

        return sample

    def clear(self, direction: str, now: float) -> bool:
        """Whether the other direction is known to be off at the device for long enough."""
        for other, point in self.points.items():
            if other == direction:
                continue
            place = self.runner.outbox.places.get(point)
            if place is None or not place.known or place.sent != self.off:
                return False
            if now - place.changed < self.dead_time:
                return False
        return True
