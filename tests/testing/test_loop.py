"""``testing.loop``: what is due runs in the order in which it was asked for, when told."""

from __future__ import annotations

import asyncio

import pytest

from roomlink.testing.loop import StillLoop


def test_nothing_runs_before_it_is_told_to() -> None:
    """And then everything, in order, with what that asks for."""
    loop, seen = StillLoop(), list[int]()
    with loop.running():

        def first() -> None:
            loop.call_soon(seen.append, 3)
            seen.append(1)

        asyncio.get_running_loop().call_soon(first)
        loop.call_soon(seen.append, 2)
        assert seen == []
        assert loop.run_ready()
    assert seen == [1, 2, 3]
    assert not loop.run_ready()


def test_a_task_waits_for_its_future() -> None:
    """Coroutines go on when what they wait for is there."""
    loop = StillLoop()
    with loop.running():
        future = loop.create_future()

        async def twice() -> int:
            return 2 * int(await future)

        task = loop.create_task(twice())
        loop.run_ready()
        assert not task.done()
        future.set_result(21)
        loop.run_ready()
    assert task.result() == 42


def test_the_end_cancels_what_still_waits() -> None:
    """Its last words are said, and nothing else that was due."""
    loop, seen = StillLoop(), list[str]()
    with loop.running():

        async def wait() -> None:
            try:
                await loop.create_future()
            finally:
                seen.append("closed")

        loop.create_task(wait())
        loop.run_ready()
        loop.call_soon(seen.append, "due")
        loop.end()
    assert seen == ["closed"]


def test_what_a_callback_fails_with_is_kept() -> None:
    """The others run all the same."""
    loop, seen = StillLoop(), list[int]()
    with loop.running():
        loop.call_soon(lambda: 1 / 0)
        loop.call_soon(seen.append, 1)
        loop.run_ready()
    assert seen == [1]
    assert [type(error) for error in loop.errors] == [ZeroDivisionError]


def test_callbacks_without_end_are_an_error() -> None:
    """A simulation must not hang."""
    loop = StillLoop()

    def again() -> None:
        loop.call_soon(again)

    again()
    with pytest.raises(RuntimeError, match="without end"):
        loop.run_ready()
