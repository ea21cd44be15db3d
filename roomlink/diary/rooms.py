"""Names of rooms in calendars and the zones that they stand for, both ways."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from roomlink.core.spec import Spec

_BETWEEN = re.compile(r"\s*[;,+&/]\s*|\s+and\s+", re.IGNORECASE)
"""What people write between two rooms."""


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


class Rooms:
    """The rooms of one venue: those of the section ``calendar``, and every zone by its name and its id."""

    def __init__(self, spec: Spec) -> None:
        self._rank = spec.zone_rank
        self._zones: dict[str, tuple[str, ...]] = {}
        self._name: dict[frozenset[str], str] = {}
        configured: Mapping[str, Iterable[str]] = (spec.data.get("calendar") or {}).get("rooms", {})
        zones = {zone.name: (name,) for name, zone in spec.zones.items()} | {name: (name,) for name in spec.zones}
        for name, of in (*configured.items(), *zones.items()):
            known = tuple(zone for zone in of if zone in spec.zones)
            self._zones.setdefault(_plain(name), known)
            self._name.setdefault(frozenset(known), name)

    def zones(self, places: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The zones of what a calendar says, in venue order, and the names that stand for none.

        A name is looked up whole first, then in parts: a room may be called "Hall A, upstairs".
        """
        found: set[str] = set()
        unknown: list[str] = []
        for place in places:
            whole = self._zones.get(_plain(place))
            for part in (place,) if whole else _BETWEEN.split(place):
                zones = self._zones.get(_plain(part))
                found.update(zones or ())
                if not zones and part.strip():
                    unknown.append(part)
        return tuple(sorted(found, key=self._rank.__getitem__)), tuple(dict.fromkeys(unknown))

    def name(self, zones: Iterable[str]) -> str:
        """The words for zones: the room that is exactly these, or one for each zone."""
        together = self._name.get(frozenset(zones))
        return together or ", ".join(self._name.get(frozenset((zone,)), zone) for zone in zones)
