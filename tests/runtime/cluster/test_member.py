"""``runtime.cluster.member``: one venue, one writer, and whoever follows it."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
import structlog

from roomlink.core.commands import Act, Actor, Command
from roomlink.core.view import zone as zone_view
from roomlink.errors import CallerFault, JournalDamaged, JournalFailed
from roomlink.runtime.cluster import member as members
from roomlink.runtime.cluster import sending
from roomlink.runtime.cluster.codec import encode_command
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
    a, b = await hall.pair()
    listener = b.member.hub.join(None, lambda: None)
    await a.member.submit(switch(zone_of(a), not muted(a)))
    await until(lambda: b.member.engine.seq == a.member.engine.seq)
    assert b.member.state.controls == a.member.state.controls
    await until(lambda: listener.waiting)


async def test_a_followers_command_is_carried_out_by_the_writer_and_seen_before_it_is_answered(hall: Hall) -> None:
    """With its own reply; a refusal is the same problem as on the writer."""
    a, b = await hall.pair()
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
    monkeypatch.setattr(sending, "PATIENCE_S", 0.3)
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


def asked(node: Node, **more: Any) -> dict[str, Any]:
    """What another node would ask of this one, having followed all that there is."""
    command = encode_command(switch(zone_of(node), False))
    said = {"command": command, "key": None, "digest": "", "place": node.journal.place, "name": "once"}
    return {**said, "until": node.member.clock.stamp() + 5.0, **more}


async def test_a_writer_takes_nothing_that_was_sent_to_one_before_it(hall: Hall) -> None:
    """Whoever sent it will see the new term, and sends it again: taken twice it would be done twice."""
    a = await hall.led()
    b = await hall.node("b")
    await b.member.lead()
    before = b.journal.term - 1
    answers: list[dict[str, Any]] = []
    b.member.take(asked(b, place=before), answers.append)
    b.member.take(asked(b, until=b.member.clock.stamp() - 0.1), answers.append)
    assert answers == [{"not-taken": True}] * 2
    b.member.take(asked(b), answers.append)
    await until(lambda: len(answers) == 3)
    assert answers[2]["seq"] == b.member.engine.seq
    b.member.take(asked(b), answers.append)
    await until(lambda: len(answers) == 4)
    assert answers.pop() == answers[2]  # asked again by the same name: it is not done again
    # One whose lease is over says nothing at all: its no could be heard before the other's yes.
    a.member.may_lead = lambda: False
    a.member.take(asked(b), answers.append)
    assert len(answers) == 3
    await a.member.lead_no_more()


async def test_a_command_without_an_answer_is_believed_once_something_came_after_it(hall: Hall) -> None:
    """Until then its writer may void it; a new writer's term settles it, and it is done once."""
    a, b = await hall.pair()
    taken: list[Any] = []
    real = a.member.take

    def mute(data: Any, _reply: Any) -> None:
        taken.append(data)
        real(data, lambda _: None)

    await a.relay.answer_no_more()
    await a.relay.answer(mute)
    began = a.member.engine.seq
    done = b.member.put(switch(zone_of(a), not muted(a)))
    await until(lambda: b.member.engine.seq == a.member.engine.seq == began + 1)
    seq = b.member.engine.seq
    await until(lambda: len(taken) > 1)  # asked again, and not done again
    await asyncio.sleep(0.1)
    assert not done.done()
    c = await hall.node("c")
    await c.member.lead()
    assert (await done).seq == seq
    assert (await done).reply == {"zones": [zone_of(a)]}
    assert c.member.engine.seq == seq
    a.member.may_lead = lambda: False
    await a.member.lead_no_more()


async def test_what_a_holder_asks_is_carried_out_in_its_order(hall: Hall) -> None:
    """Though the first has to be asked again: a stop never comes before what it stops."""
    a, b = await hall.pair()
    panel, zone = Actor("wall", "panel", "b.socket-1"), zone_of(a)
    await a.member.lead_no_more()
    a.member.follow()
    raised = b.member.put(Act(panel, "volume", "raise", None, zone))
    await asyncio.sleep(0.05)
    stopped = b.member.put(Act(panel, "volume", "stop", None, zone))
    await a.member.lead()
    assert (await raised).seq < (await stopped).seq
    assert not list(a.member.state.holds)
    again = b.member.put(Act(panel, "volume", "raise", None, zone))
    await asyncio.gather(again)
    # The node becomes the writer with one of them on its way: the order stays.
    await a.member.lead_no_more()
    a.member.follow()
    first = b.member.put(Act(panel, "volume", "lower", None, zone))
    await asyncio.sleep(0.05)
    await b.member.lead()
    second = b.member.put(Act(panel, "volume", "stop", None, zone))
    assert (await first).seq < (await second).seq
    assert not list(b.member.state.holds)


async def test_a_follower_comes_right_after_what_it_showed_was_voided(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its writer had told its own people that it was lost: then it is so for all."""
    a = await hall.led()
    b = await hall.node("b")
    zone, real = zone_of(a), a.journal._publish
    await a.member.submit(switch(zone, True))

    def unanswered(*given: Any, **more: Any) -> int:
        real(*given, **more)
        raise TimeoutError("the answer is lost")

    with monkeypatch.context() as patched:
        patched.setattr(a.journal, "_landed", lambda _name: False)
        patched.setattr(a.journal, "_publish", unanswered)
        with pytest.raises(JournalFailed):
            await a.member.submit(switch(zone, False))
    await until(lambda: muted(b) is False)
    await a.member.submit(Act(BY, "volume", "set", None, zone, -12.0))
    await until(lambda: b.member.engine.seq == a.member.engine.seq and muted(b) is True)
    assert b.member.state.controls == a.member.state.controls
    assert (await b.member.submit(switch(zone, False))).seq == a.member.engine.seq


async def test_a_node_that_does_not_understand_what_is_written_says_so_and_never_leads(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As one of an older version does, beside a writer of a newer one."""
    a, b = await hall.pair()
    told: list[str] = []
    b.member.broke = lambda: told.append(b.member.broken)

    def foreign(rows: Any, seq: int, total: bytes) -> Any:
        raise JournalDamaged("an entry is whole but cannot be understood; it may come from a newer version: use that")

    with monkeypatch.context() as patched:
        patched.setattr("roomlink.journal.batches.entries", foreign)
        await a.member.submit(switch(zone_of(a), not muted(a)))
        await until(lambda: told)
        with pytest.raises(JournalDamaged):
            await b.member.lead()
    assert "newer version" in str(b.member.unready)


async def test_a_follower_without_a_writer_says_that_it_is_alone(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    """After a while, and until it hears of one."""
    a, b = await hall.pair()
    assert b.member.unready is None
    monkeypatch.setattr(members, "ALONE_S", 0.2)
    await until(lambda: b.member.alone)
    assert str(b.member.unready) == "nothing is heard of a node that writes the venue"
    b.member.keep_time(a.member.clock.stamp())
    assert b.member.unready is None


async def test_clocks_that_differ_do_not_show(hall: Hall) -> None:
    """A follower shows levels on the move by its writer's clock; who takes over never stamps before what there is."""
    a = await hall.led()
    b = await hall.node("b")
    b.member._clock._anchor -= 40.0  # its clock lies behind
    a.member._clock._anchor += 5.0
    zone = zone_of(a)
    await a.member.submit(Act(BY, "volume", "set", None, zone, -60.0))
    await a.member.submit(Act(BY, "volume", "set", None, zone, -10.0, 2.0))
    await until(lambda: b.member.engine.seq == a.member.engine.seq)
    b.member.keep_time(a.member.clock.stamp())
    assert abs(b.member.clock.stamp() - a.member.clock.stamp()) < 0.05
    shown = [zone_view(node.member.state, zone, node.member.clock.stamp()) for node in (a, b)]
    values = [one["controls"]["volume"]["value"] for one in shown]
    assert abs(values[0] - values[1]) < 1.5
    last = a.member.clock.stamp()
    await b.member.lead()
    assert b.member.last_word <= b.member.clock.stamp()
    b.member._clock.restart()
    assert b.member.clock.stamp() >= last
    await b.member.submit(switch(zone, not muted(b)))
    stamps = [entry.at for entry in b.journal.entries()]
    assert stamps == sorted(stamps)
    a.member.may_lead = lambda: False
    await a.member.lead_no_more()


def doubtful(node: Node, patched: pytest.MonkeyPatch) -> None:
    """The node's next batch comes into the stream, and its answer is lost."""
    real = node.journal._publish

    def unanswered(*given: Any, **more: Any) -> int:
        real(*given, **more)
        raise TimeoutError("the answer is lost")

    patched.setattr(node.journal, "_landed", lambda _name: False)
    patched.setattr(node.journal, "_publish", unanswered)


async def test_a_command_that_came_behind_a_voided_batch_is_done_once(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its node folds again, its answer is lost, and its writer is replaced: it still knows that it was carried out."""
    a = await hall.led()
    b = await hall.node("b")
    c = await hall.node("c")
    await until(lambda: b.member.engine.seq == c.member.engine.seq == a.member.engine.seq)
    zone, real = zone_of(a), a.member.take
    await a.relay.answer_no_more()
    await a.relay.answer(lambda data, _reply: real(data, lambda _: None))
    with monkeypatch.context() as patched:
        doubtful(a, patched)
        with pytest.raises(JournalFailed):
            await a.member.submit(switch(zone, not muted(a)))
    seq = a.member.engine.seq
    await until(lambda: b.member.engine.seq == seq + 1)
    done = b.member.put(Act(BY, "volume", "set", None, zone, -12.0))
    await until(lambda: a.member.engine.seq == seq + 1)
    await a.member.submit(Act(BY, "volume", "set", None, zone, -20.0))
    await until(lambda: b.member.engine.seq == seq + 2 and b.member.state.controls == a.member.state.controls)
    a.member.may_lead = lambda: False
    await c.member.lead()
    assert (await done).seq == seq + 1
    assert c.member.engine.seq == seq + 2
    asked = [entry.did["request"] for entry in c.journal.entries() if "request" in entry.did]
    assert len(asked) == len(set(asked)) == 1
    await a.member.lead_no_more()


async def test_a_follower_that_cannot_fold_again_at_once_does_so_later(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The servers do not answer for a moment: it neither stands still for ever nor keeps from leading."""
    a, b = await hall.pair()
    zone, real, fails = zone_of(a), b.journal.read_anew, [1, 2]

    def read_anew() -> None:
        if fails:
            fails.pop()
            raise JournalFailed("no answer")
        real()

    monkeypatch.setattr(b.journal, "read_anew", read_anew)
    with monkeypatch.context() as patched:
        doubtful(a, patched)
        with pytest.raises(JournalFailed):
            await a.member.submit(switch(zone, not muted(a)))
    await until(lambda: b.member.engine.seq == a.member.engine.seq + 1)
    await a.member.submit(Act(BY, "volume", "set", None, zone, -12.0))
    await until(
        lambda: b.member.engine.seq == a.member.engine.seq and b.member.state.controls == a.member.state.controls
    )
    assert not fails
    await b.member.lead()
    a.member.may_lead = lambda: False
    await a.member.lead_no_more()


async def test_what_may_have_been_done_is_never_told_as_not_done(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    """The writer takes a command just before its node gives up waiting: people are told to look."""
    a, b = await hall.pair()
    real = a.member.take
    await a.relay.answer_no_more()
    await a.relay.answer(lambda data, _reply: real(data, lambda _: None))
    monkeypatch.setattr(sending, "PATIENCE_S", 0.4)
    before = muted(a)
    with pytest.raises(JournalFailed, match="look whether it was done"):
        await b.member.submit(switch(zone_of(a), not before))
    assert muted(a) is not before


async def test_a_follower_that_falls_behind_says_so_though_it_hears_the_writer(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its way to the journal is another than that to the nodes: what it shows is old, whatever lives."""
    a, b = await hall.pair()
    monkeypatch.setattr(members, "ALONE_S", 0.3)
    b.journal.unfollow()
    await a.member.submit(switch(zone_of(a), not muted(a)))

    def pulse() -> bool:
        b.member.keep_time(a.member.clock.stamp(), a.member.engine.seq)
        return b.member.alone

    await until(pulse)
    assert b.member.unready
    b.member.follow()
    await until(lambda: not pulse())


async def test_a_fault_in_what_another_node_asks_is_told_at_once_and_logged(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The client library would swallow it, and the other node wait for nothing."""
    a, b = await hall.pair()

    def broken(*_: Any, **__: Any) -> Any:
        raise ZeroDivisionError("a bug")

    with monkeypatch.context() as patched, structlog.testing.capture_logs() as logs:
        patched.setattr(a.member.engine, "take", broken)
        async with asyncio.timeout(1.0):
            with pytest.raises(JournalFailed, match="something went wrong"):
                await b.member.submit(switch(zone_of(a)))
    assert any("a bug" in str(line.get("error")) for line in logs)
