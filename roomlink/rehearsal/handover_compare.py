"""Two configurations of a venue compared: what changed, in words, and what of proofs, checks and armings it voids."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from roomlink.core import commissioning
from roomlink.core.spec import Spec
from roomlink.rehearsal import handover_network as network
from roomlink.rehearsal.handover_html import say, table
from roomlink.rehearsal.handover_words import control_words, listing, words
from roomlink.venue.load import Loaded

SECTIONS = {
    "venue": "the venue",
    "zones": "zone",
    "partitions": "wall",
    "controllers": "panel",
    "combining": "rule",
    "arrangements": "arrangement",
    "scenes": "scene",
    "occupancy": "occupancy",
    "devices": "device",
    "supplies": "supply",
    "bindings": "binding",
    "overrides": "override",
    "sound": "sound",
    "microphones": "microphone",
    "loudspeakers": "loudspeakers",
    "sound_outputs": "sound output",
    "venue_sources": "venue source",
    "overflows": "overflow",
    "crews": "crew",
    "routines": "routine",
    "bookings": "rule for bookings",
}
"""The sections of a resolved configuration with the word for one of their entries; others go by their own names."""
ARRANGEMENTS = ("zones", "partitions", "controllers", "combining", "occupancy", "overrides")
"""What the proof of all arrangements looks at."""
UNTOLD = ("digest", "point_name", "open_name", "close_name")
"""Members that follow from others."""
WITHHELD = (network.WITHHELD | {"url", "secret_file"}) - {"driver"}
"""Members that may be, or lead to, what lets one in: of these only that they changed."""


@dataclass(frozen=True, slots=True)
class Change:
    """One difference. ``how`` is added, removed or changed; ``text`` is a sentence without its full stop."""

    section: str
    name: str
    how: str
    text: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """What lies between two configurations, the older first."""

    before: str
    after: str
    changes: tuple[Change, ...]
    proofs: tuple[str, ...]
    """Proofs that no longer hold, as sentences."""
    again: tuple[str, ...]
    """Commissioning items whose records are void: what was checked has changed."""
    new: tuple[str, ...]
    """Commissioning items that were not there before."""
    gone: tuple[str, ...]
    disarmed: tuple[str, ...]
    """Bindings of power and motion whose armings are void."""

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def compare(before: Loaded, after: Loaded) -> Comparison:
    """All differences from ``before`` to ``after``."""
    changes = tuple(_changes(before.data, after.data))
    old, new = _items(before.spec), _items(after.spec)
    touched = {change.section for change in changes}
    return Comparison(
        before.digest,
        after.digest,
        changes,
        tuple(_proofs(touched)),
        tuple(item for item, digest in old.items() if item in new and new[item] != digest),
        tuple(item for item in new if item not in old),
        tuple(item for item in old if item not in new),
        tuple(_disarmed(before.spec, after.spec)),
    )


def _items(spec: Spec) -> dict[str, str]:
    return {item.id: item.digest for item in commissioning.items(spec)}


def _proofs(touched: set[str]) -> Iterator[str]:
    if touched.intersection(ARRANGEMENTS):
        yield "The proof of all arrangements (groups, leads, occupancy) is to be done again."
    if touched:
        yield "Rehearsed scenarios are to be run again: they were run on another configuration."


def _disarmed(before: Spec, after: Spec) -> Iterator[str]:
    now = {binding.name: binding.digest for binding in after.bindings if binding.cls != "signal"}
    for binding in before.bindings:
        if binding.cls != "signal" and now.get(binding.name) != binding.digest:
            yield binding.name


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Change]:
    for section in dict.fromkeys((*SECTIONS, *before, *after)):
        word = SECTIONS.get(section, section)
        old, new = _entries(section, before.get(section)), _entries(section, after.get(section))
        if section == "zones":
            yield from _controls(old, new)
        for name in dict.fromkeys((*old, *new)):
            # A section without names has one entry, the section itself.
            called = word if name == section else f"{word} {name}"
            if name not in new:
                yield Change(section, name, "removed", f"{called} is gone{_was(section, old[name])}")
            elif name not in old:
                yield Change(section, name, "added", f"{called} is new{_was(section, new[name])}")
            elif old[name] != new[name]:
                yield from _members(section, name, called, old[name], new[name])
        shared = [name for name in old if name in new]
        if shared != [name for name in new if name in old]:
            text = f"the order of the {word}s is now {listing(new)}"
            yield Change(section, section, "changed", text)


def _entries(section: str, data: Any) -> dict[str, Any]:
    """The entries of a section by name, in their order."""
    if section == "bindings":
        return {entry["name"]: entry for entry in data or ()}
    if section == "occupancy":
        return {" + ".join(sorted(entry["zones"])): {"posted": entry["posted"]} for entry in data or ()}
    if section == "sound_outputs":
        return {f"{e['loudspeakers']} of {e.get('microphone') or 'all'}": e for e in data or ()}
    if section == "combining":
        rules = dict(data or {})
        for moment in ("on_combine", "on_separate"):
            rules |= {f"{moment} {control}": rule for control, rule in (rules.pop(moment, None) or {}).items()}
        return rules
    if section == "webhooks":
        return {entry["name"]: entry for entry in data or ()}
    if section == "calendar" and data:
        rest = {key: value for key, value in data.items() if key != "feeds"}
        return rest | {f"feed {feed['name']}": feed for feed in data["feeds"]}
    if section in ("venue", "sound") or not isinstance(data, Mapping | None):
        return {section: data}
    return dict(data or {})


def _was(section: str, entry: Any) -> str:
    """What matters of an entry that came or went."""
    if section == "partitions":
        return f": between {listing(entry['between'])}"
    if section == "controllers":
        return f": at home in {entry['home']}"
    if section == "occupancy":
        return f": posted {entry['posted']}"
    if section == "bindings":
        return f": {entry['control']} through {entry['device']} ({entry['class']})"
    if section == "combining":
        return f": {words(entry)}"
    return ""


def _members(section: str, name: str, called: str, old: Any, new: Any) -> Iterator[Change]:
    """One change for each member that differs; controls of zones are told elsewhere."""
    if not isinstance(old, Mapping) or not isinstance(new, Mapping):
        yield Change(section, name, "changed", f"{called}: {words(old, name)} became {words(new, name)}")
        return
    for member in dict.fromkeys((*old, *new)):
        was, now = old.get(member), new.get(member)
        if was == now or member in UNTOLD or (section == "zones" and member == "controls"):
            continue
        shown = member.replace("_", " ")
        if member in WITHHELD:
            yield Change(section, name, "changed", f"{called}: {shown} is another, as in the configurations")
        elif isinstance(was, Mapping) and isinstance(now, Mapping):
            for key in dict.fromkeys((*was, *now)):
                if was.get(key, ...) != now.get(key, ...):
                    text = f"{called}: {shown} {key}, {_said(was, key)} became {_said(now, key)}"
                    yield Change(section, name, "changed", text)
        else:
            yield Change(
                section, name, "changed", f"{called}: {shown}, {words(was, member)} became {words(now, member)}"
            )


def _said(where: Mapping[str, Any], key: str) -> str:
    return words(where[key], key) if key in where else "nothing"


def _controls(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Change]:
    """Controls of zones that are in both; zones in which a control changed alike are told together."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for zone in old:
        if zone not in new:
            continue
        was, now = old[zone]["controls"], new[zone]["controls"]
        for control in dict.fromkeys((*was, *now)):
            if was.get(control) != now.get(control):
                found.setdefault(_control(control, was.get(control), now.get(control)), []).append(zone)
    for (control, how, text), zones in found.items():
        yield Change("zones", f"{'+'.join(zones)}.{control}", how, f"{control} of {listing(zones)}{text}")


def _control(name: str, was: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> tuple[str, str, str]:
    if was is None or now is None:
        there = was or now or {}
        how = "added" if was is None else "removed"
        return name, how, f" is {'new' if was is None else 'gone'}: {there['kind']}, {control_words(there)}"
    members = [
        f"{member.replace('_', ' ')}, {_said(was, member)} became {_said(now, member)}"
        for member in dict.fromkeys((*was, *now))
        if was.get(member) != now.get(member)
    ]
    return name, "changed", f": {'; '.join(members)}"


def as_text(found: Comparison) -> str:
    """The comparison for a terminal."""
    if not found.changes:
        return f"Nothing changed that counts: {found.before[:16]} and {found.after[:16]}.\n"
    lines = [f"From {found.before[:16]} to {found.after[:16]}:", ""]
    lines += [f"- {change.text}." for change in found.changes]
    lines += ["", "What this voids:", "", *(f"- {text}" for text in found.proofs)]
    lists = (
        ("To be checked on site again", found.again),
        ("New to be checked on site", found.new),
        ("No longer to be checked", found.gone),
        ("Disarmed until checked and armed again", found.disarmed),
    )
    for title, names in lists:
        lines += [f"- {title}:", *(f"  {name}" for name in names)] if names else []
    return "\n".join(lines) + "\n"


def section_of(found: Comparison) -> str:
    """The comparison as a section of the handover."""
    rows = [(change.how, SECTIONS.get(change.section, change.section), change.text) for change in found.changes]
    void = [("proof", text) for text in found.proofs]
    void += [("to be checked again", item) for item in found.again]
    void += [("new to be checked", item) for item in found.new]
    void += [("disarmed", binding) for binding in found.disarmed]
    return (
        f"<p>{say(f'Since the configuration {found.before}.')}</p>"
        f"{table(('how', 'what', 'change'), rows, 'Nothing changed.')}"
        f"<h3>What this voids</h3>{table(('what', 'which'), void, 'Nothing.')}"
    )
