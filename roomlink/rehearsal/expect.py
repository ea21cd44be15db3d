"""What a scenario expects to see at a step, and how that differs from what is seen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

from roomlink.core import microphones, view, wall_view
from roomlink.core.alarms import standing
from roomlink.core.state import State
from roomlink.rehearsal import evening_steps
from roomlink.rehearsal.reading import Reader
from roomlink.venue.findings import Path

WITHIN = 0.001
"""Numbers nearer than this are the same where a scenario gives no ``within``."""


class Seen(Protocol):
    """What expectations are compared with."""

    @property
    def state(self) -> State: ...

    @property
    def now(self) -> float: ...

    def level(self, device: str, point: str) -> Any:
        """What a device is at a point now."""
        ...

    def up(self, device: str) -> bool: ...


class Difference(NamedTuple):
    """One thing that is not as expected; both sides as plain values."""

    what: str
    expected: Any
    seen: Any

    def __str__(self) -> str:
        return f"{self.what}\n    expected  {in_words(self.expected)}\n    seen      {in_words(self.seen)}"


def in_words(value: Any) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    if value is None:
        return "none"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {in_words(v)}" for k, v in value.items())
    if isinstance(value, list | tuple):
        return "[" + ", ".join(in_words(one) for one in value) + "]"
    return str(value)


def agrees(expected: Any, seen: Any, within: float = WITHIN) -> bool:
    """Whether a value is as written: ``on``, ``off`` and ``none`` are words for true, false and nothing."""
    if isinstance(seen, bool) or isinstance(expected, bool):
        return {"on": True, "off": False}.get(str(expected), expected) is seen
    if isinstance(seen, int | float) and isinstance(expected, int | float):
        return abs(seen - expected) <= within
    return bool((None if expected == "none" else expected) == seen)


@dataclass(frozen=True, slots=True)
class Expectation:
    """``what`` (a key of ``expect``) shall be as ``want`` says; ``path`` is where that was written."""

    what: str
    want: Any
    path: Path

    def differences(self, seen: Seen) -> list[Difference]:
        compare = SECTIONS[self.what].compare if self.what in SECTIONS else _control
        return list(compare(seen, self.what, self.want))


Compare = Callable[[Seen, str, Any], list[Difference]]


# Comparing


def _members(what: str, want: Mapping[str, Any], found: Mapping[str, Any]) -> list[Difference]:
    within = want.get("within", WITHIN)
    off = {k: v for k, v in want.items() if k != "within" and not _member(k, v, found.get(k), within)}
    return [Difference(what, off, {k: found.get(k) for k in off})] if off else []


def _member(key: str, want: Any, found: Any, within: float) -> bool:
    if key == "moving":
        return bool(want) == (found is not None)
    if key == "outliers":
        return sorted(want) == sorted(found or ())
    if key in ("decided", "mixed", "flagged", "joins", "mismatched", "ticked", "disagrees", "late", "marked"):
        return bool(want) is found
    return agrees(want, found, within)


def _control(seen: Seen, what: str, want: Any) -> list[Difference]:
    surface, _, control = what.rpartition(".")
    if surface in seen.state.spec.controllers:
        found = view.face(seen.state, surface, seen.now)["controls"].get(control)
    else:
        found = view.control(seen.state, surface, control, seen.now)
    return [Difference(what, want, "no such control here")] if found is None else _members(what, want, found)


def _heard(seen: Seen, what: str, want: Any) -> list[Difference]:
    heard = microphones.heard(seen.state)
    return [
        Difference(f"{what} {name}", zones, list(heard[name]))
        for name, zones in want.items()
        if sorted(zones) != sorted(heard[name])
    ]


def _groups(seen: Seen, what: str, want: Any) -> list[Difference]:
    """Those named, and every other zone by itself."""
    joined = [group for group in wall_view.groups(seen.state) if len(group) > 1]
    wished = [sorted(group) for group in want if len(group) > 1]
    return [] if sorted(wished) == sorted(sorted(g) for g in joined) else [Difference(what, want, joined)]


def _links(seen: Seen, what: str, want: Any) -> list[Difference]:
    found = {controller: list(seen.state.linked.get(controller, ())) for controller in want}
    return [Difference(f"links of {c}", z, found[c]) for c, z in want.items() if sorted(z) != sorted(found[c])]


def _lead(seen: Seen, what: str, want: Any) -> list[Difference]:
    off = []
    for zone, controller in want.items():
        group = seen.state.group_of.get(zone, (zone,))
        homed = [c for c, s in seen.state.spec.controllers.items() if s.home in group]
        leads = [c for c in homed if (role := seen.state.roles.get(c)) is not None and role.lead]
        if leads != ([] if controller == "none" else [controller]):
            off.append(Difference(f"lead of {zone}", controller, leads))
    return off


def _locked(seen: Seen, what: str, want: Any) -> list[Difference]:
    off = []
    for controller, by in want.items():
        role = seen.state.roles.get(controller)
        found = None if role is None else role.locked
        if found != (None if by == "none" else by):
            off.append(Difference(f"{controller} locked by", by, found))
    return off


def _walls(seen: Seen, what: str, want: Any) -> list[Difference]:
    found = wall_view.partitions(seen.state)
    for name, shown in found.items():
        kept = seen.state.divisions.get(name)
        shown["division"] = None if kept is None else kept.why
    return [d for wall, wished in want.items() for d in _members(wall, wished, found[wall])]


def _devices(seen: Seen, what: str, want: Any) -> list[Difference]:
    return [
        difference
        for device, points in want.items()
        for point, wished in points.items()
        for difference in _members(f"{point} at {device}", wished, {"value": seen.level(device, point)})
    ]


def _up(seen: Seen, what: str, want: Any) -> list[Difference]:
    return [Difference(f"{d} up", wished, seen.up(d)) for d, wished in want.items() if seen.up(d) != wished]


def _bookings(seen: Seen, what: str, want: Any) -> list[Difference]:
    """Bookings by their phase; one that was called off is ``cancelled``."""
    off = []
    for name, phase in want.items():
        dates = [seen.state.occurrences[name, key] for key in seen.state.dates.get(name, ())]
        found = [one.phase if one.status == "confirmed" else one.status for one in dates] or ["no such booking"]
        if found != [phase]:
            off.append(Difference(f"booking {name}", phase, found[0] if len(found) == 1 else found))
    return off


def _in_use(seen: Seen, what: str, want: Any) -> list[Difference]:
    found = {zone: (seen.state.in_use.get(zone) or ("none",))[0] for zone in want}
    return [Difference(f"{z} in use by", by, found[z]) for z, by in want.items() if by != found[z]]


def _requested(seen: Seen, what: str, want: Any) -> list[Difference]:
    """Where walls shall be moved to, as the diary asks."""
    asked = {wall: seen.state.wall_requests.get(wall) for wall in want}
    found = {wall: "none" if one is None else one.position for wall, one in asked.items()}
    return [Difference(f"{w} asked to be", p, found[w]) for w, p in want.items() if p != found[w]]


def _told(seen: Seen, what: str, want: Any) -> list[Difference]:
    """Zones with what their guests are offered in minutes; ``none``: they are told of no end."""
    off = []
    for zone, offered in want.items():
        found = evening_steps.offers(seen.state, zone) if evening_steps.is_told(seen.state, zone) else "none"
        if found != offered:
            off.append(Difference(f"offered in {zone}", offered, found))
    return off


def _closing(seen: Seen, what: str, want: Any) -> list[Difference]:
    found = {zone: evening_steps.waiting(seen.state, zone) for zone in want}
    return [Difference(f"routines of {zone}", w, found[zone]) for zone, w in want.items() if w != found[zone]]


def _moves(seen: Seen, what: str, want: Any) -> list[Difference]:
    """What the crew's list of today has, by booking and wall."""
    off, found = [], evening_steps.moves(seen.state, seen.now)
    for booking, walls in want.items():
        for wall, wished in walls.items():
            move = found.get((wall, booking))
            if (move is None) != (wished == {}):
                off.append(Difference(f"move of {wall} for {booking}", wished or "none", move or "none"))
            elif move is not None:
                off += _members(f"move of {wall} for {booking}", wished, evening_steps.move_as_seen(move))
    return off


def _names_of(names: Callable[[State], Iterable[str]]) -> Compare:
    def compare(seen: Seen, what: str, want: Any) -> list[Difference]:
        found = sorted(names(seen.state))
        return [] if sorted(want) == found else [Difference(what, want, found)]

    return compare


# Reading


def _read_members(keys: Mapping[str, str]) -> Callable[[Reader, Any, Path], Any]:
    def read(reader: Reader, value: Any, path: Path) -> Any:
        if not isinstance(value, dict):
            return {"value" if "value" in keys else "position": value}
        given = reader.keys(value, keys, path)
        return {key: reader.take(keys[key], value[key], (*path, key)) for key in given}

    return read


_CONTROL_KEYS = {
    "value": "value", "within": "value", "pending": "value", "moving": "flag", "overridden": "value",
    "decided": "flag", "mixed": "flag", "outliers": "zones",
}  # fmt: skip
_WALL_KEYS = {"position": "position", "trust": "text", "flagged": "flag", "joins": "flag",
              "division": "value", "mismatched": "flag"}  # fmt: skip
read_control = _read_members(_CONTROL_KEYS)
_read_wall = _read_members(_WALL_KEYS)
_read_move = _read_members(evening_steps.MOVE_KEYS)
_read_point = _read_members({"value": "value", "within": "value"})


def _by_name(kind: str, then: Callable[[Reader, Any, Path], Any]) -> Callable[[Reader, Any, Path], Any]:
    def read(reader: Reader, value: Any, path: Path) -> Any:
        given = reader.mapping(value, path)
        known = [key for key in given if reader.name(kind, key, (*path, key)) is not None]
        return {key: then(reader, given[key], (*path, key)) for key in known}

    return read


def _kind(kind: str) -> Callable[[Reader, Any, Path], Any]:
    return lambda reader, value, path: reader.take(kind, value, path)


def _read_groups(reader: Reader, value: Any, path: Path) -> Any:
    if not isinstance(value, list):
        reader.take("zones", value, path)
        return []
    return [reader.each("zone", group, (*path, place)) for place, group in enumerate(value)]


def _read_points(reader: Reader, value: Any, path: Path) -> Any:
    return {k: _read_point(reader, v, (*path, k)) for k, v in reader.mapping(value, path).items()}


def _read_words(reader: Reader, value: Any, path: Path) -> Any:
    return {k: reader.take("text", v, (*path, k)) for k, v in reader.mapping(value, path).items()}


def _read_told(reader: Reader, value: Any, path: Path) -> Any:
    """Minutes, or ``none``."""
    return value if value == "none" else reader.each("value", value, path)


def _read_moves(reader: Reader, value: Any, path: Path) -> Any:
    """By booking and wall; ``none`` for a move that nobody asks for."""
    return {
        booking: {
            wall: {} if move == "none" else _read_move(reader, move, (*path, booking, wall))
            for wall, move in reader.mapping(walls, (*path, booking)).items()
            if reader.name("wall", wall, (*path, booking, wall)) is not None
        }
        for booking, walls in reader.mapping(value, path).items()
    }


def _texts(reader: Reader, value: Any, path: Path) -> Any:
    return reader.each("text", value, path)


class Section(NamedTuple):
    """A key of ``expect`` beside the controls."""

    read: Callable[[Reader, Any, Path], Any]
    compare: Compare


SECTIONS: dict[str, Section] = {
    "groups": Section(_read_groups, _groups),
    "links": Section(_by_name("controller", _kind("zones")), _links),
    "lead": Section(_by_name("zone", _kind("text")), _lead),
    "locked": Section(_by_name("controller", _kind("text")), _locked),
    "walls": Section(_by_name("wall", _read_wall), _walls),
    "devices": Section(_by_name("device", _read_points), _devices),
    "bookings": Section(_read_words, _bookings),
    "in_use": Section(_by_name("zone", _kind("text")), _in_use),
    "requested": Section(_by_name("wall", _kind("text")), _requested),
    "up": Section(_by_name("device", _kind("flag")), _up),
    "overflows": Section(_texts, _names_of(lambda state: state.one_ways)),
    "heard": Section(_by_name("microphone", _kind("zones")), _heard),
    "locks": Section(_texts, _names_of(lambda state: state.locks)),
    "told": Section(_by_name("zone", _read_told), _told),
    "closing": Section(_by_name("zone", _kind("text")), _closing),
    "moves": Section(_read_moves, _moves),
    "pagings": Section(_texts, _names_of(lambda state: state.pagings)),
    "hidden": Section(_texts, _names_of(evening_steps.hidden)),
    "alarms": Section(_texts, _names_of(standing)),
    "overrides": Section(_texts, _names_of(lambda state: state.overrides)),
}
