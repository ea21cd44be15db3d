"""One browser for all tests; for each test a service of its own and pages that nobody else has touched."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest
import pytest_asyncio
from playwright.async_api import Browser, async_playwright

from tests.api.harness import WITHIN_S, Served, write_venue
from tests.browser.harness import QUAY, House, Screen
from tests.browser.proxy import Proxy

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SIZE = (1280, 800)

Opener = Callable[..., Awaitable[Screen]]


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def browser() -> AsyncIterator[Browser]:
    path = shutil.which("chromium")
    assert path, "chromium is needed; .ci/tools installs it"
    async with async_playwright() as playwright:
        running = await playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield running
        await running.close()


@pytest.fixture
def venue_text() -> str:
    """The venue's configuration; a module may have its own."""
    return QUAY


@pytest_asyncio.fixture(loop_scope="session")
async def house(tmp_path: Path, venue_text: str) -> AsyncIterator[House]:
    """Quay House, served as a person would serve it."""
    folder, data = write_venue(tmp_path / "quay", venue_text), tmp_path / "data"
    served = await asyncio.to_thread(Served, folder, data)
    async with httpx.AsyncClient(timeout=WITHIN_S) as http:
        running = House(served, folder, data, http)
        yield running
        await running.kill()


@pytest_asyncio.fixture(loop_scope="session")
async def proxy(house: House) -> AsyncIterator[Proxy]:
    """The network between browser and service."""
    async with Proxy(house.port) as running:
        yield running


@pytest_asyncio.fixture(loop_scope="session")
async def show(browser: Browser, house: House) -> AsyncIterator[Opener]:
    """Open a page, each in a browser profile of its own: ``await show("/panel/heron-wall")``.

    ``base`` is the address of the service if not its own; ``network_fails`` says that the test breaks the network;
    ``init`` is a script that runs before the page's own; ``live`` waits until a panel or plan is current. At the end
    no page may have had an error, a policy violation, or a request to another host.
    """
    screens: list[Screen] = []

    async def open_page(
        path: str,
        *,
        base: str | None = None,
        network_fails: bool = False,
        live: bool = True,
        init: str = "",
        **options: Any,
    ) -> Screen:
        context = await browser.new_context(viewport={"width": SIZE[0], "height": SIZE[1]}, **options)
        context.set_default_timeout(WITHIN_S * 1000)
        if init:
            await context.add_init_script(init)
        url = base or house.url
        screen = Screen(await context.new_page(), context, urlsplit(url).netloc, network_fails=network_fails)
        screens.append(screen)
        screen.listen()
        await screen.page.goto(url + path)
        if live:
            await screen.live()
        return screen

    yield open_page
    for screen in screens:
        await screen.context.close()
    for screen in screens:
        assert not screen.faults(), screen.faults()
        assert not screen.elsewhere, screen.elsewhere
