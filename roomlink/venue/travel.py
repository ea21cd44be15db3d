"""The sections ``venue_sources`` and ``overflows``, and the controls of microphones; resolved and proved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from roomlink.core.travel_spec import VENUE
from roomlink.venue import models
from roomlink.venue.controls import AnyControl, Switch, capitalised, resolved
from roomlink.venue.equipment import Microphone
from roomlink.venue.findings import Path, Report, listing
from roomlink.venue.parse import parse_control
from roomlink.venue.site import Site, known_zone, known_zones

Data = dict[str, Any]


def note_sources(model: models.Configuration, site: Site) -> None:
    """Note what the venue offers to choices, before those are read."""
    site.venue_sources = {name: source.carries for name, source in model.venue_sources.items()}


def travel(model: models.Configuration, site: Site, report: Report) -> Data:
    """The two sections."""
    if model.venue_sources and VENUE in site.claimed["zones"]:
        text = f"a zone is called {VENUE!r}, and so are the sources that belong to no zone"
        report.add(("zones", VENUE), text, "give the zone another name", key=True)
    sources = {
        key: {"name": entry.name or capitalised(key), "carries": list(entry.carries)}
        for key, entry in model.venue_sources.items()
    }
    overflows = {key: _overflow(key, model, site, report) for key in model.overflows}
    return {"venue_sources": sources, "overflows": overflows}


def _overflow(key: str, model: models.Configuration, site: Site, report: Report) -> Data:
    entry, path = model.overflows[key], ("overflows", key)
    known = [known_zone((*path, m), z, site, report) for m, z in (("from", entry.source), ("to", entry.to))]
    if entry.source == entry.to:
        report.add((*path, "to"), f"{entry.to} has what is in it already", "name another zone")
    elif all(known) and "picture" in entry.carries and not _takes(site, entry):
        text = f"no choice of {entry.to} takes what {entry.source} has: only its microphones are heard there"
        right = "give both a choice of one name with sources: true, or write carries: sound"
        report.add(path, text, right, key=True, severity="warning")
    return {
        "name": entry.name or capitalised(key),
        "from": entry.source,
        "to": entry.to,
        "carries": list(entry.carries),
    }


def _takes(site: Site, entry: Any) -> bool:
    """Whether a choice of the receiving zone has one of the same name in the other to take from."""
    theirs = site.zone_controls[entry.source]
    return any(
        c is not None and c.kind == "choice" and c.sources and (other := theirs.get(name)) is not None
        and other.kind == "choice" and other.sources and not set(c.carries).isdisjoint(entry.carries)
        for name, c in site.zone_controls[entry.to].items()
    )  # fmt: skip


def microphones(model: models.Configuration, zones: Data, site: Site, report: Report) -> dict[str, Data]:
    """Give zones the controls of their microphones. Gives what each microphone has beyond its place, by its name."""
    found: dict[str, Data] = {}
    rules = model.combining
    for key, entry in model.microphones.items():
        path: Path = ("microphones", key)
        if entry.at is None and not entry.radio:
            report.add(path, "'at' is missing", "write at: [x, y] in metres, where its talker stands", key=True)
        if entry.zones is not None and not entry.radio:
            report.add((*path, "zones"), "a microphone with a cable stays where it is", "add radio: true", key=True)
        known_zones((*path, "zones"), entry.zones or [], site, report)
        made = {name: control for name, control in _controls(key, entry, report) if control is not None}
        for name in made:
            for section in ("on_combine", "on_separate"):
                if rules is not None and name in getattr(rules, section):
                    text = f"{name} belongs to a microphone, which drops by itself and is never opened by a wall"
                    report.add(("combining", section, name), text, "leave the rule out")
        there = _zones(entry, zones)
        for zone in there if made else ():
            _give(zone, key, made, zones, site, report)
        more: Data = {member: f"{key}-{member}" for member in ("level", "mute") if f"{key}-{member}" in made}
        found[key] = {**more, **({"radio": True, "zones": there} if entry.radio else {})}
    return found


def _zones(entry: Microphone, zones: Data) -> list[str]:
    """The zones that have its controls, in venue order."""
    if not entry.radio:
        return [entry.zone] if entry.zone in zones else []
    return [zone for zone in zones if entry.zones is None or zone == entry.zone or zone in entry.zones]


def _controls(key: str, entry: Microphone, report: Report) -> Iterator[tuple[str, AnyControl | None]]:
    name, common = entry.name or capitalised(key), {"section": "sound"}
    path: Path = ("microphones", key)
    if entry.level is not None:
        written = {"name": name, "unit": "dB", **entry.level, **common, "kind": "level"}
        yield f"{key}-level", parse_control(written, (*path, "level"), report)
    # A radio microphone that could not be muted would be open wherever it is carried.
    if entry.mute is not None or entry.radio:
        written = {"name": f"{name} muted", "start": "on", **(entry.mute or {}), **common, "kind": "switch"}
        mute = parse_control(written, (*path, "mute"), report)
        if isinstance(mute, Switch) and (mute.min_on or mute.min_off):
            report.add((*path, "mute"), "a microphone is muted at once", "leave min_on and min_off out")
        yield f"{key}-mute", mute


def _give(zone: str, microphone: str, made: Mapping[str, AnyControl], zones: Data, site: Site, report: Report) -> None:
    own = site.zone_controls[zone]
    if clash := [name for name in made if name in own]:
        text = f"{zone} has a control {listing(clash)} of its own"
        report.add(("microphones", microphone), text, "rename the microphone or the control", key=True)
        return
    site.zone_controls[zone] = {**own, **made}
    variants = site.variants[site.zone_types[zone]]
    path = ("zones", zone) if ("zones", zone) in variants else ("microphones", microphone)
    variants[path] = {**variants.get(path, {}), **made}
    data = {name: resolved(name, control) for name, control in made.items()}
    zones[zone] = {**zones[zone], "controls": {**zones[zone]["controls"], **data}}


def mutes(found: Mapping[str, Data]) -> dict[str, bool]:
    """What every life-safety override makes of the microphones: silence."""
    return {more["mute"]: True for more in found.values() if "mute" in more}
