"""``runtime.ending``: a task that forgets to be cancelled ends all the same."""

from __future__ import annotations

import asyncio

from roomlink.runtime.ending import ended


async def test_one_that_forgets_is_told_again() -> None:
    """As what waits with a deadline may, in the instant in which it gets what it waits for."""
    forgot: list[int] = []

    async def forgetful() -> None:
        while len(forgot) < 3:
            try:
                await asyncio.sleep(60)
            except asyncio.CancelledError:
                forgot.append(1)
        await asyncio.sleep(60)

    async def wrong() -> None:
        raise OSError("its own failure is nobody's business any more")

    task, other = asyncio.create_task(forgetful()), asyncio.create_task(wrong())
    await asyncio.sleep(0)
    async with asyncio.timeout(5):
        await ended(task, other, None)
    assert task.cancelled()
    assert len(forgot) == 3
