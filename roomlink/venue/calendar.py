"""The sections ``calendar`` and ``webhooks``: names of rooms in calendars, calendars to follow, whom to tell.

Whoever needs them finds them in ``Spec.data``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from roomlink.venue.calendar_models import FAMILIES, Calendar, Webhook
from roomlink.venue.findings import Path, Report
from roomlink.venue.site import Site, known_zones

Data = dict[str, Any]


def calendar(model: Calendar, site: Site, report: Report) -> Data:
    """The section ``calendar``, proved."""
    for room, zones in model.rooms.items():
        path: Path = ("calendar", "rooms", room)
        known_zones(path, zones, site, report)
        if not zones:
            report.add(path, "no zone is listed", "list the zones that are this room")
    for index, feed in enumerate(model.feeds):
        path = ("calendar", "feeds", index)
        known_zones((*path, "zones"), feed.zones, site, report)
        if (feed.url is None) == (feed.file is None):
            text = "it has neither url nor file" if feed.url is None else "it has both url and file"
            report.add(path, text, "write url: for a calendar elsewhere, or file: for one in the venue's folder")
    _once(("calendar", "feeds"), [feed.name for feed in model.feeds], report)
    if len({" ".join(room.split()).casefold() for room in model.rooms}) < len(model.rooms):
        report.add(("calendar", "rooms"), "two rooms differ only in capitals or spaces", "keep one of them")
    return model.model_dump()


def webhooks(model: Sequence[Webhook], origin: Sequence[int], report: Report) -> list[Data]:
    """The section ``webhooks``, proved; ``origin`` are the indices of its entries as written."""
    _once(("webhooks",), [hook.name for hook in model], report, origin)
    for index, hook in zip(origin, model, strict=True):
        if not hook.events:
            right = f"list some of {', '.join(FAMILIES)}, or leave it out for all"
            report.add(("webhooks", index, "events"), "it is told nothing", right)
    return [hook.model_dump() for hook in model]


def _once(path: Path, names: Sequence[str], report: Report, origin: Sequence[int] | None = None) -> None:
    for index, name in enumerate(names):
        if name in names[:index]:
            at = index if origin is None else origin[index]
            report.add((*path, at, "name"), f"{name} is there already", "choose another name")
