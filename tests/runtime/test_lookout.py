"""Leads whose panel stays away hand the lead over; real sockets on a clock that only moves when told."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from roomlink.core.alarms import standing
from roomlink.core.commands import SERVICE, Actor, Recover, ReportWall
from roomlink.limits import LEAD_GONE_S
from roomlink.runtime.lookout import Lookout
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from tests.api.harness import Running

HERON, PLOVER = "heron-wall", "plover-wall"
WITHIN_S = 35.0
"""So soon after the lead's panel was unplugged the next one leads."""


class Watched:
    """The service with a lookout over it."""

    def __init__(self) -> None:
        self.lookout: Lookout | None = None

    def parts(self, writer: Writer) -> dict[str, Any]:
        self.lookout = Lookout(writer)
        self.lookout.start()
        return {"lookout": self.lookout}


@pytest.fixture
async def joined(start: Callable[..., Awaitable[Running]], clock: VirtualClock) -> Running:
    """Heron and Plover are one room."""
    service = await start(clock=clock, parts=Watched().parts)
    await service.writer.submit(ReportWall(Actor("crew"), "heron-plover", "open"))
    await service.advance(2.0)
    return service


def leads(service: Running) -> set[str]:
    roles = service.writer.state.roles
    return {name for name in (HERON, PLOVER) if roles[name].lead}


async def away(service: Running, socket: Any) -> None:
    """The panel is unplugged, and the service has seen it."""
    before = service.writer.hub.everyone()
    await socket.close()
    while service.writer.hub.everyone() == before:
        await service.advance(0.0)


async def test_the_next_panel_leads_within_35_s_with_one_alarm(joined: Running) -> None:
    """And one that is plugged in again does not steal the lead back."""
    async with joined.panel(PLOVER) as plover:
        async with joined.panel(HERON) as heron:
            assert leads(joined) == {HERON}
            await away(joined, heron.socket)
        await joined.advance(LEAD_GONE_S - 0.1)
        assert leads(joined) == {HERON}
        await joined.advance(WITHIN_S - LEAD_GONE_S)
        assert leads(joined) == {PLOVER}
        assert standing(joined.writer.state) == [f"panel-lost/{HERON}"]
        async with joined.panel(HERON):
            await joined.advance(WITHIN_S)
            assert leads(joined) == {PLOVER}
            assert standing(joined.writer.state) == []
            assert joined.writer.state.alarms[f"panel-lost/{HERON}"].count == 1
            await plover.fence()
        assert any(change.get("controller", {}).get("lead") for change in plover.changes())


async def test_a_panel_that_is_back_in_time_was_never_gone(joined: Running) -> None:
    """Nothing is told, and nothing is journalled."""
    async with joined.panel(PLOVER):
        async with joined.panel(HERON) as heron:
            await away(joined, heron.socket)
        await joined.advance(LEAD_GONE_S - 1.0)
        before = joined.writer.engine.seq
        async with joined.panel(HERON):
            await joined.advance(100.0)
            assert leads(joined) == {HERON}
            assert joined.writer.engine.seq == before


async def test_the_lead_waits_for_another_panel_where_there_is_none(joined: Running) -> None:
    """With the alarm; then it goes to the first that comes."""
    async with joined.panel(HERON) as heron:
        await away(joined, heron.socket)
    await joined.advance(WITHIN_S)
    assert leads(joined) == {HERON}
    assert standing(joined.writer.state) == [f"panel-lost/{HERON}"]
    async with joined.panel(PLOVER):
        await joined.settled()
        assert leads(joined) == {PLOVER}
        assert joined.writer.state.alarms[f"panel-lost/{HERON}"].count == 1


async def test_one_of_two_panels_of_a_controller_is_enough(joined: Running) -> None:
    """The lead is missed only with its last one."""
    async with joined.panel(PLOVER), joined.panel(HERON) as heron, joined.panel(HERON):
        await away(joined, heron.socket)
        await joined.advance(100.0)
        assert leads(joined) == {HERON}


async def test_a_panel_that_nobody_has_seen_is_not_missed_unless_it_is_expected(
    start: Callable[..., Awaitable[Running]], clock: VirtualClock, folder: Any
) -> None:
    """An expected one is given as long after a start as after it was lost; one that is told to be none never is."""
    text = (folder / "venue.yaml").read_text()
    text = text.replace("heron-wall: {home: heron}", "heron-wall: {home: heron, panel: expected}")
    (folder / "venue.yaml").write_text(text)
    service = await start(clock=clock, parts=Watched().parts)
    await service.writer.submit(ReportWall(Actor("crew"), "plover-tern", "open"))
    await service.writer.submit(ReportWall(Actor("crew"), "heron-plover", "open"))
    async with service.panel("tern-wall"):
        await service.advance(LEAD_GONE_S - 1.0)
        assert leads(service) == {HERON}
        await service.advance(1.0)
        assert leads(service) == set()
        assert service.writer.state.roles["tern-wall"].lead


async def test_after_a_restart_panels_are_given_time_to_come_back(joined: Running) -> None:
    """The service stops and starts: who was there before is not gone at once, and absence is remembered."""
    async with joined.panel(PLOVER):
        async with joined.panel(HERON) as heron:
            await away(joined, heron.socket)
        await joined.advance(WITHIN_S)
        await joined.writer.submit(Recover(SERVICE, joined.writer.clock.stamp()))
        again = Lookout(joined.writer)
        again.start()
        await joined.advance(WITHIN_S)
        assert leads(joined) == {PLOVER}
        assert HERON in joined.writer.state.absent
        again.came(HERON)
        await joined.settled()
        assert joined.writer.state.absent == {}
        again.stop()
        again.stop()


async def test_a_panel_at_another_node_is_there(joined: Running) -> None:
    """It is looked for there before the lead goes."""
    again = Lookout(joined.writer)
    there = [HERON]
    again.elsewhere = lambda: there
    again.start()
    again.came(HERON)
    again.left(HERON, joined.writer.clock.stamp())
    await joined.advance(WITHIN_S)
    assert leads(joined) == {HERON}
    there[:] = [PLOVER]
    await joined.advance(WITHIN_S)
    assert leads(joined) == {PLOVER}
    again.stop()


async def test_a_panel_takes_the_lead_over_its_socket_and_over_http(joined: Running) -> None:
    """Each is answered with the group."""
    async with joined.panel(PLOVER) as plover:
        await plover.send(type="lead", id=1)
        assert (await plover.until("ok", 1))["zones"] == ["heron", "plover"]
        assert leads(joined) == {PLOVER}
    answer = await joined.http.post(f"/controllers/{HERON}/lead")
    assert answer.json()["zones"] == ["heron", "plover"]
    await joined.settled()
    assert leads(joined) == {HERON}
    refused = await joined.http.post("/controllers/foyer-wall/lead")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/never-leads")
