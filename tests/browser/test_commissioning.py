"""The commissioning sheet in a browser, and the handover opened from disk."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.async_api import Browser, Locator, expect

from tests.browser.conftest import Opener
from tests.browser.harness import House, Screen
from tests.browser.pages import SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.rehearsal.handovers import made, mill, on_site

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

VENUE = """
venue: {id: quay, name: Quay House, timezone: Europe/Lisbon}
zone_types:
  section: {controls: {volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s, start: -30, ceiling: -6}}}
zones:
  heron: {type: section, controls: {lamp: {kind: switch, scope: local}}}
  plover: {type: section}
partitions: {heron-plover: {between: [heron, plover], settle: 0s, name: West wall}}
controllers: {heron-wall: {home: heron}, plover-wall: {home: plover}}
devices: {relays: {driver: simulated}}
bindings: [{control: heron.lamp, device: relays, point: {name: lamp}, class: power, on_loss: holds}]
"""
WALL = "wall/heron-plover/open"


@pytest.fixture
def venue_text() -> str:
    return VENUE


async def sheet(show: Opener, **options: object) -> Screen:
    """The sheet, drawn."""
    screen = await show("/commissioning", live=False, **options)
    await expect(screen.page.locator("h1")).to_have_text("Quay House")
    await expect(row(screen, WALL)).to_be_visible()
    return screen


def row(screen: Screen, item: str) -> Locator:
    return screen.page.locator(f'[data-item="{item}"]')


async def test_a_check_is_put_down_with_a_name_and_survives_a_power_cut(show: Opener, house: House) -> None:
    """Without a name it asks for one; numbers are taken with a comma."""
    screen = await sheet(show, network_fails=True)
    wall = row(screen, WALL)
    await wall.get_by_label("Measured").fill("2,5")
    await wall.get_by_role("button", name="Pass").click()
    await expect(wall.locator(".note")).to_have_text("Write your name at the top first.")
    await expect(screen.page.locator("#who")).to_be_focused()
    await screen.page.keyboard.type("A. Technician")
    await wall.get_by_role("button", name="Pass").click()
    await expect(wall).to_have_attribute("data-standing", "pass")
    await expect(wall.locator(".record")).to_contain_text("Passed, 2.5\N{NARROW NO-BREAK SPACE}s: A. Technician")
    await house.kill()
    await house.start_again()
    await screen.page.reload()
    await expect(wall).to_have_attribute("data-standing", "pass")
    await expect(screen.page.locator("#summary")).to_contain_text("1 of")
    await expect(screen.page.locator("#who")).to_have_value("A. Technician")


async def test_a_failure_needs_words_and_can_be_taken_back(show: Opener) -> None:
    """It is asked for before anything is sent."""
    screen = await sheet(show)
    await screen.page.fill("#who", "A. Technician")
    wall = row(screen, WALL)
    await wall.get_by_role("button", name="Fail").click()
    await expect(wall.locator(".note")).to_contain_text("what is wrong")
    await wall.get_by_label("Note").fill("the contact bounces")
    await wall.get_by_role("button", name="Fail").click()
    await expect(wall).to_have_attribute("data-standing", "fail")
    await expect(wall.locator(".record")).to_contain_text("the contact bounces")
    await wall.get_by_role("button", name="Take back").click()
    await expect(wall).to_have_attribute("data-standing", "open")


async def test_what_is_done_can_be_hidden(show: Opener) -> None:
    """So that a long list gets shorter."""
    screen = await sheet(show)
    await screen.page.fill("#who", "A. Technician")
    await row(screen, WALL).get_by_role("button", name="Pass").click()
    await expect(row(screen, WALL)).to_have_attribute("data-standing", "pass")
    await screen.page.focus("#show")
    await screen.page.select_option("#show", "left")
    await expect(row(screen, WALL)).to_be_hidden()
    await expect(row(screen, "wall/heron-plover/closed")).to_be_visible()


async def test_power_is_armed_and_disarmed_here(show: Opener, house: House) -> None:
    """By the name at the top; a signal has nothing to arm."""
    screen = await sheet(show)
    await screen.page.fill("#who", "A. Technician")
    lamp = row(screen, "binding/heron.lamp/moves")
    await expect(lamp.locator(".arming p")).to_have_text("Disarmed: power is logged and not sent.")
    await lamp.get_by_role("button", name="Arm: the place is clear, heron.lamp").click()
    await expect(lamp.locator(".arming p")).to_contain_text("Armed: power. A. Technician")
    bindings = (await house.call("GET", "/bindings"))["bindings"]
    assert bindings["heron.lamp"]["armed"]["who"] == "A. Technician"
    await lamp.get_by_role("button", name="Disarm, heron.lamp").click()
    await expect(lamp.locator(".arming p")).to_contain_text("Disarmed")
    await expect(row(screen, "binding/heron.lamp/loss").locator(".arming")).to_be_hidden()


async def test_the_sheet_fits_a_phone_and_a_thumb(show: Opener) -> None:
    """Nothing to scroll sideways, no small targets."""
    screen = await sheet(show)
    await screen.page.set_viewport_size({"width": 390, "height": 844})
    assert await screen.page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    assert await screen.page.evaluate(SIDEWAYS) == []


async def test_the_sheet_prints_with_room_to_write(show: Opener) -> None:
    """Keys are gone, lines to sign are there."""
    screen = await sheet(show)
    await screen.page.emulate_media(media="print")
    await expect(screen.page.locator(".sign")).to_be_visible()
    await expect(row(screen, WALL).get_by_role("button", name="Pass")).to_be_hidden()
    assert (await screen.page.pdf(format="Letter")).startswith(b"%PDF")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
async def test_the_handover_opens_from_disk_and_prints(browser: Browser, tmp_path: Path, paper: str) -> None:
    """Without a script, a request elsewhere, a complaint, or a line that is cut off at the edge of the paper."""
    loaded = mill(tmp_path / "mill")
    page_file = tmp_path / "index.html"
    page_file.write_text(made(loaded, on_site(loaded))["index.html"], encoding="utf-8")
    context = await browser.new_context(java_script_enabled=True, viewport={"width": 680, "height": 900})
    page = await context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("request", lambda request: said.append(request.url))
    await page.goto(page_file.as_uri())
    assert said == [page_file.as_uri()]
    await page.emulate_media(media="print")
    # 178 mm between the margins of A4 are 673 px: what fits there fits on either paper.
    assert await page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    pdf = await page.pdf(format=paper)
    assert pdf.startswith(b"%PDF")
    await context.close()
