"""``runtime.cluster.member``: one venue, one writer, and whoever follows it."""

from __future__ import annotations

import asyncio

import pytest

from roomlink.core.commands import Act, Actor, Command
from roomlink.errors import CallerFault, JournalFailed
from roomlink.runtime.cluster import member as members
from tests.runtime.cluster.conftest import Hall, Node, until

BY = Actor("desk", "http")


def switch(zone: str, on: bool = True) -> Command:
    return Act(BY, "mute", "set", None, zone, on)


def muted(node: Node) -> object:
    return getattr(node.member.state.controls[zone_of(node), "mute"], "value", None)


def zone_of(node: Node) -> str:
    return next(iter(node.member.state.spec.zones))


async def test_a_follower_shows_what_the_writer_writes(hall: Hall) -> None:
    """Its state, position and listeners follow, entry by entry."""
    a = await hall.led()
    b = await hall.node("b")
    await until(lambda: b.member.engine.seq == a.member.engine.seq)
    listener = b.member.hub.join(None, lambda: None)
    await a.member.submit(switch(zone_of(a), not muted(a)))
    await until(lambda: b.member.engine.seq == a.member.engine.seq)
    assert b.member.state.controls == a.member.state.controls
    await until(lambda: listener.waiting)


async def test_a_followers_command_is_carried_out_by_the_writer_and_seen_before_it_is_answered(hall: Hall) -> None:
    """With its own reply; a refusal is the same problem as on the writer."""
    a = await hall.led()
    b = await hall.node("b")
    await until(lambda: b.member.engine.seq == a.member.engine.seq)
    zone = zone_of(a)
    receipt = await b.member.submit(switch(zone, False))
    assert b.member.engine.seq >= receipt.seq
    assert muted(a) is False
    assert receipt.reply["zones"] == [zone]
    with pytest.raises(CallerFault, match="there is no zone named 'nowhere'"):
        await b.member.submit(switch("nowhere"))


async def test_the_lead_is_handed_over_without_a_command_refused(hall: Hall) -> None:
    """Commands of all nodes go on; each is carried out once, in one chain."""
    a = await hall.led()
    b = await hall.node("b")
    zone = zone_of(a)
    done: list[int] = []

    async def storm(node: Node, count: int) -> None:
        for i in range(count):
            receipt = await node.member.submit(switch(zone, i % 2 == 0))
            done.append(receipt.seq)

    storms = [asyncio.create_task(storm(node, 40)) for node in (a, b)]
    await asyncio.sleep(0.05)
    assert await a.member.lead_no_more()
    a.member.follow()
    await b.member.lead()
    await asyncio.gather(*storms)
    assert b.member.leading
    assert not a.member.leading
    await until(lambda: a.member.engine.seq == b.member.engine.seq)
    assert a.member.state.controls == b.member.state.controls
    assert len(done) == 80


async def test_a_writer_that_was_replaced_is_told_and_can_follow(hall: Hall) -> None:
    """What it had not made durable never happened; it shows what the other one writes."""
    a = await hall.led()
    b = await hall.node("b")
    zone = zone_of(a)
    await b.member.lead()
    await b.member.submit(switch(zone, False))
    with pytest.raises(JournalFailed, match="another node writes"):
        await a.member.submit(switch(zone, True))
    await a.member.lead_no_more()
    a.member.follow()
    await until(lambda: a.member.engine.seq == b.member.engine.seq)
    assert a.member.state.controls == b.member.state.controls
    assert muted(a) is False


async def test_without_a_writer_a_command_is_refused_in_time(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    """And says that nothing was done."""
    a = await hall.led()
    monkeypatch.setattr(members, "PATIENCE_S", 0.3)
    await a.member.lead_no_more()
    a.member.follow()
    with pytest.raises(JournalFailed, match="no node writes the venue now; nothing was done"):
        await a.member.submit(switch(zone_of(a)))


async def test_a_writer_whose_lease_has_run_out_takes_nothing(hall: Hall) -> None:
    """Whatever the journal would say: the lease is asked first."""
    a = await hall.led()
    a.member.may_lead = lambda: False
    with pytest.raises(JournalFailed, match="another may write"):
        await a.member.submit(switch(zone_of(a)))
    a.member.may_lead = lambda: True
