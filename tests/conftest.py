"""Fixtures for all tests: a venue's folder, the service in this process or in its own. What they start, they stop."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest
import structlog

from roomlink.testing.clock import VirtualClock
from tests.api.harness import Running, Served, running, write_venue


@pytest.fixture(autouse=True, scope="session")
def _quiet() -> None:
    """The log of services that run in this process is dropped: tests look at what is told to callers."""
    structlog.configure(logger_factory=structlog.ReturnLoggerFactory(), cache_logger_on_first_use=False)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The folder of Harbour Hall, to be changed at will."""
    return write_venue(tmp_path / "harbour")


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock()


@pytest.fixture
async def start(folder: Path) -> AsyncIterator[Callable[..., Awaitable[Running]]]:
    """Start the service in this process; options as for ``running``."""
    async with AsyncExitStack() as stack:

        async def begin(**options: Any) -> Running:
            return await stack.enter_async_context(running(folder, **options))

        yield begin


@pytest.fixture
async def service(start: Callable[..., Awaitable[Running]], clock: VirtualClock) -> Running:
    """The service in this process, on a clock that only moves when told."""
    return await start(clock=clock)


@pytest.fixture
def serve(folder: Path, tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Start ``roomlink serve`` in a process of its own, with a journal that outlives it."""
    started: list[Served] = []

    def begin(*more: str, data: Path | None = tmp_path / "data", sign_in: bool = False) -> Served:
        served = Served(folder, data, *more, sign_in=sign_in)
        started.append(served)
        return served

    yield begin
    for served in started:
        served.stop()
