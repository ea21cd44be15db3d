"""What those share who speak with the world outside: waiting by the service's clock, and addresses without secrets."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from roomlink.core.commands import Command
from roomlink.core.state import State
from roomlink.diary.intake import Trial
from roomlink.runtime.clock import Clock
from roomlink.runtime.writer import Writer


class Bell:
    """Waits for a ring, or for time to pass on the service's clock, whichever is first."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._rung = asyncio.Event()

    def ring(self) -> None:
        self._rung.set()

    async def wait(self, seconds: float | None = None) -> None:
        """Return at the next ring (or at once if it rang since the last wait), or after ``seconds``."""
        timer = None
        if seconds is not None:
            timer = self._clock.call_at(self._clock.stamp() + seconds, self._rung.set)
        try:
            await self._rung.wait()
        finally:
            self._rung.clear()
            if timer is not None:
                timer.cancel()


class LiveDesk:
    """Where ``diary.intake`` has its commands carried out for good."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer

    @property
    def state(self) -> State:
        return self._writer.state

    @property
    def now(self) -> float:
        return self._writer.clock.stamp()

    async def carry_out(self, command: Command) -> Mapping[str, Any]:
        # A long calendar that changes nothing would otherwise let nobody else have a turn.
        await asyncio.sleep(0)
        return (await self._writer.submit(command)).reply


class TrialDesk(Trial):
    """A trial during which others have their turns."""

    async def carry_out(self, command: Command) -> Mapping[str, Any]:
        await asyncio.sleep(0)
        return await super().carry_out(command)


def shown_url(url: str) -> str:
    """An address as everybody may see it: names and passwords, and whatever is asked for, may be secrets."""
    parts = urlsplit(url)
    port = f":{parts.port}" if parts.port else ""
    return f"{parts.scheme}://{parts.hostname}{port}{parts.path}" + ("?…" if parts.query else "")
