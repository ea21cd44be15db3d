"""Findings beyond loading: a venue that can run, but not as its people would expect. All are warnings."""

from __future__ import annotations

from collections.abc import Iterator

from roomlink.core import sources
from roomlink.core.groups import components
from roomlink.core.spec import ChoiceSpec, Spec
from roomlink.core.travel_spec import VENUE
from roomlink.venue import check_hands, check_joining
from roomlink.venue.findings import Finding, Path, Severity, dotted, in_order, listing
from roomlink.venue.geometry import inside, on_outline, overlapping
from roomlink.venue.load import Loaded

# Drawings are rounded; what is nearer than this touches.
TOLERANCE_M = 0.01


def check(loaded: Loaded) -> list[Finding]:
    """The warnings of loading and those found here, by place."""
    found = [
        finding(loaded, path, text, right)
        for rule in (*_RULES, *check_joining.RULES, *check_hands.RULES)
        for path, text, right in rule(loaded)
    ]
    return in_order([*loaded.warnings, *found])


Note = tuple[Path, str, str]


def finding(loaded: Loaded, path: Path, text: str, right: str, severity: Severity = "warning") -> Finding:
    """A finding about what was written at ``path``."""
    place = loaded.place(path)
    return Finding(place.file, place.line, place.column, dotted(path), severity, text, right)


def _homes(loaded: Loaded) -> Iterator[Note]:
    """A zone that no controller is at home in works only while somebody links to it, if anybody can."""
    by_hand = [spec.reach for spec in loaded.spec.controllers.values()]
    for zone, controllers in loaded.spec.homed_at.items():
        if not controllers:
            reached = any(reach is None or zone in reach for reach in by_hand)
            text = "no controller is at home here" + ("" if reached else ", and none may link to it by hand")
            yield ("zones", zone), text, f"add a controller with home: {zone}"


def _leads(loaded: Loaded) -> Iterator[Note]:
    """Every group holds the two zones of some open wall: so each wall needs a lead on one side."""
    spec = loaded.spec
    if spec.combining is None:
        if spec.partitions:
            yield ("partitions",), "walls open, and nothing combines", "add a combining section with a lead_order"
        return
    led = {spec.controllers[controller].home for controller in spec.combining.lead_order}
    for partition, wall in spec.partitions.items():
        if not led.intersection(wall.between):
            a, b = wall.between
            text = f"with only this wall open, nobody leads {a} and {b}"
            yield ("partitions", partition), text, f"add a controller of {a} or {b} to combining.lead_order"


def _lines(loaded: Loaded) -> Iterator[Note]:
    """A wall stands on the edge of both its zones."""
    zones = loaded.data["zones"]
    for partition, wall in loaded.data["partitions"].items():
        for zone in wall["between"] if wall["line"] else ():
            outline = zones[zone]["outline"]
            if outline and not on_outline(wall["line"], outline, TOLERANCE_M):
                text = f"the line does not lie on the outline of {zone}"
                yield ("partitions", partition, "line"), text, "draw it where the two outlines meet"


def _overlaps(loaded: Loaded) -> Iterator[Note]:
    """Two zones cannot be in one place."""
    outlines = {zone: z["outline"] for zone, z in loaded.data["zones"].items() if z["outline"]}
    for a, b in overlapping(outlines, TOLERANCE_M):
        yield ("zones", b, "outline"), f"the outline overlaps that of {a}", "draw zones side by side"


def _posted(loaded: Loaded) -> Iterator[Note]:
    """Occupant loads are posted for the arrangements that are meant: here, each zone alone and all walls open."""
    posted = {frozenset(entry["zones"]) for entry in loaded.data["occupancy"]}
    if not posted:
        yield ("zones",), "no number of people is posted for any zone", "add occupancy: with posted: for each room"
        return
    for zone in loaded.spec.zones:
        if frozenset([zone]) not in posted:
            yield ("zones", zone), "no number of people is posted for it", "add it to occupancy"
    for group in all_open(loaded.spec):
        if frozenset(group) not in posted:
            text = f"no number of people is posted for {listing(group)} as one room"
            yield ("occupancy",), text, "add it to occupancy"


def _sources(loaded: Loaded) -> Iterator[Note]:
    """Where walls can join zones, a device may be told another zone's source: its table should have that too."""
    zones = loaded.data["zones"]
    joined = {zone: group for group in all_open(loaded.spec) for zone in group}
    for binding in loaded.data["bindings"]:
        zone, _, control = binding["control"].partition(".")
        if not binding["values"] or not zones[zone]["controls"][control].get("sources"):
            continue
        others = [z for z in zones if z != zone and z in joined.get(zone, ())]
        named = {z: zones[z]["controls"].get(control, {}) for z in others}
        offered = [f"{z}/{option}" for z, c in named.items() if c.get("sources") for option in c["options"]]
        choice = loaded.spec.zones[zone].controls[control]
        offered += sources.of_venue(loaded.spec, choice) if isinstance(choice, ChoiceSpec) else ()
        if lacking := [option for option in offered if option not in binding["values"]]:
            text = f"{binding['name']} has no value for {listing(lacking)}, which joined zones or the venue offer"
            yield ("bindings", binding["name"]), text, "add them to its values: the device gets their names as they are"


def _of_venue(loaded: Loaded) -> Iterator[Note]:
    """What belongs to the venue is there for choices to take."""
    spec = loaded.spec
    choices = {id(c): c for z in spec.zones.values() for c in z.controls.values() if isinstance(c, ChoiceSpec)}
    taken = {option for choice in choices.values() for option in sources.of_venue(spec, choice)}
    for name, source in spec.travel.sources.items():
        if f"{VENUE}/{name}" not in taken:
            text = f"no choice takes {listing(source.carries)} of the venue"
            yield ("venue_sources", name), text, "give a choice sources: true, and carries: that fits"


def _placed(loaded: Loaded) -> Iterator[Note]:
    """What stands in a zone stands within its outline."""
    for section in ("microphones", "loudspeakers"):
        for key, entry in loaded.data[section].items():
            outline = loaded.data["zones"][entry["zone"]]["outline"]
            if outline and entry["at"] and not inside(entry["at"], outline, TOLERANCE_M):
                text = f"it stands outside {entry['zone']}"
                yield (section, key, "at"), text, "write where it is in the plan, in metres"


def all_open(spec: Spec) -> list[tuple[str, ...]]:
    """The groups of several zones when every wall is open; groups and their zones in venue order."""

    def beyond(zone: str) -> Iterator[str]:
        for wall in spec.walls_of[zone]:
            yield from (other for other in spec.partitions[wall].between if other != zone)

    rank = spec.zone_rank
    return [tuple(sorted(group, key=rank.__getitem__)) for group in components(spec.zones, beyond) if len(group) > 1]


_RULES = (_homes, _leads, _lines, _overlaps, _posted, _sources, _of_venue, _placed)
