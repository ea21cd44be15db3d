"""Every page in every look, visited once: what a checker of accessibility finds, how large targets are, a picture."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import httpx
from playwright.async_api import Browser, Page, expect

from tests.api.harness import Served, write_venue
from tests.browser.harness import QUAY, Screen

ROOT = Path(__file__).parents[2]
AXE = ROOT / "clients" / "web" / "node_modules" / "axe-core" / "axe.min.js"
SHOTS = Path(__file__).parent / "shots"
THEMES = ("dark", "light")
SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wall": (1920, 1080)}
TARGET_PX = 44
AT_ONCE = 3

PLAIN = {
    "index": "/",
    "panel": "/panel/heron-wall",
    "plan": "/plan",
    "crew": "/crew",
    "technician": "/technician",
    "commissioning": "/commissioning",
    "docs": "/docs",
    "sign-in": "/sign-in",
    "pair": "/pair",
}
"""Pages of the demo's venue as it starts; a page that the service does not have is left out."""
DIFFERING = {"panel-differs": "/panel/heron-wall", "panel-decided": "/panel/plover-wall"}
"""Quay House with rooms linked that differ."""
JOINED = {"panel-joined": "/panel/heron-wall", "panel-mirror": "/panel/plover-wall", "plan-joined": "/plan"}
"""Then with all walls open."""
STALE = {"panel-stale": "/panel/tern-wall"}
"""And then without a network."""
NAMES = (*PLAIN, *DIFFERING, *JOINED, *STALE)

AXE_RUN = """
async () => {
  const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
  const found = await axe.run(document, { runOnly: tags, resultTypes: ["violations"], preload: false });
  const where = (each) => each.nodes.map((node) => node.target.flat().join(" ")).join("; ");
  return found.violations.map((each) => `${each.id}: ${each.help}: ${where(each)}`);
}
"""

SMALL_TARGETS = """
(least) => {
  const acting = "a[href], button, input, select, textarea, summary, [role=slider], [role=radio], [tabindex='0']";
  const small = [];
  const walk = (root) => {
    for (const each of root.querySelectorAll("*")) {
      if (each.shadowRoot) walk(each.shadowRoot);
      if (!each.matches(acting) || !each.checkVisibility({ visibilityProperty: true })) continue;
      // A label is pressed as well as what it is for.
      const target = (["checkbox", "radio"].includes(each.type) && each.closest("label")) || each;
      const { width, height } = target.getBoundingClientRect();
      if (Math.min(width, height) >= least - 0.05) continue;
      small.push(`${each.localName} "${each.textContent.trim()}" ${width.toFixed(1)} by ${height.toFixed(1)}`);
    }
  };
  walk(document);
  return small;
}
"""

# Whatever must be scrolled sideways to be seen: the page, or a part of it. Tables of data may be wider than a screen.
SIDEWAYS = """
() => {
  const wide = [];
  const walk = (root) => {
    for (const each of root.querySelectorAll("*")) {
      if (each.shadowRoot) walk(each.shadowRoot);
      const style = getComputedStyle(each).overflowX;
      const scrolls = each === document.documentElement || style === "auto" || style === "scroll";
      const more = each.scrollWidth - each.clientWidth;
      if (!scrolls || more <= 1 || each.querySelector(":scope > table")) continue;
      wide.push(`${each.localName}.${each.className} by ${more} px`);
    }
  };
  walk(document);
  return wide;
}
"""


@dataclass
class Visit:
    """What was found on one page, over all themes and sizes; each finding says where."""

    axe: list[str] = field(default_factory=list)
    small: list[str] = field(default_factory=list)
    sideways: list[str] = field(default_factory=list)
    """What is wider than there is room for."""
    faults: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)


async def visit_all(browser: Browser, scratch: Path) -> dict[str, Visit]:
    """Visit the demo's pages in every look, and those of Quay House in states that matter."""
    assert AXE.is_file(), "axe-core is missing; `make js` installs it"
    SHOTS.mkdir(exist_ok=True)
    visits: dict[str, Visit] = {}
    async with _served(ROOT / "config" / "tidewater") as http:
        plain = {name: path for name, path in PLAIN.items() if (await http.get(path)).is_success}
        await _visit_each(browser, str(http.base_url).rstrip("/"), plain, visits)
    async with _served(write_venue(scratch / "quay", QUAY)) as http:
        url = str(http.base_url).rstrip("/")
        await _make_differ(http)
        await _visit_each(browser, url, DIFFERING, visits)
        for wall in ("heron-plover", "plover-tern"):
            body = {"position": "open", "pin": 3600}
            (await http.put(f"/api/v1/partitions/{wall}", json=body)).raise_for_status()
        await _visit_each(browser, url, JOINED, visits)
        await _visit_each(browser, url, STALE, visits, offline=True)
    return visits


@asynccontextmanager
async def _served(folder: Path) -> AsyncIterator[httpx.AsyncClient]:
    served = await asyncio.to_thread(Served, folder)
    try:
        async with httpx.AsyncClient(base_url=served.url) as http:
            yield http
    finally:
        await asyncio.to_thread(served.stop)


async def _make_differ(http: httpx.AsyncClient) -> None:
    """Two rooms agree and Tern differs; two panels are linked to all."""
    for control, value in (("volume", -12), ("program", "laptop"), ("mute", False), ("house", 20)):
        body = {"control": control, "do": "set", "value": value}
        (await http.post("/api/v1/zones/tern/actions", json=body)).raise_for_status()
    for controller in ("heron-wall", "plover-wall"):
        for zone in ("heron", "plover", "tern"):
            (await http.put(f"/api/v1/controllers/{controller}/links/{zone}")).raise_for_status()


async def _visit_each(
    browser: Browser, url: str, pages: dict[str, str], visits: dict[str, Visit], *, offline: bool = False
) -> None:
    free = asyncio.Semaphore(AT_ONCE)

    async def one(name: str, path: str) -> None:
        async with free:
            visits[name] = await _visit(browser, url + path, name, offline)

    await asyncio.gather(*(one(name, path) for name, path in pages.items()))


async def _visit(browser: Browser, url: str, name: str, offline: bool) -> Visit:
    visit = Visit()
    context = await browser.new_context()
    await context.add_init_script(path=AXE)
    screen = Screen(await context.new_page(), context, urlsplit(url).netloc, network_fails=offline)
    screen.listen()
    await screen.page.goto(url)
    await _ready(screen.page)
    if offline:
        await context.set_offline(True)
        await expect(screen.connection).to_have_attribute("data-stale", "")
    for theme in THEMES:
        if await screen.page.locator("html").get_attribute("data-theme") != theme:
            await screen.page.locator("#theme").click()
        for size in SIZES:
            await _look(screen.page, name, theme, size, visit)
    visit.faults += screen.faults()
    visit.elsewhere += screen.elsewhere
    await context.close()
    return visit


async def _look(page: Page, name: str, theme: str, size: str, visit: Visit) -> None:
    """One picture, and what is wrong in it."""
    where = f"{name}-{theme}-{size}"
    width, height = SIZES[size]
    await page.set_viewport_size({"width": width, "height": height})
    await page.screenshot(path=SHOTS / f"{where}.png", full_page=size == "phone" and name != "docs")
    visit.axe += [f"{where}: {found}" for found in await page.evaluate(AXE_RUN)]
    visit.small += [f"{where}: {found}" for found in await page.evaluate(SMALL_TARGETS, TARGET_PX)]
    visit.sideways += [f"{where}: {found}" for found in await page.evaluate(SIDEWAYS)]


async def _ready(page: Page) -> None:
    """Wait until everything that the page fetches is drawn."""
    await expect(page.locator("h1").first).not_to_have_text("\N{HORIZONTAL ELLIPSIS}")
    live = page.locator('rl-status [part="connection"]')
    if await page.locator("rl-status").count():
        await expect(live).to_have_text("Live")
