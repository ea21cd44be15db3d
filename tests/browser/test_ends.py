"""The end of a booking, as guests see it on their panel, and walls that are not to be moved."""

from __future__ import annotations

import signal
import time
from datetime import UTC, datetime, timedelta

import pytest
from playwright.async_api import expect

from tests.api.harness import write_venue
from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House, eventually

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

EVENING = (
    QUAY
    + """
bookings: {warn: 10min, extend: [15min, 30min]}
crews: {day: {name: Day crew}}
devices: {relays: {driver: simulated}}
paging: {desk: {control: tern.talkback, zones: [heron, plover], ducks: [volume], by: 12}}
presence: {plover: {device: relays, point: {name: in plover}}}
"""
)


@pytest.fixture
def venue_text() -> str:
    """A quay that warns before bookings end."""
    return EVENING


def stamp(minutes: float) -> str:
    return (datetime.now(UTC) + timedelta(minutes=minutes)).isoformat(timespec="seconds")


async def test_guests_are_told_of_the_end_and_take_the_room_for_longer(house: House, show: Opener) -> None:
    """Only what is free is offered; once taken, the notice is gone until the new end is near."""
    panel, other = await show("/panel/heron-wall"), await show("/panel/tern-wall")
    booking = {"title": "Gala", "start": stamp(-30), "end": stamp(8), "zones": ["heron"], "set_up": 0, "clear_down": 0}
    await house.call("POST", "/bookings", booking)
    await house.call("POST", "/bookings", {**booking, "start": stamp(30), "end": stamp(60)})
    ends = panel.page.locator("rl-ends")
    await expect(ends).to_contain_text("Heron: your time ends at")
    await expect(ends.get_by_role("button")).to_have_count(1)
    await expect(other.page.locator("rl-ends")).to_be_hidden()
    await ends.get_by_role("button", name="15 minutes more").click()
    await expect(ends).to_be_hidden()


TRIES = 5
SOON_S = 1.5


async def announce(house: House) -> None:
    """Have the routine ``night`` announced at once: it is due at a full minute, and warns that long before."""

    async def told() -> bool:
        return bool((await house.call("GET", "/evening"))["closings"])

    for _ in range(TRIES):
        now = time.time()
        warn = 60.0 * (now // 60.0 + 2) - now - SOON_S
        night = (
            f"night: {{name: All quiet, scene: dinner, cron: {{minute: '*'}}, unless_used: 20min, warn: {warn:.2f}s}}"
        )
        write_venue(house.folder, f"{EVENING}routines:\n  {night}\n")
        house.served.signal(signal.SIGHUP)
        try:
            await eventually(told, "the routine is not announced")
            return
        except AssertionError:
            continue  # the service had so much else to do that this minute was too near
    raise AssertionError("the routine is never announced")


async def test_guests_keep_on_what_a_routine_would_end(house: House, show: Opener) -> None:
    """Who is there is told what comes and when; "keep on" puts it off, and says until when. Others hear nothing."""
    panel, other = await show("/panel/heron-wall"), await show("/panel/tern-wall")
    plan = await show("/plan")
    await panel.page.locator("rl-switch[control=mute] [part=toggle]").click()
    await announce(house)
    ends = panel.page.locator("rl-ends")
    notice = ends.locator("[part=notice]")
    await expect(notice).to_contain_text("Heron: \u201cAll quiet\u201d comes at")
    await expect(notice).to_have_attribute("data-soon", "")
    await expect(plan.page.locator("rl-ends")).to_contain_text("\u201cAll quiet\u201d comes at")
    await expect(other.page.locator("rl-ends")).to_be_hidden()
    await ends.get_by_role("button", name="Keep on").click()
    await expect(notice).to_contain_text("waits until")
    await expect(notice).to_contain_text("kept on by Heron wall")
    await expect(ends.get_by_role("button")).to_have_count(0)
    (closing,) = (await house.call("GET", "/evening"))["closings"]
    assert (closing["zone"], closing["warned"]) == ("heron", False)
    assert datetime.fromisoformat(closing["at"]) > datetime.now(UTC) + timedelta(minutes=20)


async def test_a_technician_gives_more_time_and_keeps_on_from_the_plan(house: House, show: Opener) -> None:
    """Each end is told there once, whatever panels tell it; what is private is not."""
    plan = await show("/plan")
    booking = {"title": "Gala", "start": stamp(-30), "end": stamp(8), "set_up": 0, "clear_down": 0}
    await house.call("POST", "/bookings", {**booking, "zones": ["heron", "plover"]})
    ends = plan.page.locator("rl-ends")
    await expect(ends.locator("[part=notice]")).to_have_count(1)
    await expect(ends).to_contain_text("Heron and Plover: booked until")
    await ends.get_by_role("button", name="30 minutes more").click()
    await expect(ends).to_be_hidden()
    await house.call("POST", "/bookings", {**booking, "zones": ["tern"], "private": True})
    await expect(plan.page.locator("rl-plan [part=zone][data-zone=tern]")).to_contain_text("In use")
    await expect(ends).to_be_hidden()


async def test_who_pages_and_who_is_there_is_told(house: House, show: Opener) -> None:
    """At the level, on its panel and on the plan; the level itself stays as it was. Presence is on the room's card."""
    panel, tern, plan = await show("/panel/heron-wall"), await show("/panel/tern-wall"), await show("/plan")
    await house.call("PUT", "/paging/desk", {"active": True})
    said = "omebody pages: 12\u202fdB lower meanwhile"
    await expect(panel.control("volume", "words")).to_have_text(f"S{said}")
    await expect(panel.control("volume", "state")).to_contain_text("30")
    await expect(plan.page.locator("rl-zone[zone=heron]")).to_contain_text(said)
    await expect(tern.control("volume", "words")).to_have_text("")
    await house.call("PUT", "/paging/desk", {"active": False})
    await expect(panel.control("volume", "words")).to_have_text("")
    card = plan.page.locator("rl-zone[zone=plover]")
    await expect(card).not_to_contain_text("somebody is there")
    await house.call("PUT", "/presence/plover", {"present": True})
    await expect(card).to_contain_text("somebody is there")


async def test_a_wall_is_marked_on_the_technicians_page_and_told_on_the_crews(house: House, show: Opener) -> None:
    """With the reason, on the plan's cards of walls and with every move that needs it."""
    plan, crew = await show("/plan"), await show("/crew")
    soon = datetime.now(UTC) + timedelta(minutes=1)
    booking = {"title": "Gala", "start": soon.isoformat(), "end": (soon + timedelta(minutes=30)).isoformat()}
    await house.call("POST", "/bookings", {**booking, "zones": ["heron", "plover"], "set_up": 0, "clear_down": 0})
    wall = plan.page.get_by_role("group", name="West wall")
    await wall.get_by_text("Mark it").click()
    await wall.get_by_label("is not to be moved").fill("the track is bent")
    await wall.get_by_role("button", name="West wall: Do not move").click()
    await expect(wall).to_contain_text("Do not move: the track is bent")
    await expect(plan.page.locator("rl-plan [part=wall][data-wall=heron-plover]")).to_contain_text("do not move")
    await expect(crew.page.locator("rl-turns")).to_contain_text("Do not move: the track is bent")
    await wall.get_by_role("button", name="May be moved again").click()
    await expect(wall).not_to_contain_text("Do not move: the track")
