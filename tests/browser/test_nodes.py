"""A page whose node dies opens itself from another one, and works there."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path

import pytest
from playwright.async_api import Browser, expect

from tests.browser.harness import QUAY
from tests.nats_servers import NatsServer
from tests.test_nodes import Site, until

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

MOVED_MS = 20_000


async def test_a_panel_whose_node_is_killed_goes_on_at_the_other(browser: Browser, tmp_path: Path) -> None:
    """It finds the node that its welcome told of; a key that is pressed there is carried out."""
    server = NatsServer(tmp_path / "nats")
    server.start()
    site = Site(tmp_path, [server], QUAY)
    context = await browser.new_context()
    try:
        first = await asyncio.to_thread(site.node, "a")
        await asyncio.to_thread(site.writer, ["a"])
        second = await asyncio.to_thread(site.node, "b")
        await asyncio.to_thread(until, lambda: len(first.get("/venues")["venues"]["quay"]["nodes"]) == 2)
        page = await context.new_page()
        await page.goto(f"{first.url}/panel/heron-wall")
        toggle = page.locator('[control="mute"] [part~="toggle"]')
        await expect(toggle).to_have_attribute("aria-pressed", "true")
        first.signal(signal.SIGKILL)
        await page.wait_for_url(f"{second.url}/panel/heron-wall", timeout=MOVED_MS)
        await expect(toggle).to_have_attribute("aria-pressed", "true", timeout=MOVED_MS)
        await toggle.click()
        await expect(toggle).to_have_attribute("aria-pressed", "false", timeout=MOVED_MS)
        await asyncio.to_thread(until, lambda: second.get("/zones/heron")["controls"]["mute"]["value"] is False)
    finally:
        await context.close()
        for served in site.nodes.values():
            await asyncio.to_thread(served.stop)
        server.stop()
