"""Findings that only the arrangements of a venue show; what one part of it shows by itself is in ``venue.check``."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

from roomlink.core.spec import ChoiceSpec, CombiningSpec, ControlSpec, LevelSpec
from roomlink.rehearsal.arrangements import Arrangement, DivisibleRoom
from roomlink.rehearsal.survey import Charge, Survey
from roomlink.venue.check import finding
from roomlink.venue.findings import Finding, Path, Severity, in_order, listing
from roomlink.venue.load import Loaded


class Note(NamedTuple):
    path: Path
    text: str
    right: str
    severity: Severity = "warning"


def arrangement_findings(loaded: Loaded, survey: Survey) -> list[Finding]:
    """What a person should know before the walls move, by place: warnings and notes."""
    rules: tuple[Callable[[Survey], Iterator[Note]], ...] = (_sampled, _loops, _posted, _treated)
    return in_order(finding(loaded, *note) for rule in rules for note in rule(survey))


def _sampled(survey: Survey) -> Iterator[Note]:
    """Not every arrangement was looked at."""
    for room in survey.rooms:
        if not room.every:
            planned = len(room.looked_at) - room.at_random
            text = (
                f"{listing(room.zones)} have 2^{len(room.walls)} arrangements: {planned} were looked at that differ "
                f"from all closed or all open by one wall at most, and {room.at_random} at random (seed {room.seed})"
            )
            yield Note(("partitions", room.walls[0]), text, "check again with another --seed to see others", "note")


def _loops(survey: Survey) -> Iterator[Note]:
    """A closed wall inside a loop parts nothing: it is flagged when that happens, and told here."""
    for room in survey.rooms:
        around = {wall for grouping in room.groupings for wall in grouping.loops}
        for wall in room.walls:
            if wall in around:
                yield _loop(survey, room, wall)


def _loop(survey: Survey, room: DivisibleRoom, wall: str) -> Note:
    flagged = list(room.flagged(wall))
    a, b = survey.spec.partitions[wall].between
    text = (
        f"closed, it does not part {a} and {b} in {len(flagged)} of {len(room.looked_at)} arrangements: "
        f"with {listing(room.open(fewest(flagged)))} open they are one room all the same"
    )
    return Note(("partitions", wall), text, "it is flagged while it stands so", "note")


def fewest(arrangements: list[Arrangement]) -> Arrangement:
    """The arrangement with the fewest walls open."""
    return min(arrangements, key=lambda arrangement: (arrangement.bit_count(), arrangement))


def _posted(survey: Survey) -> Iterator[Note]:
    """Numbers for single zones and for all walls open are asked for elsewhere; here for what lies between."""
    if all(charge.posted is None for charge in survey.charges.values()):
        return
    for room in survey.rooms:
        between = [group for group in room.groups if 1 < len(group) < len(room.zones)]
        if lacking := [group for group in between if survey.charges[group].posted is None]:
            of = f"{len(lacking)} of" if len(lacking) < len(between) else "any of"
            rooms = listing(" + ".join(group) for group in lacking)
            text = f"no number of people is posted for {of} the {len(between)} rooms that some open walls make: {rooms}"
            yield Note(("occupancy",), text, "add those that are meant to be used", "note")


def _treated(survey: Survey) -> Iterator[Note]:
    """What ``on_combine`` says of a control has to be possible in every group that walls can make."""
    combining = survey.spec.combining
    if combining is None:
        return
    for control, rule in combining.on_combine.items():
        if rule == "keep":
            continue
        path: Path = ("combining", "on_combine", control)
        for room in survey.rooms:
            having = _having(survey, room, control)
            yield from _unlike(path, control, having)
            if rule == "lead":
                yield from _unled(path, control, survey, room, having, combining)


Having = Mapping[str, ControlSpec]


def _having(survey: Survey, room: DivisibleRoom, control: str) -> Having:
    """The zones of a room in which a regrouping treats the control."""
    controls = {zone: survey.spec.zones[zone].controls.get(control) for zone in room.zones}
    return {zone: spec for zone, spec in controls.items() if spec is not None and spec.scope != "local"}


def _unlike(path: Path, control: str, having: Having) -> Iterator[Note]:
    """Zones that can become one room should mean the same by a name."""
    kinds = _first_by(having, lambda spec: f"a {spec.kind}")
    units = _first_by(having, lambda spec: f"in {spec.unit}" if isinstance(spec, LevelSpec) else None)
    for differing, right in (
        (kinds, "name one of them differently"),
        (units, "use one unit, or name one of them differently"),
    ):
        if len(differing) > 1:
            what = " and ".join(f"{words} in {zone}" for words, zone in differing.items())
            yield Note(path, f"{control} is {what}, which open walls join: the rule cannot treat both", right)


def _first_by(having: Having, words: Callable[[ControlSpec], str | None]) -> dict[str, str]:
    """The first zone for each word that is said of the control."""
    found: dict[str, str] = {}
    for zone, spec in having.items():
        if word := words(spec):
            found.setdefault(word, zone)
    return found


def _unled(
    path: Path, control: str, survey: Survey, room: DivisibleRoom, having: Having, combining: CombiningSpec
) -> Iterator[Note]:
    """The lead's home gives the value: it must have the control, and options that the others have too."""
    spec = survey.spec
    without: list[Charge] = []
    foreign: dict[tuple[str, str, str], None] = {}
    led = [survey.charges[group] for group in room.groups if len(group) > 1]
    led = [charge for charge in led if charge.lead is not None and not having.keys().isdisjoint(charge.zones)]
    for charge in led:
        home = spec.controllers[str(charge.lead)].home
        if home not in having:
            without.append(charge)
        else:
            for zone in charge.zones:
                foreign |= dict.fromkeys((home, zone, option) for option in _foreign(having, home, zone))
    if without:
        charge = without[0]
        home = spec.controllers[str(charge.lead)].home
        have = listing(zone for zone in charge.zones if zone in having)
        text = (
            f"in {len(without)} of the {len(led)} rooms that open walls make with it, the lead's home has no {control}"
            f": in {' + '.join(charge.zones)}, {charge.lead} leads from {home}, and {have} is left as it was"
        )
        homes = [c for c in spec.controllers if spec.controllers[c].home in having]
        right = f"lead from a zone that has it ({listing(homes)})" if homes else "have a controller at home where it is"
        yield Note(path, text, f"{right}, or write another rule")
    if foreign:
        home, zone, _ = next(iter(foreign))
        options = listing(o for h, z, o in foreign if (h, z) == (home, zone))
        text = f"led from {home}, {zone} is left as it was where {home} has {options}: it has no such option"
        yield Note(path, text, "give it the option, or let sources travel", "note")


def _foreign(having: Having, home: str, zone: str) -> Iterator[str]:
    """The options of the lead's home that another zone cannot take."""
    ours, theirs = having[home], having.get(zone)
    if zone != home and isinstance(ours, ChoiceSpec) and isinstance(theirs, ChoiceSpec):
        # Where sources travel, an option is taken as that of the zone where it is.
        taken = ours.options if theirs.sources and ours.sources else () if theirs.sources else theirs.options
        yield from (option for option in ours.options if option not in taken)
