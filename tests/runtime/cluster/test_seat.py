"""``runtime.cluster.seat``: who leads, and how the lead goes from one node to the next."""

from __future__ import annotations

import asyncio
from typing import Any

import nats
import pytest

from roomlink.core.commands import Act, Actor
from roomlink.errors import JournalDamaged, JournalFailed, RoomlinkError
from roomlink.journal.jetstream import JetStreamJournal, Place
from roomlink.runtime.cluster import lease
from roomlink.runtime.cluster import seat as seats_of
from tests.runtime.cluster.conftest import Hall, Seated, until

BY = Actor("desk", "http")


def switch(on: bool) -> Act:
    return Act(BY, "mute", "set", None, "a", on)


async def led_by(*seats: Seated) -> Seated:
    await until(lambda: any(seat.told[-1:] == ["begin"] for seat in seats))
    return next(seat for seat in seats if seat.member.leading)


async def test_one_of_several_leads_and_the_others_follow(hall: Hall) -> None:
    """The lease says which; its work is begun once, there."""
    seats = [await hall.seat(name) for name in ("a", "b", "c")]
    first = await led_by(*seats)
    await asyncio.sleep(lease.SILENCE_S + 0.5)
    assert [seat.member.leading for seat in seats].count(True) == 1
    assert [seat.told for seat in seats if seat is not first] == [[], []]
    assert {seat.seat.lease.holder for seat in seats} == {first.node.name}


async def test_a_planned_hand_over_takes_no_silence(hall: Hall) -> None:
    """The next leads at once, and the one before follows; a command of either goes on."""
    seats = [await hall.seat(name) for name in ("a", "b")]
    first = await led_by(*seats)
    second = next(seat for seat in seats if seat is not first)
    zone = next(iter(first.member.state.spec.zones))
    begun = asyncio.get_running_loop().time()
    handing = asyncio.create_task(first.seat.hand_over())
    await asyncio.sleep(0)
    await first.member.submit(Act(BY, "mute", "set", None, zone, False))
    await handing
    await until(lambda: second.told == ["begin"])
    assert asyncio.get_running_loop().time() - begun < lease.SILENCE_S
    assert first.told == ["begin", "end"]
    assert not first.member.leading
    await until(lambda: first.member.engine.seq == second.member.engine.seq)


async def test_who_cannot_renew_stops_before_another_begins(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    """A writer that is cut off from the bucket takes nothing any more by the time that the next one leads."""
    seats = [await hall.seat(name) for name in ("a", "b")]
    first = await led_by(*seats)
    second = next(seat for seat in seats if seat is not first)

    async def cut(**_: object) -> bool:
        raise TimeoutError

    monkeypatch.setattr(first.seat.lease, "_write", cut)
    stopped: list[float] = []
    now = asyncio.get_running_loop().time

    def look() -> bool:
        if not first.seat.lease.held and not stopped:
            stopped.append(now())
        return second.member.leading

    await until(look)
    assert stopped
    assert stopped[0] < now()
    await until(lambda: first.told == ["begin", "stop"])
    assert not first.member.leading
    zone = next(iter(second.member.state.spec.zones))
    assert (await first.member.submit(Act(BY, "mute", "set", None, zone, False))).seq
    await until(lambda: first.member.engine.seq == second.member.engine.seq)


async def test_what_a_vanished_node_held_is_let_go(hall: Hall) -> None:
    """Its panels' signs of life reached the writer through it; with it they end."""
    seats = [await hall.seat(name) for name in ("a", "b")]
    first = await led_by(*seats)
    second = next(seat for seat in seats if seat is not first)
    await until(lambda: second.member.engine.seq == first.member.engine.seq)
    zone = next(iter(first.member.state.spec.zones))
    panel = Actor("wall", "panel", f"{second.node.name}.socket-1")
    second.holding.append(str(panel.holder))
    try:
        await second.member.submit(Act(panel, "volume", "raise", None, zone))
    except RoomlinkError as error:
        pytest.fail(str(error))
    await asyncio.sleep(1.2)
    assert list(first.member.state.holds)
    second.holding.clear()
    await until(lambda: not list(first.member.state.holds))


async def test_who_cannot_do_the_writers_work_lets_another_do_it(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever it fails of; and it tries again later, so that a venue with one node comes right, too."""
    monkeypatch.setattr(seats_of, "AGAIN_S", 0.3)
    alone = await hall.seat("a")
    await led_by(alone)
    fails = [True, True]

    async def begin() -> None:
        if fails:
            fails.pop()
            raise OSError("the port of the desk is taken")
        alone.told.append("begun")

    monkeypatch.setattr(alone.seat, "_begin", begin)
    await alone.seat._give_up()
    await until(lambda: "begun" in alone.told)
    assert not fails
    assert alone.member.leading
    second = await hall.seat("b")
    fails += [True] * 50
    await alone.seat._give_up()
    await until(lambda: second.member.leading)


async def test_a_node_of_an_older_version_leaves_the_lease_to_others(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It cannot read what the writer before it wrote: another one leads, though this one asked first."""
    old = await hall.seat("old")
    await led_by(old)

    def foreign(_term: str) -> Any:
        raise JournalDamaged("it may come from a newer version")

    monkeypatch.setattr(old.node.journal, "take_over", foreign)
    new = await hall.seat("new")
    await old.seat._give_up()
    await until(lambda: new.member.leading)
    await asyncio.sleep(lease.SILENCE_S)
    assert new.member.leading


async def test_a_writer_that_was_outrun_though_it_has_the_lease_takes_over_again(hall: Hall) -> None:
    """A term of one before it came late: it follows the stream and goes on, instead of refusing for ever."""
    a = await hall.seat("a")
    await led_by(a)
    late = JetStreamJournal(Place((hall.server.url,), node="late"), hall.venue)
    await asyncio.to_thread(late.take_over, "late")
    with pytest.raises(RoomlinkError, match="another node writes"):
        await a.member.submit(Act(BY, "volume", "set", None, "a", -11.0))
    await until(lambda: a.told == ["begin", "stop", "begin"])
    assert a.seat.lease.held
    seq = a.member.engine.seq
    assert (await a.member.submit(Act(BY, "volume", "set", None, "a", -11.0))).seq == seq + 1
    await asyncio.to_thread(late.close)


async def test_a_node_that_is_told_to_stop_as_it_begins_ends_what_it_began(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In that order: else it would go on with the writer's work behind the back of the next writer."""
    a = await hall.seat("a")
    goes_on, real = asyncio.Event(), a.begin

    async def begin() -> None:
        a.told.append("beginning")
        await goes_on.wait()
        await real()

    monkeypatch.setattr(a.seat, "_begin", begin)
    await until(lambda: a.told)
    leaving = asyncio.create_task(a.seat.hand_over())
    await asyncio.sleep(0.05)
    goes_on.set()
    assert await leaving
    assert a.told == ["beginning", "begin", "end"]
    await asyncio.sleep(0.05)
    assert not a.member.leading
    assert not a.seat.lease.held


async def test_whatever_lies_in_the_bucket_does_not_keep_a_node_from_the_lease(hall: Hall) -> None:
    """Something that is no lease falls silent like any other."""
    client = await nats.connect(hall.server.url)
    bucket = await client.jetstream().create_key_value(bucket="roomlink-leases", history=1)
    await bucket.put(hall.venue, b"not one of ours")
    a = await hall.seat("a")
    await led_by(a)
    await client.close()


async def test_who_has_the_lease_and_no_way_to_the_journal_lets_another_lead(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its lease could be renewed for ever, and nobody would write."""
    monkeypatch.setattr(seats_of, "TRY_S", 0.2)
    monkeypatch.setattr(seats_of, "AGAIN_S", 0.4)
    a = await hall.seat("a")
    await led_by(a)

    def unanswered(_term: str) -> Any:
        raise JournalFailed("no answer")

    monkeypatch.setattr(a.node.journal, "take_over", unanswered)
    await a.seat._give_up()
    await until(lambda: a.seat.lease.held)
    b = await hall.seat("b")
    await until(lambda: b.member.leading)
