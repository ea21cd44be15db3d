"""What box for what venue, worked out from what was measured: the table of ``deploy/sizing.md``."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from roomlink import limits
from tests.bench._figures import Curve, Figure, Found, number

LINKS_EACH = 3
"""Links that a controller has on average: its own zone, and some that walls or hands add."""


@dataclass(frozen=True)
class Venue:
    """A size of venue at its busiest; ``changes`` are what panels hear of in a second, a day has ``day`` of them."""

    name: str
    zones: int
    panels: int
    changes: float
    day: int


VENUES = (
    Venue("a ballroom in four", 4, 10, 5.0, 5_000),
    Venue("a conference floor", 30, 60, 20.0, 20_000),
    Venue("a convention centre", 300, 600, 50.0, 80_000),
    Venue("a campus on one journal", 3_000, 2_000, 50.0, 300_000),
)


def table(found: Sequence[Found]) -> str:
    """Memory, processor, time and disk of each size of venue."""
    figures = {one.name: statistics.median(one.values) for one in found if isinstance(one, Figure)}
    curves = {one.name: one for one in found if isinstance(one, Curve)}
    rows = [
        "| venue | zones | panels | changes a second, at most | memory | of one processor | last panel hears after "
        "| disk a year with `keep_days: 30` |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for venue in VENUES:
        memory = (
            figures["The service with a small venue and no panel"]
            + venue.panels * figures["A panel that is connected"]
            + venue.zones * figures["A zone: four controls, a wall, a controller"]
            + venue.zones * LINKS_EACH * figures["A link"]
            + limits.RESUME_ENTRIES_MAX * figures["A journal entry that a panel may come back to"]
        )
        busy = venue.changes * _over(curves["panels-cpu"], venue.panels)
        last = _over(curves["panels-last"], venue.panels)
        event, kept = (
            figures[name] for name in ("A level event in the journal", "The same once made small by `keep_days`")
        )
        disk = venue.day * (30 * event + 335 * kept)
        rows.append(
            f"| {venue.name} | {venue.zones:,} | {venue.panels:,} | {venue.changes:g} | {number(memory / 1e6)} MB "
            f"| {number(busy * 100)} % | {number(last * 1e3)} ms | {number(disk / 1e9)} GB |"
        )
    return "\n".join(rows)


def _over(curve: Curve, panels: int) -> float:
    """Between the two measured sizes around it, in a straight line."""
    points = list(zip(curve.at, curve.median, strict=True))
    (x, y) = points[0]
    for more, higher in points[1:]:
        if panels <= more:
            return y + (higher - y) * max(0.0, panels - x) / (more - x)
        x, y = more, higher
    return y * panels / x
