"""Stands in for a device's runner on virtual time: the real outbox, and a stand of the bench in place of the rack."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from roomlink.drivers.outbox import Outbox, Sample
from roomlink.drivers.port import Value
from roomlink.drivers.runner import BACKOFF_S_MAX, STEADY_S, Health
from roomlink.drivers.simulated.bench import Sent, Stand
from roomlink.testing.clock import VirtualClock, VirtualTimer

SAMPLE_S = 0.05
"""How often a motion's outputs are looked at while it runs or waits to; ramps are sampled when somebody looks."""


class StandIn:
    """What ``runtime.outputs`` asks of ``drivers.runner.Runner``, driven by a ``VirtualClock``."""

    def __init__(
        self,
        stand: Stand,
        clock: VirtualClock,
        hear: Callable[[str, Value], None],
        health: Callable[[Health], None],
        connected: Callable[[], None],
        *,
        moves: bool,
        plugged: bool = True,
    ) -> None:
        self.name = stand.name
        self.stand = stand
        self.outbox = Outbox()
        self.health = Health(False, clock.stamp(), "not connected yet")
        self._clock = clock
        self._hear, self._tell, self._tell_connected = hear, health, connected
        self._moves = moves
        self._plugged = plugged
        self._connected = False
        self._busy_until = 0.0
        self._timer: VirtualTimer | None = None
        self._began = False

    # As the runner.

    def start(self) -> None:
        self._began = True
        # Like the runner's, this begins once whoever starts it is done.
        self._clock.call_at(self._clock.stamp(), self._begin)

    async def stop(self) -> None:
        self.end()

    @property
    def connected(self) -> bool:
        return self._connected

    def want(self, point: str, wanted: Sample, until: float) -> None:
        self.outbox.want(point, wanted, until)
        self._soon()

    def hurry(self) -> None:
        self._soon()

    def again(self, point: str) -> None:
        self.outbox.again(point)
        self._soon()

    def snapshot(self) -> dict[str, Any]:
        return {}

    # At the device.

    def unplug(self, *, power: bool) -> None:
        self._plugged = self._connected = False
        self.stand.unplug(power=power)
        self.outbox.lost()
        if self.health.up:
            self._down()

    def plug(self) -> None:
        """It is found again after the longest wait between two attempts, and counts as up when that lasts."""
        if self._plugged:
            return
        self._plugged = True
        self.stand.plug()
        back = self._clock.stamp() + BACKOFF_S_MAX
        self._clock.call_at(back, self._connect)
        self._clock.call_at(back + STEADY_S, self._up)

    def end(self) -> None:
        """The service stops or the device is configured no more: what is due is sent, and that is all."""
        self.pump()
        self._began = self._connected = False
        self.stand.detach()
        if self._timer is not None:
            self._timer.cancel()

    def level(self, point: str) -> Value:
        """What the device is at a point now."""
        self.pump()
        return self.stand.values.get(point)

    # Between the two.

    def _begin(self) -> None:
        self._connect()
        if self._plugged:
            self._up()
        elif self._began:
            self._down()

    def _connect(self) -> None:
        if self._plugged and self._began and not self._connected:
            self._connected = True
            self._tell_connected()
            self.stand.attach(self._heard)
            self._soon()

    def _up(self) -> None:
        if self._connected and not self.health.up:
            self.health = Health(True, self._clock.stamp(), "")
            self._tell(self.health)

    def _down(self) -> None:
        self.health = Health(False, self._clock.stamp(), f"the simulated device {self.name} is unplugged")
        self._tell(self.health)

    def _heard(self, point: str, value: Value) -> None:
        if self.outbox.reported(point, value):
            self._hear(point, value)

    def _soon(self, at: float = 0.0) -> None:
        """Look again at ``at``, or within this same instant."""
        at = max(at, self._clock.stamp())
        if self._timer is not None and self._timer.waits:
            if self._timer.stamp <= at:
                return
            self._timer.cancel()
        self._timer = self._clock.call_at(at, self.pump)

    def pump(self) -> None:
        """Send what differs and say when to look again."""
        now = self._clock.stamp()
        if not self._connected:
            return
        if now < self._busy_until:
            self._soon(self._busy_until)
            return
        values = self.outbox.take(now)
        if values:
            self._send(values, now)
        if not self.outbox.idle:
            self._soon(self._next(now))

    def _next(self, now: float) -> float:
        ends = [place.until for place in self.outbox.places.values() if not place.settled and place.until > now]
        first = min(ends, default=now + SAMPLE_S)
        return max(self._busy_until, min(first, now + SAMPLE_S) if self._moves else first)

    def _send(self, values: dict[str, Value], now: float) -> None:
        taken = {}
        for point, value in values.items():
            if point in self.stand.refusals:
                self.outbox.refused(point, self.stand.refusals[point], value, now)
            else:
                taken[point] = value
        if not self.stand.delay_s:
            self._arrive(taken, now)
            return
        self._busy_until = now + self.stand.delay_s
        self._clock.call_at(self._busy_until, lambda: self._arrive(taken, now))

    def _arrive(self, values: dict[str, Value], taken_at: float) -> None:
        if not self._connected:
            return
        now = self._clock.stamp()
        for point, value in values.items():
            self.stand.values[point] = value
            self.stand.sent.append(Sent(now, point, value))
        self.outbox.sent(values, set(values) if self.stand.confirms else set(), taken_at, now)
