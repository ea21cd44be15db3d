"""Runs one device: connects, drives it towards what is wanted, listens, and begins again after every outage."""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.drivers.outbox import Outbox, Sample, alike
from roomlink.drivers.port import CONNECT_S_MAX, Device, DeviceFault, PointFault, Value, WireFault

BACKOFF_S_MIN, BACKOFF_S_MAX = 0.2, 1.5
"""Waits between attempts to connect; a device that returns is driven within 2 s."""
DOUBLINGS_MAX = 8
STEADY_S = 1.0
"""After a failure a connection counts as up when it lasted this long: one that comes and goes is not told each time."""
STOP_S_MAX = 2.0

LOST = (DeviceFault, WireFault, OSError, TimeoutError, EOFError)
DRIVER_FAILED = "the driver failed: "
"""How ``Health.why`` begins when a driver raised what the port does not allow."""


@dataclass(frozen=True, slots=True)
class Health:
    """Whether a device can be talked to, since when, and what was last wrong with it."""

    up: bool
    since: float
    why: str


class Runner:
    """One device. ``hear`` gets its reports, ``health`` every change of its health; both in the event loop."""

    def __init__(
        self,
        name: str,
        device: Device,
        now: Callable[[], float],
        hear: Callable[[str, Value], None],
        health: Callable[[Health], None],
        connected: Callable[[], None] = lambda: None,
        may_send: Callable[[], bool] = lambda: True,
        resting: Collection[str] = (),
    ) -> None:
        """``may_send`` is asked before each sending; where it says no, only ``stop`` sends, and only to ``resting``.

        Those points carry motion: by then they are at rest, and another may drive all else.
        """
        self.name = name
        self.device = device
        self.outbox = Outbox()
        self.health = Health(False, now(), "not connected yet")
        self._now, self._hear, self._tell, self._tell_connected = now, hear, health, connected
        self._may_send, self._resting = may_send, resting
        self._news = asyncio.Event()
        self._hurried = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._tries = 0
        self._connected = self._ending = False

    def start(self) -> None:
        """Needs a running event loop."""
        self._ending = False
        self._task = asyncio.create_task(self._run(), name=f"device {self.name}")

    async def stop(self) -> None:
        """Send what is due, say good-bye, end; takes ``STOP_S_MAX`` twice at most. Does no harm when called again."""
        task, self._task = self._task, None
        if task is None:
            return
        self._ending = True
        self.hurry()
        if self._connected:
            await asyncio.wait((task,), timeout=STOP_S_MAX)
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task

    @property
    def connected(self) -> bool:
        """Whether it can be talked to at this moment; ``health`` also asks that this lasts."""
        return self._connected

    def want(self, point: str, wanted: Sample, until: float) -> None:
        """Drive a point; see ``Outbox.want``."""
        self.outbox.want(point, wanted, until)
        self._news.set()

    def hurry(self) -> None:
        """What is wanted now may pass the rate limit once: for what goes towards safe."""
        self._hurried.set()
        self._news.set()

    def again(self, point: str) -> None:
        """Drive a point again, as the device no longer is where it was driven to."""
        self.outbox.again(point)
        self._news.set()

    async def _run(self) -> None:
        while True:
            try:
                await self._session()
            except LOST as error:
                self._down(str(error) or type(error).__name__)
            except Exception as error:  # a driver of a third party may raise anything; the device must be driven again
                self._down(f"{DRIVER_FAILED}{error!r}")
            finally:
                await self._close()
            if self._ending:
                return
            self.outbox.lost()
            most = min(BACKOFF_S_MAX, BACKOFF_S_MIN * 2 ** min(self._tries, DOUBLINGS_MAX))
            self._tries += 1
            # Chance keeps a hundred devices behind one switch from all coming back in the same instant.
            await asyncio.sleep(most * (0.5 + random.random() / 2))

    async def _close(self) -> None:
        # A good-bye may take its time, but not the service's; and a driver that fails at it must not end the driving.
        with contextlib.suppress(Exception):
            await asyncio.wait_for(self.device.close(), STOP_S_MAX)

    async def _session(self) -> None:
        """One connection, from its beginning to its loss, or until ``stop``."""
        await asyncio.wait_for(self.device.connect(self._heard), CONNECT_S_MAX)
        steady = asyncio.get_running_loop().call_later(STEADY_S if self._tries else 0.0, self._up)
        self._connected = True
        self._tell_connected()
        serve = asyncio.create_task(self.device.serve())
        drive = asyncio.create_task(self._drive())
        try:
            done, _ = await asyncio.wait((serve, drive), return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
            if not self._ending:
                raise DeviceFault("the connection ended")
        finally:
            self._connected = False
            steady.cancel()
            for task in (serve, drive):
                task.cancel()
            await asyncio.gather(serve, drive, return_exceptions=True)

    async def _drive(self) -> None:
        """Send what differs, no oftener than the device takes it; sleep while nothing does; return on ``stop``."""
        clock = asyncio.get_running_loop().time
        pause = 1.0 / self.device.rate_hz
        while True:
            self._news.clear()
            began, now = clock(), self._now()
            values = self.outbox.take(now)
            if values and not self._may_send():
                values = {point: v for point, v in values.items() if self._ending and point in self._resting}
            if values:
                await self._send(values, now)
            if self._ending:
                return
            if values or not self.outbox.idle:
                await self._rest(max(0.0, began + pause - clock()))
            else:
                await self._news.wait()

    async def _rest(self, seconds: float) -> None:
        self._hurried.clear()
        # Not `wait_for`: that makes a task of its own for each sending.
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._hurried.wait()

    async def _send(self, values: Mapping[str, Value], now: float) -> None:
        rest = dict(values)
        while rest:
            try:
                confirmed = await self.device.send(rest)
            except PointFault as fault:
                if fault.point not in rest:
                    raise DeviceFault(str(fault)) from fault
                self.outbox.refused(fault.point, str(fault), rest.pop(fault.point), now)
                continue
            self.outbox.sent(rest, confirmed, now, self._now())
            return

    def _heard(self, point: str, value: Value) -> None:
        if self.outbox.reported(point, value):
            self._hear(point, value)

    def _up(self) -> None:
        self._tries = 0
        self.health = Health(True, self._now(), "")
        self._tell(self.health)

    def _down(self, why: str) -> None:
        if self.health.up or self._tries == 0:
            self.health = Health(False, self._now(), why)
            self._tell(self.health)

    def snapshot(self) -> dict[str, Any]:
        """For ``/devices``: wanted, sent, reported and whether what is wanted is confirmed, point by point."""
        now = self._now()
        answer = {}
        for name, place in self.outbox.places.items():
            wanted = place.wanted(now)
            answer[name] = {
                "wanted": wanted,
                "sent": place.sent if place.known else None,
                "reported": place.reported,
                "confirmed": place.confirmed and alike(place.sent, wanted),
                "fault": place.fault,
            }
        return answer
