"""The crew's page with a real service: what is to be moved, ticking off, and what panels say of what is booked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.async_api import Locator, expect

from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House, Screen
from tests.browser.proxy import Proxy

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

CREWS = "crews:\n  day: {name: The day crew}\n"
WEST = "heron-plover"


@pytest.fixture
def venue_text() -> str:
    """Quay House with a crew, in UTC."""
    return QUAY.replace("Europe/Lisbon", "UTC") + CREWS


def near_noon() -> datetime:
    """A time of today, far from both ends of the day where there is one."""
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    return min(max(now, now.replace(hour=2, minute=0)), now.replace(hour=21, minute=0))


async def book(house: House, title: str, zones: list[str], start: float, end: float, **more: Any) -> Any:
    """In minutes from about now."""
    first = near_noon()
    times = {
        name: (first + timedelta(minutes=m)).isoformat().replace("+00:00", "Z")
        for name, m in (("start", start), ("end", end))
    }
    body = {"title": title, "zones": zones, "set_up": 0, "clear_down": 0, **times, **more}
    return await house.call("POST", "/bookings", body)


def move(screen: Screen, wall: str = WEST) -> Locator:
    """The first row of a wall."""
    return screen.page.locator(f'rl-turns [data-move^="{wall}/"]').first


def part(row: Locator, name: str) -> Locator:
    return row.locator(f'[part~="{name}"]')


async def test_one_touch_ticks_a_move_off_and_all_who_look_see_it(house: House, show: Opener) -> None:
    """Asked in the frame of the touch, then done on both pages; taken back as easily, and it moves no wall."""
    await book(house, "Gala", ["heron", "plover"], 60, 120)
    here, there = await show("/crew"), await show("/crew")
    row, other = move(here), move(there)
    await expect(part(row, "wall")).to_have_text("West wall")
    await expect(row).to_contain_text("between Heron and Plover")
    await expect(row).to_contain_text("The day crew")
    asked = await part(row, "key").evaluate("key => { key.click(); return [key.dataset.asked, key.textContent]; }")
    assert asked == ["", "Asked: tick off\N{HORIZONTAL ELLIPSIS}"]
    for each in (row, other):
        await expect(part(each, "tick")).to_contain_text("Ticked off by")
        await expect(each).to_have_attribute("data-state", "done")
        await expect(part(each, "disagrees")).to_contain_text("but it stands closed: look at it")
    await part(other, "key").click()
    await expect(part(row, "tick")).to_be_empty()
    await expect(part(row, "key")).to_have_text("Tick off: it is open")
    assert (await house.call("GET", "/partitions"))["partitions"][WEST]["position"] == "closed"


async def test_a_note_goes_with_the_tick(house: House, show: Opener) -> None:
    """Written before it, for whoever reads it later."""
    await book(house, "Gala", ["heron", "plover"], 60, 120)
    screen = await show("/crew")
    row = move(screen)
    await row.locator("summary").click()
    await row.locator("input").fill("the third leaf sticks")
    await part(row, "key").click()
    await expect(part(row, "tick")).to_contain_text(": the third leaf sticks")


async def test_a_page_that_is_cut_off_says_so_and_ticks_nothing(house: House, proxy: Proxy, show: Opener) -> None:
    """What it showed stays to be read; back again it works by itself."""
    await book(house, "Gala", ["heron", "plover"], 60, 120)
    screen = await show("/crew", base=proxy.url, network_fails=True)
    row = move(screen)
    await expect(part(row, "key")).to_have_attribute("aria-disabled", "false")
    await proxy.cut()
    await expect(part(row, "key")).to_have_attribute("aria-disabled", "true")
    await expect(screen.page.locator("rl-turns [part~=old]")).to_contain_text("nothing can be ticked off now")
    await expect(part(row, "wall")).to_be_visible()
    await proxy.restore()
    await expect(part(row, "key")).to_have_attribute("aria-disabled", "false")


async def test_what_cannot_be_done_stands_on_top_with_the_ways_out(house: House, show: Opener) -> None:
    """Two walls at once, and one crew; a day that has none says that there is nothing to move."""
    await book(house, "Gala", ["heron", "plover"], 10, 60)
    await book(house, "Dance", ["plover", "tern"], 61, 120)
    screen = await show("/crew")
    problem = screen.page.locator("rl-turns [part~=problems] > li").first
    await expect(problem).to_be_visible()
    await expect(problem.locator(".way").first).to_be_visible()
    await screen.page.click("#after")
    await expect(screen.page.locator("rl-turns [part~=sum]")).to_have_text("No wall needs to be moved on this day.")


async def test_a_booking_made_elsewhere_comes_by_itself(house: House, show: Opener) -> None:
    """Nobody loads the page again."""
    screen = await show("/crew")
    await expect(screen.page.locator("rl-turns [part~=sum]")).to_contain_text("No wall needs")
    await book(house, "Gala", ["heron", "plover"], 60, 120)
    await expect(part(move(screen), "wall")).to_have_text("West wall")


async def test_panels_and_the_plan_say_what_is_booked_and_which_wall_is_asked_for(house: House, show: Opener) -> None:
    """In words, with until when and by when; once the wall stands there the request is said to be done."""
    now = datetime.now(UTC)
    times = {"start": (now - timedelta(minutes=1)).isoformat(), "end": (now + timedelta(hours=2)).isoformat()}
    body = {"title": "Gala", "zones": ["heron", "plover"], "set_up": 0, "clear_down": 0, **times}
    await house.call("POST", "/bookings", body)
    panel, plan, technician = await show("/panel/plover-wall"), await show("/plan"), await show("/technician")
    booked, asked = (panel.page.locator(f"rl-status [part~={name}]") for name in ("booked", "asked"))
    await expect(booked).to_contain_text("Plover: Gala until")
    await expect(asked).to_contain_text("West wall: to be opened by hand by")
    await expect(plan.page.locator("rl-zone[zone=heron] [part~=booked]")).to_contain_text("Gala until")
    await expect(plan.page.locator("rl-plan [part~=wall][data-wall=heron-plover]")).to_contain_text("open by")
    wall = technician.page.locator("rl-walls [part~=asked]").first
    await expect(wall).to_contain_text("not yet done")
    await house.call("PUT", f"/partitions/{WEST}", {"position": "open", "pin": 3600})
    await expect(wall).to_contain_text("done, it is open")
    await expect(asked).not_to_contain_text("West wall")


async def test_the_drawing_of_the_day_shows_what_is_booked_and_leads_to_the_next(house: House, show: Opener) -> None:
    """It loads its stylesheet without a complaint, and its links are links."""
    await book(house, "Gala", ["heron", "plover"], 60, 120)
    screen = await show("/day", live=False)
    await expect(screen.page.locator("g.booking title")).to_contain_text("Gala, Heron and Plover")
    await expect(screen.page.locator("g.move title").first).to_contain_text("West wall, between Heron and Plover")
    fill = await screen.page.evaluate("getComputedStyle(document.documentElement).minWidth")
    assert fill == "1240px"
    await screen.page.get_by_text("Day after").click()
    await expect(screen.page.locator("g.booking")).to_have_count(0)
