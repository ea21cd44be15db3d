"""The end of a booking, as guests see it on their panel, and walls that are not to be moved."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

EVENING = QUAY + "bookings: {warn: 10min, extend: [15min, 30min]}\ncrews: {day: {name: Day crew}}\n"


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
    await expect(crew.page.locator("rl-turns")).to_contain_text("Do not move: the track is bent")
    await wall.get_by_role("button", name="May be moved again").click()
    await expect(wall).not_to_contain_text("Do not move: the track")
