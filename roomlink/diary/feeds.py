"""A calendar elsewhere that is followed: what to ask it, what its answer means, and what its newest file makes here.

A feed that fails, or whose file is broken, changes nothing here: what was taken from it stays as it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from roomlink.core.commands import Actor
from roomlink.diary.ical_read import CalendarFile
from roomlink.diary.intake import Desk, Terms, cancel_gone, take_in
from roomlink.diary.reports import Report

ALARM_TRIES = 3
"""After this many failures in a row there is an alarm."""
FILE_BYTES_MAX = 8 * 1024 * 1024
REDIRECTS_MAX = 3


@dataclass(frozen=True, slots=True)
class Seen:
    """Which version of the file was taken last, as its server names it (RFC 9110 §13)."""

    etag: str | None = None
    modified: str | None = None

    def headers(self) -> dict[str, str]:
        """What to ask with, so that an unchanged file is not sent again."""
        asked = {"accept": "text/calendar"}
        if self.etag is not None:
            asked["if-none-match"] = self.etag
        if self.modified is not None:
            asked["if-modified-since"] = self.modified
        return asked


def seen(headers: Mapping[str, str]) -> Seen:
    return Seen(headers.get("etag"), headers.get("last-modified"))


def source(name: str) -> str:
    """What a booking says that it was taken from."""
    return f"feed/{name}"


def terms(config: Mapping[str, Any], upto: float) -> Terms:
    name = source(config["name"])
    return Terms(Actor(name, "calendar"), name, upto, tuple(config["zones"]), config["accept_free"])


async def follow(file: CalendarFile, config: Mapping[str, Any], desk: Desk, upto: float) -> Report:
    """Take in the newest file. An empty one cancels nothing: more likely than an empty diary is a broken export."""
    if file.fault:
        return Report(fault=file.fault)
    on = terms(config, upto)
    gone = await cancel_gone(file, desk, on) if config["gone"] == "cancel" and file.events else []
    report = await take_in(file, desk, on)
    return replace(report, lines=(*gone, *report.lines))
