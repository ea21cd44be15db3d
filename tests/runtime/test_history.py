"""``runtime.history``: what was so then, and not what is so now."""

from __future__ import annotations

import pytest

from roomlink.core.commands import SERVICE, Configure
from roomlink.errors import BadValue
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.history import view_at
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from roomlink.testing.faults import FaultyJournal
from roomlink.venue.load import Loaded
from tests.api.harness import quiet
from tests.runtime.conftest import link, volume


async def volume_at(writer: Writer, at: float) -> float:
    view = await view_at(writer.journal, at, writer.clock.stamp(), writer.state)
    value: float = view["zones"]["heron"]["controls"]["volume"]["value"]
    return value


async def test_a_level_is_seen_where_it_was_on_its_way(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """Before, on the way, at the end, and after a later order."""
    start = clock.stamp()
    clock.advance(10.0)
    await writer.submit(volume(-10.0, over=4.0))
    clock.advance(20.0)
    await quiet(writer)
    await writer.submit(volume(-50.0))
    assert await volume_at(writer, start + 9.999) == -30.0
    assert await volume_at(writer, start + 12.0) == pytest.approx(-20.0)
    assert await volume_at(writer, start + 14.0) == -10.0
    assert await volume_at(writer, start + 29.999) == -10.0
    assert await volume_at(writer, start + 30.0) == -50.0


async def test_a_snapshot_since_then_does_not_hide_it(
    writer: Writer, journal: FaultyJournal, clock: VirtualClock
) -> None:
    """Neither one from before that time nor one from after it."""
    start = clock.stamp()
    for i in range(10):
        clock.advance(10.0)
        await writer.submit(volume(-20.0 - i))
        writer.save_snapshot()
        await quiet(writer)
    clock.advance(10.0)
    for i in range(10):
        assert await volume_at(writer, start + 10.0 * i + 15.0) == -20.0 - i


async def test_the_configuration_of_that_time_counts(writer: Writer, clock: VirtualClock, harbour: Loaded) -> None:
    """A controller that has gone since is seen where it was."""
    before = clock.stamp()
    clock.advance(5.0)
    await writer.submit(link("plover", "tern-wall"))
    clock.advance(5.0)
    controllers = {name: c for name, c in harbour.data["controllers"].items() if name != "tern-wall"}
    await writer.submit(Configure(SERVICE, {**harbour.data, "controllers": controllers}, "another"))
    now = clock.stamp()
    then = await view_at(writer.journal, before + 6.0, now, writer.state)
    assert [one["zone"] for one in then["controllers"]["tern-wall"]["links"]] == ["tern", "plover"]
    assert "tern-wall" not in (await view_at(writer.journal, now, now, writer.state))["controllers"]


async def test_the_future_is_refused(writer: Writer, clock: VirtualClock) -> None:
    """With the time that it is."""
    with pytest.raises(BadValue, match="lies ahead"):
        await view_at(writer.journal, clock.stamp() + 1.0, clock.stamp(), writer.state)


async def test_a_time_before_everything_is_refused(writer: Writer, clock: VirtualClock) -> None:
    """There is no state to show, and an empty one would be a lie."""
    with pytest.raises(BadValue, match="nothing was recorded yet"):
        await view_at(writer.journal, clock.stamp() - 1.0, clock.stamp(), writer.state)
    with pytest.raises(BadValue, match="nothing was recorded yet"):
        await view_at(MemoryJournal(), clock.stamp(), clock.stamp(), writer.state)
