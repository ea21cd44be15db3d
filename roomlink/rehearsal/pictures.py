"""A plan of the venue for each distinct grouping, as SVG, and one page that shows them all.

Groups are told apart by tint, by the style of their outline and by words: never by colour alone.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from pathlib import Path

from roomlink.rehearsal.arrangements import DivisibleRoom, Group, Grouping, Tell, untold
from roomlink.rehearsal.outlines import merged, middle
from roomlink.rehearsal.survey import Charge, Survey
from roomlink.venue.cautions import cautions
from roomlink.venue.geometry import Polygon
from roomlink.venue.load import Loaded

PICTURES_MAX = 500
"""So many groupings of a divisible room are drawn, those of many groups first."""
INDEX = "index.html"

WIDTH, PLAN_HEIGHT_MAX, MARGIN = 760.0, 560.0, 24.0
LINE, TEXT, TEXT_MIN, SWATCH = 20.0, 15.0, 10.0, 44.0
LETTER = 0.56
"""The usual width of a letter, as a part of the text's height."""
LEGEND_CHARS = 92
LOOKS = 4

STYLE = """
svg{background:#f8f4ec;color:#1f1811;font-family:"Optima","Candara","Gill Sans Nova","Noto Sans",sans-serif}
text{fill:#1f1811} .faint{fill:#5c5143} .name{text-anchor:middle;font-weight:600} .says{text-anchor:middle}
.zone{fill:#fff;stroke:#b9ae9e;stroke-width:1}
.group{fill-opacity:.16;stroke-width:20;stroke-linejoin:miter} .swatch{stroke-width:5}
.look-0{fill:#7a45a3;stroke:#7a45a3}
.look-1{fill:#11706c;stroke:#11706c;stroke-dasharray:18 7}
.look-2{fill:#97491b;stroke:#97491b;stroke-dasharray:4 6}
.look-3{fill:#983a68;stroke:#983a68;stroke-dasharray:18 5 4 5}
.wall{fill:none;stroke:#1f1811;stroke-width:6} .bed{fill:none;stroke:#f8f4ec;stroke-width:12}
.open{stroke-width:1.5;stroke-dasharray:2 6}
""".strip()

PAGE_STYLE = """
body{margin:24px;background:#ece6da;color:#1f1811}
body{font:16px/1.4 "Optima","Candara","Gill Sans Nova","Noto Sans",sans-serif}
main{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(420px,100%),1fr));gap:20px}
figure{margin:0} img{width:100%;height:auto;border:1px solid #b9ae9e} figcaption{overflow-wrap:anywhere}
""".strip()


def save(folder: Path, loaded: Loaded, survey: Survey, tell: Tell = untold) -> int:
    """Write all pictures and ``index.html``; the number of pictures. Raises ``OSError`` where that is not possible."""
    folder.mkdir(parents=True, exist_ok=True)
    planned = sum(min(len(room.groupings), PICTURES_MAX) for room in survey.rooms)
    written = 0
    for name, content in pictures(loaded, survey):
        (folder / name).write_text(content, encoding="utf-8")
        written += 1
        tell("pictures", written, planned)
    (folder / INDEX).write_text(page(loaded, survey), encoding="utf-8")
    return written


def pictures(loaded: Loaded, survey: Survey) -> Iterator[tuple[str, str]]:
    """File name and SVG of each distinct grouping."""
    plan = _Plan(loaded)
    for room in survey.rooms:
        for name, grouping in _drawn(room):
            yield name, plan.picture(grouping, room, survey)


def page(loaded: Loaded, survey: Survey) -> str:
    """The page that shows all pictures, by divisible room."""
    names = loaded.data["zones"]
    title = escape(loaded.data["venue"]["name"])
    parts = [
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}: groupings</title>',
        f'<meta name="viewport" content="width=device-width"><style>{PAGE_STYLE}</style></head><body>',
        f"<h1>{title}: every distinct grouping</h1>",
    ]
    if not survey.rooms:
        parts.append("<p>No wall of this venue opens.</p>")
    for room in survey.rooms:
        drawn = list(_drawn(room))
        parts.append(f"<h2>{escape(', '.join(names[zone]['name'] for zone in room.zones))}</h2>")
        parts.append(f"<p>{_said_of(room, len(drawn))}</p><main>")
        for name, grouping in drawn:
            words = escape(_words(grouping, loaded))
            parts.append(
                f'<figure><img src="{name}" alt="{words}" loading="lazy"><figcaption>{words}</figcaption></figure>'
            )
        parts.append("</main>")
    parts += [f"<p>{escape(caution)}</p>" for caution in cautions(loaded.data)]
    return "\n".join(parts) + "\n</body></html>\n"


def _drawn(room: DivisibleRoom) -> list[tuple[str, Grouping]]:
    """The groupings that are drawn, each with the name of its file."""
    by_parts = sorted(room.groupings, key=lambda grouping: -len(grouping.groups))[:PICTURES_MAX]
    return [(f"{room.zones[0]}-{number:03}.svg", grouping) for number, grouping in enumerate(by_parts, 1)]


def _said_of(room: DivisibleRoom, drawn: int) -> str:
    of = f"{drawn:,} of the {len(room.groupings):,}" if drawn < len(room.groupings) else f"{drawn:,}"
    looked_at = "all" if room.every else "some"
    return f"{of} groupings, which {looked_at} arrangements of {len(room.walls)} walls make."


def _words(grouping: Grouping, loaded: Loaded) -> str:
    zones = loaded.data["zones"]
    return " | ".join(" + ".join(zones[zone]["name"] for zone in group) for group in grouping.groups)


def _size(words: str, wide: float) -> float:
    """The height of text that fits."""
    return min(TEXT, wide / (LETTER * max(len(words), 1)))


class _Plan:
    """The venue's plan on paper: metres to pixels, and what every picture has in common."""

    def __init__(self, loaded: Loaded) -> None:
        self.data = loaded.data
        self.outlines: dict[str, Polygon] = {z: v["outline"] for z, v in self.data["zones"].items() if v["outline"]}
        self.lines: dict[str, Polygon] = {p: v["line"] for p, v in self.data["partitions"].items() if v["line"]}
        points = [p for shape in (*self.outlines.values(), *self.lines.values()) for p in shape] or [(0.0, 0.0)]
        self.left, self.top = min(p[0] for p in points), min(p[1] for p in points)
        wide = max(max(p[0] for p in points) - self.left, 0.01)
        high = max(p[1] for p in points) - self.top
        self.scale = min((WIDTH - 2 * MARGIN) / wide, PLAN_HEIGHT_MAX / max(high, 0.01))
        self.height = high * self.scale if self.outlines else 0.0
        self.side = (WIDTH - wide * self.scale) / 2

    def at(self, point: Sequence[float]) -> tuple[float, float]:
        return self.side + (point[0] - self.left) * self.scale, MARGIN + (point[1] - self.top) * self.scale

    def path(self, shapes: Iterable[Sequence[Sequence[float]]], close: str = "Z") -> str:
        drawn = []
        for shape in shapes:
            corners = (self.at(point) for point in shape)
            drawn.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in corners) + close)
        return "".join(drawn)

    def picture(self, grouping: Grouping, room: DivisibleRoom, survey: Survey) -> str:
        """One grouping, with every wall open that can be; other rooms of the venue have their walls closed."""
        looks = {group: n % LOOKS for n, group in enumerate(g for g in grouping.groups if len(g) > 1)}
        charges = [survey.charges[group] for group in grouping.groups]
        body = [*self._zones(), *self._groups(looks), *self._walls(grouping.open), *self._names(charges)]
        legend, height = self._legend(charges, looks, grouping, MARGIN * 2 + self.height)
        title = " | ".join(" + ".join(self._name(zone) for zone in group) for group in grouping.groups)
        return "\n".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img">',
                f"<title>{escape(title)}</title><style>{STYLE}</style>",
                *body,
                *legend,
                "</svg>\n",
            ]
        )

    def _name(self, zone: str) -> str:
        return str(self.data["zones"][zone]["name"])

    def _panel(self, controller: str) -> str:
        return str(self.data["controllers"][controller]["name"])

    def _zones(self) -> Iterator[str]:
        for outline in self.outlines.values():
            yield f'<path class="zone" d="{self.path([outline])}"/>'

    def _groups(self, looks: Mapping[Group, int]) -> Iterator[str]:
        for number, (group, look) in enumerate(looks.items()):
            shapes = [self.outlines[zone] for zone in group if zone in self.outlines]
            if shapes:
                d = self.path(merged(shapes))
                # Cut to the group, so that outlines of neighbours do not lie on one another.
                yield f'<clipPath id="group-{number}"><path d="{d}" clip-rule="evenodd"/></clipPath>'
                clip = f'clip-path="url(#group-{number})"'
                yield f'<path class="group look-{look}" fill-rule="evenodd" {clip} d="{d}"/>'

    def _walls(self, opened: Sequence[str]) -> Iterator[str]:
        # What keeps a wall apart from the outlines beside it lies beneath all walls.
        for wall, line in self.lines.items():
            if wall not in opened:
                yield f'<path class="bed" d="{self.path([line], close="")}"/>'
        for wall, line in self.lines.items():
            state = "open" if wall in opened else "closed"
            said = escape(f"{self.data['partitions'][wall]['name']}: {state}")
            yield f'<path class="wall {state}" d="{self.path([line], close="")}"><title>{said}</title></path>'

    def _names(self, charges: Sequence[Charge]) -> Iterator[str]:
        leads = {self.data["controllers"][c.lead]["home"]: c.lead for c in charges if c.lead is not None}
        for zone, outline in self.outlines.items():
            x, y = self.at(middle(outline))
            wide = (max(p[0] for p in outline) - min(p[0] for p in outline)) * self.scale - LINE
            yield self._written("name", x, y, self._name(zone), wide)
            if zone in leads:
                said = f"{self._panel(leads[zone])} leads"
                # Where the room is small, the legend has the rest.
                yield self._written("says", x, y + LINE, said if _size(said, wide) >= TEXT_MIN else "leads", wide)

    def _written(self, what: str, x: float, y: float, words: str, wide: float) -> str:
        size = max(_size(words, wide), TEXT_MIN)
        return f'<text class="{what}" x="{x:.1f}" y="{y:.1f}" font-size="{size:.1f}">{escape(words)}</text>'

    def _legend(
        self, charges: Sequence[Charge], looks: Mapping[Group, int], grouping: Grouping, top: float
    ) -> tuple[list[str], float]:
        """Who leads where, in words, below the plan; and where that ends."""
        drawn, y = [], top
        for charge in charges:
            look = looks.get(charge.zones)
            box = "zone" if look is None else f"group swatch look-{look}"
            edge = 0.5 if look is None else 2.5
            drawn.append(
                f'<rect class="{box}" x="{MARGIN + edge}" y="{y - LINE + 6 + edge}" width="{SWATCH - 2 * edge}" '
                f'height="{LINE - 2 * edge}"/>'
            )
            drawn += (lines := list(self._lines(self._says(charge), y, MARGIN + SWATCH + 12)))
            y += LINE * len(lines) + 6
        for note in self._notes(grouping):
            drawn += (lines := list(self._lines(note, y, MARGIN, "faint")))
            y += LINE * len(lines)
        return drawn, y

    def _lines(self, words: str, y: float, x: float, look: str = "") -> Iterator[str]:
        for number, line in enumerate(textwrap.wrap(words, LEGEND_CHARS)):
            down = y + LINE * number
            yield f'<text class="{look}" x="{x:.1f}" y="{down:.1f}" font-size="{TEXT:.0f}">{escape(line)}</text>'

    def _says(self, charge: Charge) -> str:
        lead = "nobody leads" if charge.lead is None else f"{self._panel(charge.lead)} leads"
        also = [self._panel(c) for c in charge.acts if c != charge.lead]
        people = "no number of people posted" if charge.posted is None else f"{charge.posted} people"
        parts = [" + ".join(self._name(zone) for zone in charge.zones), lead, people]
        if also:
            parts.append(f"also act: {', '.join(also)}")
        if charge.locked:
            parts.append(f"locked: {', '.join(self._panel(c) for c in charge.locked)}")
        return "; ".join(parts)

    def _notes(self, grouping: Grouping) -> Iterator[str]:
        yield "Thick line: a wall that is closed. Dotted line: a wall that is open."
        if grouping.loops:
            walls = ", ".join(self.data["partitions"][wall]["name"] for wall in grouping.loops)
            yield f"Of the open walls, some may stand closed and part nothing; they are flagged then: {walls}."
        if outside := [self._name(zone) for zone in self.data["zones"] if zone not in self.outlines]:
            yield f"Without an outline, and so not on the plan: {', '.join(outside)}."
