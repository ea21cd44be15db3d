"""Following calendars, elsewhere or in files: each has a task that asks now and then, and takes in what has changed."""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import structlog

from roomlink import limits
from roomlink.core.alarms import stands
from roomlink.core.checks import require
from roomlink.core.commands import Actor, ReportTrouble
from roomlink.core.events import Configured, Entry
from roomlink.core.instants import rfc3339
from roomlink.diary import feeds
from roomlink.diary.ical_read import read_calendar
from roomlink.diary.reports import Report
from roomlink.errors import RoomlinkError
from roomlink.runtime.ending import ended
from roomlink.runtime.outside import Bell, LiveDesk, shown_url
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

Data = dict[str, Any]
BY = Actor("feeds", "service")


class Unread(Exception):
    """The calendar could not be had; the text says why, to a person."""


@dataclass(slots=True)
class Followed:
    """One feed at work. ``report`` is on the newest file that was taken in."""

    config: Mapping[str, Any]
    bell: Bell
    seen: feeds.Seen = field(default_factory=feeds.Seen)
    failures: int = 0
    why: str = ""
    asked: float | None = None
    taken: float | None = None
    report: Report | None = None
    task: asyncio.Task[None] | None = None


def _content(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(feeds.FILE_BYTES_MAX + 1)


def _bound(body: bytes | bytearray) -> None:
    """Raises ``Unread`` where a calendar is too large."""
    if len(body) > feeds.FILE_BYTES_MAX:
        raise Unread(f"the file is larger than {feeds.FILE_BYTES_MAX // 1024 // 1024} MiB")


class Feeds:
    """All feeds of a venue. Start it when the venue is configured, stop it before the writer.

    ``folder`` is where relative names of calendar files count from.
    """

    def __init__(self, writer: Writer, folder: Path | None = None) -> None:
        self._writer = writer
        self._folder = folder or Path()
        self._client: httpx.AsyncClient | None = None
        self._feeds: dict[str, Followed] = {}

    def start(self) -> None:
        self._client = httpx.AsyncClient(
            follow_redirects=True, max_redirects=feeds.REDIRECTS_MAX, headers={"user-agent": "roomlink"}
        )
        self._writer.hooks.append(self._heard)
        self._configure()

    async def stop(self) -> None:
        if self._client is None:
            return
        self._writer.hooks.remove(self._heard)
        await ended(*(one.task for one in self._feeds.values()))
        await self._client.aclose()
        self._client = None
        self._feeds.clear()

    def _heard(self, entry: Entry) -> None:
        if any(isinstance(event, Configured) for event in entry.events):
            self._configure()

    def _configure(self) -> None:
        """Take up what is new or changed. What was taken from a feed that is gone stays: only people cancel that."""
        spec = self._writer.state.spec
        wanted = {config["name"]: config for config in (spec.data.get("calendar") or {}).get("feeds", ())}
        for name in [name for name, one in self._feeds.items() if wanted.get(name) != one.config]:
            task = self._feeds.pop(name).task
            if task is not None:
                task.cancel()
            if name not in wanted:
                self._writer.surely(ReportTrouble(BY, feeds.source(name)))
        for name, config in wanted.items():
            if name in self._feeds:
                # Its rooms may have other zones now: the same file is another diary then.
                self._feeds[name].seen = feeds.Seen()
                continue
            one = Followed(config, Bell(self._writer.clock))
            self._feeds[name] = one
            one.task = asyncio.get_running_loop().create_task(self._run(one))

    async def _run(self, one: Followed) -> None:
        while True:
            await self.ask(one)
            await one.bell.wait(one.config["every"])

    async def ask(self, one: Followed) -> None:
        """Ask once, and take in what is new."""
        name = feeds.source(one.config["name"])
        one.asked = self._writer.clock.stamp()
        try:
            await self._follow(one)
        except (Unread, RoomlinkError) as error:
            one.failures += 1
            one.why = str(error)
            log.warning("feed", feed=one.config["name"], failures=one.failures, why=one.why)
            if one.failures == feeds.ALARM_TRIES:
                text = f"the calendar {one.config['name']} cannot be followed: {one.why}; its bookings stay as they are"
                self._writer.surely(ReportTrouble(BY, name, text))
            return
        one.failures, one.why = 0, ""
        if stands(self._writer.state, name):
            self._writer.surely(ReportTrouble(BY, name))

    async def _follow(self, one: Followed) -> None:
        read = self._get if one.config.get("file") is None else self._read
        answer = await read(one)
        if answer is None:
            return
        body, seen = answer
        desk = LiveDesk(self._writer)
        now = desk.now
        upto = now + limits.BOOKING_AHEAD_S
        file = await asyncio.to_thread(read_calendar, body, desk.state.spec.timezone, now, upto)
        report = await feeds.follow(file, one.config, desk, upto)
        if report.fault:
            raise Unread(report.fault)
        # Only what was taken in whole need not be sent again; what clashed may be free next time.
        one.seen = seen if not report.counts()["refused"] else feeds.Seen()
        one.report, one.taken = report, self._writer.clock.stamp()
        log.info("feed", feed=one.config["name"], **report.counts())

    async def _read(self, one: Followed) -> tuple[bytes, feeds.Seen] | None:
        """As ``_get``, of a file."""
        path = self._folder / one.config["file"]
        try:
            body = await asyncio.to_thread(_content, path)
        except OSError as error:
            # Everybody may read this: the name as it is configured, not where it lies on this machine.
            raise Unread(f"{one.config['file']} cannot be read: {error.strerror}") from None
        _bound(body)
        seen = feeds.Seen(etag=hashlib.sha256(body).hexdigest())
        return None if seen == one.seen else (body, seen)

    async def _get(self, one: Followed) -> tuple[bytes, feeds.Seen] | None:
        """The file and its version; None where it has not changed. Raises ``Unread``."""
        assert self._client is not None
        seconds = one.config["timeout"]
        try:
            async with (
                asyncio.timeout(seconds),
                self._client.stream("GET", one.config["url"], headers=one.seen.headers(), timeout=seconds) as answer,
            ):
                if answer.status_code == 304:
                    return None
                if answer.status_code != 200:
                    raise Unread(f"it answered {answer.status_code}")
                body = bytearray()
                async for chunk in answer.aiter_bytes():
                    body += chunk
                    _bound(body)
                return bytes(body), feeds.seen(answer.headers)
        except (TimeoutError, httpx.TimeoutException):
            raise Unread(f"no whole answer within {seconds:g} s") from None
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            raise Unread(f"{type(error).__name__}: {error}"[:200]) from None

    # For people

    def status(self) -> list[Data]:
        """How each feed stands, with the report on its newest file."""
        return [self._shown(one) for one in self._feeds.values()]

    def _shown(self, one: Followed) -> Data:
        return {
            "feed": one.config["name"],
            "url": None if one.config["url"] is None else shown_url(one.config["url"]),
            "file": one.config.get("file"),
            "every": one.config["every"],
            "asked": None if one.asked is None else rfc3339(one.asked),
            "taken": None if one.taken is None else rfc3339(one.taken),
            "failures": one.failures,
            "why": one.why or None,
            "report": None if one.report is None else one.report.data(),
        }

    def ask_now(self, name: str) -> None:
        """Let a feed be asked at once. Raises ``UnknownName``."""
        require("feed", name, self._feeds)
        self._feeds[name].bell.ring()
