"""Ending a task that waits with a deadline."""

from __future__ import annotations

import asyncio
from typing import Any

AGAIN_S = 0.1


async def ended(*tasks: asyncio.Task[Any] | None) -> None:
    """Cancel until they end, whatever they end with.

    Once is not enough: ``asyncio.wait_for`` of 3.11 forgets being cancelled in the instant in which what it waits for
    is there, and the client library waits in that way.
    """
    left = {task for task in tasks if task is not None}
    while left:
        for task in left:
            task.cancel()
        over, left = await asyncio.wait(left, timeout=AGAIN_S)
        for task in over:
            if not task.cancelled():
                task.exception()
