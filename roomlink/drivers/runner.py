"""Runs one device: connects, drives it towards what is wanted, listens, and begins again after every outage."""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.drivers.outbox import Outbox, Sample
from roomlink.drivers.port import CONNECT_S_MAX, Device, DeviceFault, PointFault, Value, WireFault

BACKOFF_S_MIN, BACKOFF_S_MAX = 0.2, 1.5
"""Waits between attempts to connect; a device that returns is driven within 2 s."""
STOP_S_MAX = 2.0

LOST = (DeviceFault, WireFault, OSError, TimeoutError, EOFError)


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
    ) -> None:
        self.name = name
        self.device = device
        self.outbox = Outbox()
        self.health = Health(False, now(), "not connected yet")
        self._now, self._hear, self._tell = now, hear, health
        self._news = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._tries = 0

    def start(self) -> None:
        """Needs a running event loop."""
        self._task = asyncio.create_task(self._run(), name=f"device {self.name}")

    async def stop(self) -> None:
        """Send what is due, say good-bye, end."""
        task, self._task = self._task, None
        if task is not None:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task

    def want(self, point: str, wanted: Sample, until: float) -> None:
        """Drive a point; see ``Outbox.want``."""
        self.outbox.want(point, wanted, until)
        self._news.set()

    async def _run(self) -> None:
        try:
            while True:
                try:
                    await self._session()
                except LOST as error:
                    self._down(str(error) or type(error).__name__)
                finally:
                    await self._close()
                self.outbox.lost()
                most = min(BACKOFF_S_MAX, BACKOFF_S_MIN * 2**self._tries)
                self._tries += 1
                # Chance keeps a hundred devices behind one switch from all coming back in the same instant.
                await asyncio.sleep(most * (0.5 + random.random() / 2))
        finally:
            await self._close()

    async def _close(self) -> None:
        # A good-bye may take its time, but not the service's.
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self.device.close(), STOP_S_MAX)

    async def _session(self) -> None:
        """One connection, from its beginning to its loss."""
        await asyncio.wait_for(self.device.connect(self._heard), CONNECT_S_MAX)
        self._up()
        serve = asyncio.create_task(self.device.serve())
        drive = asyncio.create_task(self._drive())
        try:
            done, _ = await asyncio.wait((serve, drive), return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
            raise DeviceFault("the connection ended")
        finally:
            for task in (serve, drive):
                task.cancel()
            await asyncio.gather(serve, drive, return_exceptions=True)

    async def _drive(self) -> None:
        """Send what differs, no oftener than the device takes it; sleep while nothing does."""
        pause = 1.0 / self.device.rate_hz
        while True:
            self._news.clear()
            now = self._now()
            values = self.outbox.take(now)
            if values:
                await self._send(values, now)
            elif self.outbox.idle:
                await self._news.wait()
                continue
            await asyncio.sleep(pause)

    async def _send(self, values: Mapping[str, Value], now: float) -> None:
        rest = dict(values)
        while rest:
            try:
                confirmed = await self.device.send(rest)
            except PointFault as fault:
                self.outbox.refused(fault.point, str(fault))
                if rest.pop(fault.point, None) is None:
                    raise DeviceFault(str(fault)) from fault
                continue
            self.outbox.sent(rest, confirmed, now)
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
        """For ``/devices``: wanted, sent, reported and confirmed, point by point."""
        now = self._now()
        return {
            name: {
                "wanted": place.wanted(now),
                "sent": place.sent if place.known else None,
                "reported": place.reported,
                "confirmed": place.confirmed,
                "fault": place.fault,
            }
            for name, place in self.outbox.places.items()
        }
