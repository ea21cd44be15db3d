"""A page that somebody wrote for one venue, with the kit's elements."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

README = Path(__file__).parents[2] / "clients" / "web" / "README.md"
DESK = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<title>The desk</title>
<script type="module" src="/web/roomlink.js"></script>
<rl-connection><rl-switch control="mute"></rl-switch></rl-connection>
</html>
"""

REFUSED = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<title>Heron, a typing error</title>
<script type="module" src="/web/roomlink.js"></script>
<rl-connection controller="heron-wall"><rl-button control="program" value="lapptop"></rl-button></rl-connection>
</html>
"""


async def test_the_page_of_the_kits_readme_controls_a_zone(house: House, show: Opener) -> None:
    """A page of about 15 lines, put into the venue's folder, moves the level and follows it."""
    found = re.search(r"```html\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    assert len(found[1].splitlines()) < 20
    _put(house, "sound.html", found[1])
    page = await show("/panels/sound.html", live=False)
    slider = page.control("volume").get_by_role("slider")
    await expect(slider).to_have_attribute("aria-valuenow", "-30")
    await slider.press("End")
    await house.until_value("heron", "volume", 0.0)
    await house.set("heron", volume=-20)
    await expect(slider).to_have_attribute("aria-valuenow", "-20")
    await page.hold_down(page.key("volume", "lower"))
    await house.until_moving("heron", True)
    await page.page.mouse.up()
    await house.until_moving("heron", False)


async def test_a_page_of_the_venue_takes_the_place_of_a_composed_panel(house: House, show: Opener) -> None:
    """`panels/desk.html` is what `/panel/desk` shows, and its connection knows the controller by the address."""
    _put(house, "desk.html", DESK)
    page = await show("/panel/desk", live=False)
    await page.control("mute", "toggle").click()
    await house.until_value("heron", "mute", False)


async def test_a_value_that_is_not_offered_is_refused_with_what_is(house: House, show: Opener) -> None:
    """A page that asks for what the control does not have is told, at the button, what it has."""
    _put(house, "refused.html", REFUSED)
    page = await show("/panels/refused.html", live=False)
    key = page.control("program", "key")
    await expect(key).to_have_attribute("aria-disabled", "false")
    await key.click()
    note = page.control("program", "note")
    for word in ("lapptop", "lectern", "laptop", "camera"):
        await expect(note).to_contain_text(word)


def _put(house: House, name: str, text: str) -> None:
    (house.folder / "panels").mkdir(exist_ok=True)
    (house.folder / "panels" / name).write_text(text, encoding="utf-8")
