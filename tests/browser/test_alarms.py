"""Alarms: for technicians a list to work on, for guests a calm sentence on the panels that it concerns."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House
from tests.browser.pages import AXE, AXE_RUN, SMALL_TARGETS, TARGET_PX, THEMES

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

RACK = """
devices: {rack: {driver: simulated}}
bindings: [{control: heron.volume, device: rack, point: {name: heron gain}}]
alarms: {priorities: {device-lost/rack: high}}
"""


@pytest.fixture
def venue_text() -> str:
    """Quay House with a rack that drives the sound of one room."""
    return QUAY + RACK


async def test_a_panel_tells_guests_of_what_concerns_its_rooms(house: House, show: Opener) -> None:
    """No name of equipment, nothing that moves; the panel of another room says nothing until it works there, too."""
    heron, tern = await show("/panel/heron-wall"), await show("/panel/tern-wall")
    await house.call("PUT", "/simulated-devices/rack", {"plugged": False})
    told = heron.page.locator("rl-alarms [part~=alarm]")
    await expect(told).to_have_text(
        "Heron: some controls may not answer at the moment. The venue\u2019s staff can see it."
    )
    assert await told.evaluate("(each) => each.getAnimations({ subtree: true }).length") == 0
    await expect(tern.page.locator("rl-alarms [part~=alarm]")).to_have_count(0)
    await house.link("tern-wall", "heron")
    await expect(tern.page.locator("rl-alarms [part~=alarm]")).to_have_count(1)
    await house.call("PUT", "/simulated-devices/rack", {"plugged": True})
    await expect(told).to_have_count(0)
    await expect(tern.page.locator("rl-alarms [part~=alarm]")).to_have_count(0)


async def test_a_technician_acknowledges_shelves_and_takes_out_of_service(house: House, show: Opener) -> None:
    """States in words; what needs a reason asks for it; the plan and the first page say how many stand."""
    await house.call("PUT", "/simulated-devices/rack", {"plugged": False})
    page = (await show("/technician")).page
    item = page.locator("#alarm-list li[data-state]")
    await expect(item).to_contain_text("Urgent: Device lost: Rack")
    await expect(item.locator(".state")).to_contain_text("Stands, and nobody has acknowledged it.")
    await expect(page.locator("#alarm-note")).to_contain_text("1 alarm was raised in the last 10 minutes.")
    plan, first = await show("/plan"), await show("/", live=False)
    await expect(plan.page.locator("rl-alarms")).to_contain_text(
        "1 alarm stands, 1 of them urgent; 1 to be acknowledged."
    )
    await expect(first.page.locator("#alarm-count")).to_contain_text("1 alarm stands")
    await item.get_by_role("button", name="Acknowledge").click()
    await expect(item.locator(".state")).to_contain_text("Stands, acknowledged by")
    await item.locator("summary").click()
    await item.get_by_role("button", name="Shelve for 15 min").click()
    await expect(item.locator(".sum")).to_contain_text("Say why")
    await item.locator("input").fill("a fitter is at it")
    await item.get_by_role("button", name="Shelve for 1 h").click()
    await expect(item.locator(".state")).to_contain_text("Shelved until")
    await expect(item.locator(".state")).to_contain_text("(a fitter is at it). The condition stands.")
    await item.get_by_role("button", name="Unshelve").click()
    await expect(item).to_have_attribute("data-state", "unacknowledged")
    await item.locator("summary").click()
    await item.locator("input").fill("away for repair")
    await item.get_by_role("button", name="Out of service").click()
    await expect(item).to_have_attribute("data-state", "out-of-service")
    await item.get_by_role("button", name="Back into service").click()
    await expect(item).to_have_attribute("data-state", "unacknowledged")


@pytest.mark.parametrize("theme", THEMES)
async def test_the_list_and_the_banner_are_for_everybody(house: House, show: Opener, theme: str) -> None:
    """Contrast, names and sizes, in either theme, with alarms of several states."""
    await house.call("PUT", "/simulated-devices/rack", {"plugged": False})
    await house.call("POST", "/alarms/wall-late/heron-plover/out-of-service", {"why": "no contacts yet"})
    for path, shown in (("/technician", "#alarm-list li[data-state]"), ("/panel/heron-wall", "rl-alarms p")):
        page = (await show(path, init=f'localStorage.setItem("roomlink.theme", "{theme}")')).page
        await expect(page.locator(shown).first).to_be_visible()
        for summary in await page.locator("#alarm-list summary").all():
            await summary.click()
        await page.evaluate(AXE.read_text("utf-8"))
        assert await page.evaluate(AXE_RUN) == []
        assert await page.evaluate(SMALL_TARGETS, TARGET_PX) == []
