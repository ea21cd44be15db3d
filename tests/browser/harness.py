"""A venue to work in, the service that runs it, and browser pages that tell what went wrong in them."""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
from playwright.async_api import BrowserContext, CDPSession, ConsoleMessage, Locator, Page, Request, WebSocket, expect

from tests.api.harness import WITHIN_S, Served

QUAY = """
venue: {id: quay, name: Quay House, timezone: Europe/Lisbon}
zone_types:
  section:
    controls:
      program: {kind: choice, options: [lectern, laptop, camera], sources: true, gap: 0s, section: picture}
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 12s, start: -30, tolerance: 0.5, section: sound}
      mute: {kind: switch, start: on, section: sound}
      house: {kind: level, name: House lights, unit: "%", range: [0, 100], travel: 12s, start: 50, section: light}
      talkback: {kind: momentary, section: sound}
zones:
  heron:  {type: section, outline: [[0, 0], [12, 0], [12, 15], [0, 15]]}
  plover: {type: section, outline: [[12, 0], [24, 0], [24, 15], [12, 15]]}
  tern:   {type: section, outline: [[24, 0], [36, 0], [36, 15], [24, 15]]}
partitions:
  heron-plover: {between: [heron, plover], line: [[12, 0], [12, 15]], settle: 0s, contacts: simulated, name: West wall}
  plover-tern:  {between: [plover, tern], line: [[24, 0], [24, 15]], settle: 0s, name: East wall}
controllers:
  heron-wall:  {home: heron}
  plover-wall: {home: plover, feedback: majority}
  tern-wall:   {home: tern}
  desk:        {home: heron, feedback: last-linked, name: The desk}
combining:
  lead_order: [heron-wall, plover-wall, tern-wall]
  others: mirror
  blend: 0s
  on_combine: {volume: lead, mute: lead}
  on_separate: {volume: restore, mute: restore}
scenes:
  dinner: {type: section, values: {volume: -38, mute: off, program: laptop}}
"""
"""Levels that take long from end to end, so that what is held is still on its way when it is let go."""

PLAN_ZONE = "rl-links [part~=zone][data-zone={}]"


async def eventually(seen: Callable[[], Awaitable[Any]], what: str) -> Any:
    """Wait until ``seen`` gives something true, and give it; ``what`` says in a failure what did not come."""
    try:
        async with asyncio.timeout(WITHIN_S):
            while not (found := await seen()):  # noqa: ASYNC110 - what another process does has no event here
                await asyncio.sleep(0.01)
    except TimeoutError:
        raise AssertionError(what) from None
    return found


@dataclass
class House:
    """The service that a test works with, seen over plain HTTP."""

    served: Served
    folder: Path
    data: Path
    http: httpx.AsyncClient

    @property
    def url(self) -> str:
        return self.served.url

    @property
    def port(self) -> int:
        return urlsplit(self.url).port or 0

    async def call(self, method: str, path: str, body: Any = None) -> Any:
        answer = await self.http.request(method, f"{self.url}/api/v1{path}", json=body)
        assert answer.is_success, answer.text
        return answer.json()

    async def control(self, zone: str, control: str) -> dict[str, Any]:
        """One control of one zone, as it is now."""
        found: dict[str, Any] = (await self.call("GET", f"/zones/{zone}"))["controls"][control]
        return found

    async def value(self, zone: str, control: str) -> Any:
        return (await self.control(zone, control))["value"]

    async def moving(self, zone: str, control: str = "volume") -> bool:
        return (await self.control(zone, control))["moving"] is not None

    async def set(self, zone: str, **values: Any) -> None:
        for control, value in values.items():
            await self.call("POST", f"/zones/{zone}/actions", {"control": control, "do": "set", "value": value})

    async def link(self, controller: str, *zones: str) -> None:
        """Link these zones one after the other, the last one last."""
        for zone in zones:
            await self.call("PUT", f"/controllers/{controller}/links/{zone}")

    async def until_value(self, zone: str, control: str, value: Any) -> None:
        async def seen() -> bool:
            return bool(await self.value(zone, control) == value)

        await eventually(seen, f"{zone}.{control} does not become {value}")

    async def until_moving(self, zone: str, moving: bool, control: str = "volume") -> float:
        """Wait until it moves or stands; gives the seconds that it took."""
        start = time.monotonic()

        async def seen() -> bool:
            return await self.moving(zone, control) is moving

        await eventually(seen, f"{zone}.{control} is {'not ' if moving else ''}moving")
        return time.monotonic() - start

    async def kill(self) -> None:
        """End it as a power cut would."""
        await asyncio.to_thread(self.served.stop)

    async def start_again(self) -> None:
        """Start it on the same port with the same journal."""
        self.served = await asyncio.to_thread(Served, self.folder, self.data, "--port", str(self.port))


@dataclass
class Screen:
    """One page in a browser of its own, with all that went wrong in it."""

    page: Page
    context: BrowserContext
    host: str
    errors: list[str] = field(default_factory=list)
    """What the console complained of: errors, warnings, violations of the content security policy."""
    elsewhere: list[str] = field(default_factory=list)
    """Addresses of other hosts that were asked for anything."""
    heard: list[str] = field(default_factory=list)
    """Every message of live sockets to the page, as text."""
    network_fails: bool = False
    """Whether the test breaks the network, so that failed connections in the console are what must be."""

    def listen(self) -> None:
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.errors.append(f"uncaught: {error}"))
        self.page.on("request", self._request)
        self.page.on("websocket", self._socket)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.errors.append(f"{message.type}: {message.text}")

    def _request(self, request: Request) -> None:
        self._note_host(request.url)

    def _socket(self, socket: WebSocket) -> None:
        self._note_host(socket.url)
        socket.on("framereceived", lambda frame: self.heard.append(str(frame)))

    def _note_host(self, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme not in ("data", "blob") and parts.netloc != self.host:
            self.elsewhere.append(url)

    def faults(self) -> list[str]:
        """What should not have happened in this page."""
        network = re.compile(r"WebSocket connection to|net::ERR_|Failed to load resource|when fetching the script")
        return [error for error in self.errors if not (self.network_fails and network.search(error))]

    def control(self, name: str, part: str = "") -> Locator:
        """The element of a control, or a part of it."""
        return self.page.locator(f'[control="{name}"] [part~="{part}"]' if part else f'[control="{name}"]')

    def key(self, control: str, which: str) -> Locator:
        """``raise``, ``lower`` or ``key`` of a control."""
        return self.control(control, which)

    @property
    def rooms(self) -> Locator:
        return self.page.locator('rl-status [part="rooms"]')

    @property
    def standing(self) -> Locator:
        return self.page.locator('rl-status [part="standing"]')

    @property
    def connection(self) -> Locator:
        """Whether all is current, in words."""
        return self.page.locator('rl-status [part="connection"]')

    def zone(self, zone: str) -> Locator:
        """A zone on the panel's plan."""
        return self.page.locator(PLAN_ZONE.format(zone))

    async def live(self) -> None:
        await expect(self.connection).to_have_text("Live")

    async def shows_rooms(self, words: str) -> None:
        await expect(self.rooms).to_have_text(words)

    async def hold_down(self, target: Locator) -> None:
        """Press the mouse on it and keep it pressed."""
        await target.hover()
        await self.page.mouse.down()

    async def cdp(self) -> CDPSession:
        """The browser's own protocol, for input that Playwright has no words for."""
        return await self.context.new_cdp_session(self.page)


async def middle(target: Locator, part: float = 0.5) -> dict[str, float]:
    """A point on it: ``part`` of its width, half of its height."""
    await target.scroll_into_view_if_needed()
    box = await target.bounding_box()
    assert box is not None
    return {"x": box["x"] + part * box["width"], "y": box["y"] + box["height"] / 2}
