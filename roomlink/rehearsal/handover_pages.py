"""The handover as one page for reading and for paper: each section is a function of the handover and its tables."""

from __future__ import annotations

import platform
from collections.abc import Mapping, Sequence

from roomlink.rehearsal import handover_plan as drawing
from roomlink.rehearsal.handover_html import document, pairs, say, section, table
from roomlink.rehearsal.handover_model import Handover, Table
from roomlink.rehearsal.handover_record import record
from roomlink.rehearsal.handover_tables import posted
from roomlink.rehearsal.handover_words import control_words, figure, listing
from roomlink.venue.cautions import NOT_SAFETY, cautions
from roomlink.venue.sound_plan import ADVICE, GroupPlan

PICTURES_MAX = 48
"""A divisible room with more distinct groupings has them in the tables only."""
ROWS_MAX = 400
"""A longer table is in its CSV file only."""
PLANS_MAX = 40

Tables = Mapping[str, Table]


def page(h: Handover, made: Sequence[Table], changes: str = "") -> str:
    """``index.html``. ``changes`` is a section about what is different from another configuration, or empty."""
    found = {one.name: one for one in made}
    parts = [
        ("cautions", "Cautions", _cautions(h), True),
        ("plan", "Plan, zones and walls", _plan(h, found), True),
        ("groupings", "Groupings", _groupings(h, found), True),
        ("panels", "Panels and combining", _panels(h, found), True),
        ("controls", "Controls and scenes", _controls(h, found), False),
        ("occupancy", "Posted occupancy", _occupancy(h, found), False),
        ("equipment", "Devices, bindings and addresses", _equipment(found), True),
        ("network", "Network", _network(found), False),
        ("sound", "Sound plan", _sound(h, found), True),
        ("stations", "Wall stations", _shown(found, "stations", "There is none."), False),
        ("sources", "Sources, microphones and overflows", _parts(found, SOURCES), False),
        ("diary", "Diary: bookings, routines, crews", _parts(found, DIARY), False),
        ("evening", "Paging, presence and locks", _parts(found, EVENING), False),
        *([("further", "Further settings", _shown(found, "further"), False)] if found["further"].rows else []),
        ("record", "Test record", record(h), True),
        ("backup", "Backup and restore", BACKUP, True),
        *([("changes", "Changes", changes, False)] if changes else []),
        ("files", "Tables as files", _files(made), False),
    ]
    name = h.data["venue"]["name"]
    contents = "".join(f'<li><a href="#{key}">{say(title)}</a></li>' for key, title, _, _ in parts)
    sections = "".join(section(key, title, body, page=page) for key, title, body, page in parts)
    body = f'{_cover(h)}<ul class="contents">{contents}</ul>{sections}'
    left, right = f"{name}: handover, {h.date}", f"Configuration {h.loaded.digest[:16]}"
    return document(f"{name}: handover", left, right, body)


def _cover(h: Handover) -> str:
    venue = h.data["venue"]
    told = (
        ("Date", h.date),
        ("Venue", venue["id"]),
        ("Time zone", venue["timezone"]),
        ("Configuration", h.loaded.digest),
        ("roomlink", h.version),
        ("Python", platform.python_version()),
    )
    return (
        f'<h1>{say(venue["name"])}</h1><p class="sub">Handover: as built, as tested</p>{pairs(told)}'
        f'<div class="caution"><p>{say(NOT_SAFETY)}</p></div><h3>Contents</h3>'
    )


def _cautions(h: Handover) -> str:
    return f'<div class="caution">{"".join(f"<p>{say(text)}</p>" for text in cautions(h.data))}</div>'


def _shown(found: Tables, name: str, small: str = "", drop: int = 0) -> str:
    """A table of the page; ``drop`` leaves that many last columns to the file."""
    one = found[name]
    if len(one.rows) > ROWS_MAX:
        return f"<p>{len(one.rows)} rows: see {_link(one)}.</p>"
    width = len(one.heads) - drop
    return table(one.heads[:width], [row[:width] for row in one.rows], small)


def _link(one: Table) -> str:
    return f'<a href="tables/{one.name}.csv">tables/{one.name}.csv</a>'


def _plan(h: Handover, found: Tables) -> str:
    picture = drawing.plan(h.data)
    shown = (
        f'<div class="plan">{picture}</div>' if picture else "<p>No outlines are given: there is no plan to draw.</p>"
    )
    walls = "Operable walls are sensed or told, never driven."
    return (
        f"{shown}<h3>Zones</h3>{_shown(found, 'zones')}"
        f"<h3>Walls</h3><p>{walls}</p>{_shown(found, 'walls', 'There is no operable wall.')}"
    )


def _groupings(h: Handover, found: Tables) -> str:
    s = h.survey
    text = f"{len(s.spec.partitions)} walls give {s.possible} arrangements and {s.groupings} distinct groupings."
    if not s.every:
        text += f" Not all were looked at: some were taken at random, with the seed {s.seed}."
    parts = [f"<p>{say(text)} A group is in the charge of its lead; the posted number is the authority's.</p>"]
    for room in s.rooms:
        parts.append(f"<h3>{say(listing(map(h.zone, room.zones)))}</h3>")
        if len(room.groupings) > PICTURES_MAX:
            parts.append(f"<p>{len(room.groupings)} distinct groupings: see {_link(found['groupings'])}.</p>")
            continue
        parts.append('<div class="pictures">')
        for grouping in room.groupings:
            picture = drawing.grouping(h.data, grouping.groups, grouping.open)
            lines = "".join(f"<p>{_group(h, n, group)}</p>" for n, group in enumerate(grouping.groups))
            parts.append(f"<figure>{picture}<figcaption>{lines}</figcaption></figure>")
        parts.append("</div>")
    if s.alone:
        parts.append(f"<p>No wall joins {say(listing(map(h.zone, s.alone)))} to another zone.</p>")
    return "".join(parts) + f"<h3>Each distinct group</h3>{_shown(found, 'groups')}"


def _group(h: Handover, number: int, group: tuple[str, ...]) -> str:
    charge = h.survey.charges[group]
    people = f"{charge.posted} people" if charge.posted is not None else posted(charge)
    names = say(listing(map(h.zone, group)))
    return f"<b>{drawing.letter(number)}</b> {names}: {say(h.panel(charge.lead))}; {say(people)}"


def _panels(h: Handover, found: Tables) -> str:
    rules = h.data["combining"]
    if rules is None:
        text = "<p>No combining is configured: groups touch no links.</p>"
    else:
        told = (
            ("Lead order", ", ".join(map(h.panel, rules["lead_order"])) or "none"),
            ("Other panels of a group", rules["others"]),
            ("Levels blend over", f"{figure(rules['blend'])} s"),
            ("Restored for", f"{figure(rules['restore_for'] / 3600.0)} h, and in the same booking; later idle"),
        )
        text = pairs(told) + _shown(found, "combining", "No control is named: each is kept as it is.")
    named = "<h3>Named arrangements</h3>" + _shown(found, "arrangements", "No arrangement has a name.")
    return f"{_shown(found, 'controllers', 'There is no panel.')}<h3>When walls open and close</h3>{text}{named}"


def _controls(h: Handover, found: Tables) -> str:
    """Zones that have the same control share a row."""
    rows: dict[tuple[str, ...], list[str]] = {}
    for zone, z in h.data["zones"].items():
        for name, control in z["controls"].items():
            row = name, control.get("name") or name, control["kind"], control_words(control)
            rows.setdefault(row, []).append(zone)
    merged = [(name, title, kind, said, listing(zones)) for (name, title, kind, said), zones in rows.items()]
    heads = ("control", "name", "kind", "what it can be", "zones")
    return f"{table(heads, merged)}<h3>Scenes</h3>{_shown(found, 'scenes', 'There is no scene.')}"


def _occupancy(h: Handover, found: Tables) -> str:
    text = "<p>Numbers posted by the authority for each configuration. None is computed here.</p>"
    rows = [(listing(map(h.zone, row[0].split(" + "))), *row[1:]) for row in found["occupancy"].rows]
    return text + table(found["occupancy"].heads, rows, "No number is posted.")


def _equipment(found: Tables) -> str:
    parts = (
        ("Devices", "devices", "There is no device.", 0),
        ("Supplies", "supplies", "None is shared.", 0),
        ("Bindings", "bindings", "Nothing is driven.", 1),
        ("Override inputs", "overrides", "There is no override.", 0),
    )
    return "".join(f"<h3>{title}</h3>{_shown(found, name, small, drop)}" for title, name, small, drop in parts)


def _parts(found: Tables, parts: Sequence[tuple[str, str, str]]) -> str:
    """Tables under headings of their own: heading, table, what to say where it has no rows."""
    return "".join(f"<h3>{title}</h3>{_shown(found, name, small)}" for title, name, small in parts)


SOURCES = (
    ("Sources", "sources", "No source travels."),
    ("Microphones", "microphones", "There is no microphone."),
    ("One-way overflows", "overflows", "None has a name."),
)
DIARY = (
    ("Bookings", "bookings", ""),
    ("Routines", "routines", "Nothing recurs by itself."),
    ("Crews", "crews", "No crew is set down, so that nobody works out whether walls can be moved in time."),
    ("Moving the walls", "moves", "There is no operable wall."),
    ("Rooms as calendars call them", "rooms", "Calendars call them by the names of the zones."),
    ("Calendars that are followed", "feeds", "None is followed."),
    ("Who is told what happens", "webhooks", "Nobody is told."),
)
EVENING = (
    ("Paging", "paging", "Nothing pages."),
    ("Presence", "presence", "Presence is not sensed."),
    ("Locks that are ready by name", "locks", "None is: people set them as they need them."),
    ("Alarms: how urgent, and which mean nothing", "alarm-rules", "Each has its usual priority."),
)


def _network(found: Tables) -> str:
    return f"<p>What has to pass through switches and firewalls.</p>{_shown(found, 'network')}"


def _sound(h: Handover, found: Tables) -> str:
    plans = [charge.sound for charge in h.survey.charges.values() if charge.sound is not None]
    if not plans:
        return "<p>No microphones and loudspeakers are configured: there is no plan of gains and delays.</p>"
    sound = h.data["sound"]
    text = (
        f"{ADVICE} For {figure(sound['temperature'])} °C; a microphone is {figure(sound['own_zone_reduction'])} dB"
        " lower in the loudspeakers of its own zone. Gains in dB with every microphone of the group open; delays in ms."
    )
    shown = "".join(f"<div>{_group_plan(h, one)}</div>" for one in plans[:PLANS_MAX])
    rest = f"<p>{len(plans) - PLANS_MAX} more are in {_link(found['gains'])}.</p>" if len(plans) > PLANS_MAX else ""
    outputs = _shown(found, "sound-outputs", "No device takes the plan by itself.")
    return (
        f"<p>{say(text)}</p><h3>Where they stand</h3>{_shown(found, 'places')}<h3>Where the plan goes</h3>{outputs}"
        f'<h3>Gains and delays, by group</h3><div class="sums">{shown}</div>{rest}'
    )


def _group_plan(h: Handover, one: GroupPlan) -> str:
    speakers = h.data["loudspeakers"]
    here = [name for name, speaker in speakers.items() if speaker["zone"] in one.zones]
    rows = [
        (h.data["microphones"][name]["name"], *(_gain(gains[speaker]) for speaker in here))
        for name, gains in one.gains.items()
    ]
    if one.delays:
        rows.append(("Delay", *(f"{one.delays[speaker]:.1f} ms" for speaker in here)))
    heads = ("microphone", *(speakers[name]["name"] for name in here))
    return f"<h3>{say(listing(map(h.zone, one.zones)))}</h3>{table(heads, rows, 'Nobody talks here.')}"


def _gain(gain: float | str) -> str:
    return gain if isinstance(gain, str) else f"{gain:.1f}"


def _files(made: Sequence[Table]) -> str:
    rows = "".join(
        f"<tr><td>{_link(one)}</td><td>{len(one.rows)}</td><td>{say(', '.join(one.heads))}</td></tr>" for one in made
    )
    head = '<thead><tr><th scope="col">File</th><th scope="col">Rows</th><th scope="col">Columns</th></tr></thead>'
    return (
        "<p>UTF-8, separated by commas, first line with the heads (RFC 4180). A cell that a spreadsheet could take for"
        f" a formula begins with an apostrophe.</p><table>{head}<tbody>{rows}</tbody></table>"
    )


BACKUP = """
<p>Two folders are the whole venue: the configuration (YAML), and the data folder that <code>roomlink serve</code> was
given with <code>--data</code>. The journal in it, <code>journal.db</code>, holds all state and history, and the test
record of this handover. Without <code>--data</code> nothing is kept.</p>
<h3>To back up</h3>
<ol><li>Run <code>roomlink backup DATA --out FILE</code> with the data folder; the service goes on meanwhile. The
file holds both folders.</li>
<li>Keep it on another machine, and out of strangers' hands: it holds names, and the hashes of passwords.</li></ol>
<h3>To restore</h3>
<ol><li>Install the same version of roomlink, or a newer one: an older one leaves a newer backup alone, and says
so.</li>
<li>Stop the service; see that nobody is at what moves.</li>
<li>Run <code>roomlink restore FILE --data DATA --folder CONFIGURATION</code>. A file that is not whole is refused
before anything is touched, and what was there is kept beside it.</li>
<li>Run <code>roomlink check</code> on the configuration folder.</li>
<li>Start the service. What it finds wrong with its journal is an alarm.</li>
<li>On the page <code>/commissioning</code> compare the configuration's hash with the one in this handover, and disarm
what was rewired since. Walls that are sensed are unknown until their sensors speak.</li></ol>
<p>Try it once before it is needed.</p>
"""
"""How it is done."""
