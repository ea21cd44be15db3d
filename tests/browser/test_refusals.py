"""A press that is refused says why."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House
from tests.browser.proxy import Proxy

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


async def test_a_press_made_before_the_news_came_is_refused_in_words(house: House, proxy: Proxy, show: Opener) -> None:
    """All rooms are unlinked elsewhere and the news is late: the press is refused, and the panel says what to do."""
    panel = await show("/panel/heron-wall", base=proxy.url, network_fails=True)
    proxy.swallow("down")
    await house.call("DELETE", "/controllers/heron-wall/links")
    mute = panel.control("mute", "toggle")
    await mute.click()
    await expect(mute).to_have_attribute("data-asked", "")
    await proxy.restore()
    await expect(panel.control("mute", "note")).to_have_text("No room is linked. Touch one on the plan first.")
    await expect(mute).not_to_have_attribute("data-asked", "")
    assert await house.value("heron", "mute") is True
