"""Small venues as resolved configuration data, as ``core.spec.from_data`` takes it, for tests and rehearsals.

Zones are ``a``, ``b``, ``c`` ...; the wall between ``a`` and ``b`` is ``a-b``; the controller at home in ``a`` is
``a-panel``. Everything else is a parameter with a plain default.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations, pairwise
from typing import Any

Data = dict[str, Any]


def level(**members: Any) -> Data:
    """A level of -60 to 0 dB that travels its range in 6 s, 10 dB each second; it starts at -30 dB."""
    return {"kind": "level", "unit": "dB", "lo": -60.0, "hi": 0.0, "travel": 6.0, "start": -30.0, **members}


def choice(*options: str, **members: Any) -> Data:
    """A choice without a gap that starts with nothing on."""
    return {"kind": "choice", "options": list(options or ("lectern", "laptop", "camera")), **members}


def switch(**members: Any) -> Data:
    """A switch that starts off."""
    return {"kind": "switch", **members}


def momentary(**members: Any) -> Data:
    return {"kind": "momentary", **members}


def motion(**members: Any) -> Data:
    """A motion that is held to run, as measured 20 s, 26 s at most, with 1 s of rest before it reverses."""
    return {"kind": "motion", "travel": 20.0, "max_run": 26.0, "dead_time": 1.0, **members}


def section() -> Data:
    """One control of each kind: what the zones of these venues have if nothing else is said."""
    return {"program": choice(), "volume": level(), "mute": switch(), "talkback": momentary()}


def names(count: int) -> list[str]:
    """``a`` to ``z``, then ``aa``, ``ab`` and so on."""
    letters = "abcdefghijklmnopqrstuvwxyz"
    found = [""]
    while len(found) <= count:
        found += [start + letter for start in found[-(26 ** len(found[-1])) :] for letter in letters]
    return found[1 : count + 1]


def panels(zones: Iterable[str], **members: Any) -> Data:
    """One controller at home in each zone."""
    return {f"{zone}-panel": {"home": zone, **members} for zone in zones}


def lead_by_order(zones: Iterable[str], **members: Any) -> Data:
    """Combining in which the panels lead in the order of their zones."""
    return {"lead_order": [f"{zone}-panel" for zone in zones], "others": "own", **members}


def venue(
    zones: Sequence[str],
    walls: Iterable[tuple[str, str]] = (),
    *,
    controls: Data | None = None,
    zone_controls: Mapping[str, Data] | None = None,
    controllers: Data | None = None,
    panel: Mapping[str, Any] | None = None,
    wall: Mapping[str, Any] | None = None,
    combining: Data | None = None,
    scenes: Data | None = None,
    **more: Any,
) -> Data:
    """A venue. ``panel`` and ``wall`` hold members for every controller and wall; walls settle at once by default.

    ``more`` are further members as they stand: ``overrides``, ``devices``, ``bindings``.

    Zones named in ``zone_controls`` have those controls, and a type named after them; all others are sections.
    """
    shared = section() if controls is None else controls
    own = zone_controls or {}
    return {
        "venue": {"id": "trial", "name": "Trial", "timezone": "UTC"},
        "zones": {
            zone: {
                "type": zone if zone in own else "section",
                "name": zone.capitalize(),
                "controls": own.get(zone, shared),
            }
            for zone in zones
        },
        "partitions": {
            f"{a}-{b}": {"between": [a, b], "settle": 0.0, "name": f"{a}-{b}", **(wall or {})} for a, b in walls
        },
        "controllers": panels(zones, **(panel or {})) if controllers is None else controllers,
        "combining": combining,
        "scenes": scenes or {},
        **more,
    }


def row(count: int, **members: Any) -> Data:
    """Zones side by side: one wall fewer than zones. ``members`` are those of ``venue``."""
    zones = names(count)
    return venue(zones, pairwise(zones), **members)


def ring(count: int, **members: Any) -> Data:
    """A row whose last zone borders on the first: as many walls as zones. ``count`` is at least 3."""
    zones = names(count)
    return venue(zones, [*pairwise(zones), (zones[0], zones[-1])], **members)


def grid(width: int, height: int, **members: Any) -> Data:
    """Zones in rows and columns, named along the rows."""
    zones = names(width * height)
    across = [(zones[y * width + x], zones[y * width + x + 1]) for y in range(height) for x in range(width - 1)]
    down = [(zones[y * width + x], zones[(y + 1) * width + x]) for y in range(height - 1) for x in range(width)]
    return venue(zones, [*across, *down], **members)


def complete(count: int, **members: Any) -> Data:
    """Every zone borders on every other."""
    zones = names(count)
    return venue(zones, combinations(zones, 2), **members)
