"""``runtime.spacing``: what nobody waits for leaves time to those who wait."""

from __future__ import annotations

from roomlink.runtime.spacing import REST_S_MAX, REST_TIMES, Spaced
from roomlink.testing.loop import StillLoop


class Timed(StillLoop):
    """It notes for how long somebody wants to rest."""

    def __init__(self) -> None:
        super().__init__()
        self.rests: list[float] = []

    def call_later(self, delay, callback, *args, context=None):  # type: ignore[no-untyped-def]  # as in StillLoop
        self.rests.append(delay)
        return super().call_later(delay, callback, *args, context=context)


def rests(*took: float, between: float = 0.0) -> list[float]:
    """The rests before the second and each later piece of work, of which each takes so long."""
    loop, now = Timed(), [100.0]
    spaced = Spaced(lambda: now[0])

    def work(seconds: float) -> None:
        now[0] += seconds

    with loop.running():
        for seconds in took:
            spaced(lambda seconds=seconds: work(seconds))  # type: ignore[misc]  # bound now, not when it is called
            loop.run_ready()
            now[0] += between
    return loop.rests


def test_after_work_comes_a_rest_of_several_times_its_length() -> None:
    """The first begins at once."""
    assert [round(rest, 9) for rest in rests(0.001, 0.002, 0.0)] == [REST_TIMES * 0.001, REST_TIMES * 0.002]


def test_no_rest_is_long_enough_to_be_seen() -> None:
    """However long the work took."""
    assert [round(rest, 9) for rest in rests(1.0, 0.0)] == [REST_S_MAX]


def test_who_comes_after_the_rest_begins_at_once() -> None:
    """The time between counts."""
    assert rests(0.001, 0.001, 0.001, between=REST_TIMES * 0.0011) == []


def test_a_clock_that_went_back_makes_no_long_rest() -> None:
    """One that follows another machine's may: then work begins at once."""
    now, loop, done = [100.0], Timed(), []
    spaced = Spaced(lambda: now[0])
    with loop.running():
        spaced(lambda: done.append(1))
        loop.run_ready()
        now[0] = 50.0
        spaced(lambda: done.append(2))
        loop.run_ready()
    assert (done, loop.rests) == ([1, 2], [])
