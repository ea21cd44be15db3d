"""What a check says: as text for a person, and as data for a program.

Text goes from the whole to the parts: the arrangements, the rooms that open walls make, the groupings, talk, findings,
cautions. The data is a ``CheckData``; members may be added to it, none will be dropped or change its meaning.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from itertools import islice
from typing import Any, TextIO, TypedDict

from roomlink.rehearsal.arrangements import DivisibleRoom, Grouping, Tell
from roomlink.rehearsal.survey import Charge, Survey
from roomlink.venue.cautions import cautions
from roomlink.venue.findings import Finding, Severity
from roomlink.venue.load import Loaded
from roomlink.venue.sound_plan import ADVICE, GroupPlan

LINES_MAX = 60
"""A table of the text is no longer than this; the data has all."""
LISTED_MAX = 50
"""So many arrangements are listed for a wall that stands closed inside a room."""
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")
JSON_WALLS_MAX = 53
"""With more walls than this the number of arrangements has too many digits for JSON."""


class GroupingData(TypedDict):
    """A distinct grouping: how many arrangements make it, the walls that are open within groups, and the ones of these
    that may also stand closed without parting anything."""

    groups: list[list[str]]
    arrangements: int
    open: list[str]
    loops: list[str]


class LoopData(TypedDict):
    """In how many arrangements a wall stands closed inside a room, and the first ``LISTED_MAX``: their open walls."""

    arrangements: int
    open: list[list[str]]


class RoomData(TypedDict):
    """A divisible room. ``possible`` is null where it has too many digits; ``every`` whether all were looked at.

    If so, ``made`` has for each arrangement the place of its grouping in ``groupings``: an arrangement's own place has
    bit ``n`` set where wall ``n`` is open. If not, it is null.
    """

    zones: list[str]
    walls: list[str]
    possible: int | None
    looked_at: int
    every: bool
    at_random: int
    groupings: list[GroupingData]
    made: list[int] | None
    loops: dict[str, LoopData]


class SoundData(TypedDict):
    """Gains in dB or ``"off"`` by microphone and loudspeakers, delays in milliseconds by loudspeakers."""

    open: list[str]
    talker: str | None
    gains: dict[str, dict[str, float | str]]
    delays: dict[str, float]


class GroupData(TypedDict):
    """A distinct group, zones that stand alone included. ``acts`` has the zones that each controller acts on."""

    zones: list[str]
    lead: str | None
    acts: dict[str, list[str]]
    locked: list[str]
    unreached: list[str]
    posted: int | None
    sound: SoundData | None


class CheckData(TypedDict):
    """Everything a check says. ``venue`` is null, and the lists are empty, where errors kept it from being loaded."""

    ok: bool
    venue: dict[str, str] | None
    findings: list[dict[str, Any]]
    counts: dict[str, int]
    seed: int | None
    rooms: list[RoomData]
    alone: list[str]
    groups: list[GroupData]
    advice: str
    cautions: list[str]


def ok(findings: Iterable[Finding]) -> bool:
    """Whether nothing has to be corrected: there are notes at most."""
    return all(finding.severity == "note" for finding in findings)


def progress(to: TextIO) -> Tell:
    """One line on a terminal that says how far long work is, and goes when it is done."""
    last = -1

    def tell(what: str, done: int, of: int) -> None:
        nonlocal last
        percent = 100 * done // max(of, 1)
        if percent != last:
            to.write(f"\r\x1b[K{what}: {done:,} of {of:,}" if done < of else "\r\x1b[K")
            to.flush()
            last = percent

    return tell


# As data


def data(findings: Sequence[Finding], loaded: Loaded | None, survey: Survey | None) -> CheckData:
    """What a check says, as plain JSON data; nothing but findings where the venue was refused."""
    counts = Counter(finding.severity for finding in findings)
    return {
        "ok": ok(findings),
        "venue": dict(loaded.data["venue"]) if loaded else None,
        "findings": [asdict(finding) for finding in findings],
        "counts": {severity: counts[severity] for severity in SEVERITIES},
        "seed": survey.seed if survey else None,
        "rooms": [_room_data(room) for room in survey.rooms] if survey else [],
        "alone": list(survey.alone) if survey else [],
        "groups": [_group_data(charge) for charge in survey.charges.values()] if survey else [],
        "advice": ADVICE,
        "cautions": cautions(loaded.data) if loaded else [],
    }


def _room_data(room: DivisibleRoom) -> RoomData:
    looped = {wall for grouping in room.groupings for wall in grouping.loops}
    return {
        "zones": list(room.zones),
        "walls": list(room.walls),
        "possible": room.possible if len(room.walls) <= JSON_WALLS_MAX else None,
        "looked_at": len(room.looked_at),
        "every": room.every,
        "at_random": room.at_random,
        "groupings": [
            {
                "groups": [list(group) for group in grouping.groups],
                "arrangements": grouping.arrangements,
                "open": list(grouping.open),
                "loops": list(grouping.loops),
            }
            for grouping in room.groupings
        ],
        "made": list(room.made) if room.every else None,
        "loops": {wall: _loop_data(room, wall) for wall in room.walls if wall in looped},
    }


def _loop_data(room: DivisibleRoom, wall: str) -> LoopData:
    flagged = list(room.flagged(wall))
    return {"arrangements": len(flagged), "open": [list(room.open(a)) for a in flagged[:LISTED_MAX]]}


def _group_data(charge: Charge) -> GroupData:
    return {
        "zones": list(charge.zones),
        "lead": charge.lead,
        "acts": {controller: list(zones) for controller, zones in charge.acts.items()},
        "locked": list(charge.locked),
        "unreached": list(charge.unreached),
        "posted": charge.posted,
        "sound": None if charge.sound is None else _sound_data(charge.sound),
    }


def _sound_data(sound: GroupPlan) -> SoundData:
    return {
        "open": list(sound.open),
        "talker": sound.talker,
        "gains": {microphone: dict(gains) for microphone, gains in sound.gains.items()},
        "delays": dict(sound.delays),
    }


# As text


def text(findings: Sequence[Finding], loaded: Loaded | None, survey: Survey | None) -> Iterator[str]:
    """What a check says, line by line; nothing but findings where the venue was refused."""
    if loaded and survey:
        yield from _arranged(loaded, survey)
        yield ""
    yield from _found(findings)
    if loaded:
        yield ""
        yield from cautions(loaded.data)


def _found(findings: Sequence[Finding]) -> Iterator[str]:
    """A line for each finding that editors can follow, and one that counts them."""
    for finding in findings:
        rest = str(finding).removeprefix(f"{finding.place}: ")
        yield f"{finding.place}: {finding.severity}: {rest}"
    counts: Mapping[str, int] = Counter(finding.severity for finding in findings)
    said = ", ".join(_plural(counts[severity], severity) for severity in SEVERITIES if counts[severity])
    if ok(findings):
        yield "nothing found to correct" + (f"; {said}." if said else ".")
    else:
        yield f"{said}."


def _arranged(loaded: Loaded, survey: Survey) -> Iterator[str]:
    yield f"{loaded.data['venue']['name']}: {_whole(survey)}."
    for room in survey.rooms:
        yield ""
        looked_at = len(room.looked_at)
        seen = "all looked at" if room.every else f"{looked_at} looked at, {room.at_random} at random, seed {room.seed}"
        yield f"{', '.join(room.zones)}: {_number(len(room.walls))} arrangements, {seen}."
        yield ""
        yield from _table(_ROOMS, (_charge_row(survey.charges[group], room) for group in room.groups))
        yield ""
        by_parts = sorted(room.groupings, key=lambda grouping: -len(grouping.groups))
        yield from _table(_GROUPINGS, (_grouping_row(grouping, survey) for grouping in by_parts))
    if survey.alone:
        yield ""
        yield "No wall joins these to others."
        yield ""
        yield from _table(_ALONE, (_alone_row(survey.charges[zone,]) for zone in survey.alone))
    plural = [c for c in survey.charges.values() if c.sound and c.sound.open and len(c.zones) > 1]
    if plural:
        yield ""
        yield f"Talk, if every microphone of a room is open. {ADVICE}"
        yield ""
        yield from _table(_TALK, (_talk_row(charge) for charge in plural))


def _whole(survey: Survey) -> str:
    zones, walls = len(survey.spec.zones), len(survey.spec.partitions)
    if not walls:
        return f"{_plural(zones, 'zone')}, no walls that open"
    looked_at = "all accounted for" if survey.every else "not all looked at"
    found = f"{survey.groupings:,} distinct groupings" if survey.every else "groupings as found"
    return f"{_plural(zones, 'zone')}, {_plural(walls, 'wall')}, {_number(walls)} arrangements, {found}; {looked_at}"


def _plural(count: int, what: str) -> str:
    return f"{count} {what}" + ("" if count == 1 else "s")


def _number(walls: int) -> str:
    return f"{1 << walls:,}" if walls <= 20 else f"2^{walls}"


_ROOMS = ("room", "in groupings", "lead", "also act", "people")
_ALONE = ("zone", "act", "people")
_GROUPINGS = ("grouping", "arrangements", "lead", "people")
_TALK = ("room", "talker", "gains in dB", "delays in ms")


def _charge_row(charge: Charge, room: DivisibleRoom) -> list[str]:
    also = [c for c in charge.acts if c != charge.lead]
    return [
        " + ".join(charge.zones),
        str(room.times[charge.zones]),
        charge.lead or "nobody",
        ", ".join([*also, *(f"({c} locked)" for c in charge.locked)]),
        _people(charge),
    ]


def _alone_row(charge: Charge) -> list[str]:
    return [charge.zones[0], ", ".join(charge.acts) or "nobody", _people(charge)]


def _people(charge: Charge) -> str:
    return "none posted" if charge.posted is None else str(charge.posted)


def _grouping_row(grouping: Grouping, survey: Survey) -> list[str]:
    charges = [survey.charges[group] for group in grouping.groups]
    return [
        " | ".join(" + ".join(group) for group in grouping.groups),
        str(grouping.arrangements),
        " | ".join(charge.lead or "nobody" for charge in charges),
        " | ".join("-" if charge.posted is None else str(charge.posted) for charge in charges),
    ]


def _talk_row(charge: Charge) -> list[str]:
    sound = charge.sound
    assert sound is not None
    gains = sorted({gain for to in sound.gains.values() for gain in to.values() if isinstance(gain, float)})
    return [
        " + ".join(charge.zones),
        str(sound.talker),
        ", ".join(f"{gain:.1f}" for gain in reversed(gains)),
        ", ".join(f"{name} {delay:.1f}" for name, delay in sound.delays.items()),
    ]


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Rows under their heads, as wide as they need; columns that say nothing are left out."""
    left = iter(rows)
    shown = list(islice(left, LINES_MAX))
    more = sum(1 for _ in left)
    columns = [n for n in range(len(heads)) if any(row[n] for row in shown)]
    width = {n: max(len(heads[n]), *(len(row[n]) for row in shown)) for n in columns}
    for row in (heads, *shown):
        yield ("  " + "  ".join(row[n].ljust(width[n]) for n in columns)).rstrip()
    if more:
        yield f"  ... and {more:,} more: --json has all"
