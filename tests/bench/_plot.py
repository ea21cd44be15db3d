"""A curve as a drawing: SVG with both axes logarithmic, readable on light and dark ground, with words for all of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from tests.bench._figures import Curve, number, told

WIDTH, HEIGHT = 640, 360
LEFT, RIGHT, TOP, BOTTOM = 92, 28, 44, 52
STYLE = """
text { font: 13px system-ui, sans-serif; fill: #1b1f24; }
.title { font-size: 15px; font-weight: 600; }
.frame { fill: #ffffff; }
.grid { stroke: #c4cad1; stroke-width: 1; }
.own { stroke: #0b5cad; fill: none; stroke-width: 2.5; }
.own-dot { fill: #0b5cad; }
.spread { stroke: #0b5cad; stroke-width: 1.5; }
.floor { stroke: #7a4a00; fill: none; stroke-width: 2; stroke-dasharray: 6 4; }
.floor-dot { fill: #7a4a00; }
@media (prefers-color-scheme: dark) {
text { fill: #e6e9ed; }
.frame { fill: #14181d; }
.grid { stroke: #3d454e; }
.own { stroke: #79b8ff; }
.own-dot { fill: #79b8ff; }
.spread { stroke: #79b8ff; }
.floor { stroke: #f0b35e; }
.floor-dot { fill: #f0b35e; }
}
"""
_UNITS = {"s": (1.0, "s"), "ms": (1e3, "ms"), "us": (1e6, "µs"), "bytes": (1.0, "B"), "": (1.0, "")}


class Axis:
    """A logarithmic axis from ``start`` to ``end`` pixels; whole powers of ten have lines."""

    def __init__(self, values: Sequence[float], start: float, end: float) -> None:
        self.low, self.high = math.log10(min(values)), math.log10(max(values))
        if self.high - self.low < 0.5:  # what hardly changes must not look as if it did
            middle = (self.low + self.high) / 2
            self.low, self.high = middle - 0.5, middle + 0.5
        self.start, self.end = start, end

    def at(self, value: float) -> float:
        share = (math.log10(value) - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)

    @property
    def lines(self) -> list[float]:
        """Where to draw lines: 1, 2 and 5 in each power of ten, or these powers alone where they are many."""
        steps = (1, 2, 5) if self.high - self.low < 2 else (1,)
        powers = range(math.floor(self.low), math.ceil(self.high) + 1)
        found = [step * 10.0**power for power in powers for step in steps]
        return [v for v in found if self.low - 1e-9 <= math.log10(v) <= self.high + 1e-9]


def words(curve: Curve) -> str:
    """All that the drawing shows."""
    points = ", ".join(f"{number(x)}: {told([y], curve.unit)}" for x, y in zip(curve.at, curve.median, strict=True))
    said = f"{curve.title}, by {curve.along}: {points}."
    if curve.beside:
        beside = ", ".join(f"{number(x)}: {told([y], curve.unit)}" for x, y in zip(curve.at, curve.beside, strict=True))
        said += f" {curve.floor[0].upper()}{curve.floor[1:]}: {beside}."
    return said


def drawn(curve: Curve) -> str:
    """The curve, its spread, and its floor."""
    by, unit = _UNITS[curve.unit]
    up = [v * by for v in (*curve.low, *curve.high, *curve.beside)]
    x, y = Axis(curve.at, LEFT, WIDTH - RIGHT), Axis(up, HEIGHT - BOTTOM, TOP)
    parts = [_text(LEFT, 24, curve.title, "start", "title")]
    for value in curve.at:
        parts.append(f'<path class="grid" d="M{x.at(value)} {TOP}V{HEIGHT - BOTTOM}"/>')
        parts.append(_text(x.at(value), HEIGHT - BOTTOM + 18, number(value)))
    for value in y.lines:
        parts.append(f'<path class="grid" d="M{LEFT} {y.at(value)}H{WIDTH - RIGHT}"/>')
        parts.append(_text(LEFT - 8, y.at(value) + 4, f"{number(value)} {unit}", "end"))
    parts.append(_text((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 12, curve.along))
    places = [(x.at(a), y.at(m * by)) for a, m in zip(curve.at, curve.median, strict=True)]
    if curve.beside:
        floor = [(x.at(a), y.at(m * by)) for a, m in zip(curve.at, curve.beside, strict=True)]
        parts.append(f'<path class="floor" d="{_path(floor)}"/>')
        parts += [
            f'<rect class="floor-dot" x="{a - 3.5:.1f}" y="{b - 3.5:.1f}" width="7" height="7"/>' for a, b in floor
        ]
        parts.append(_text(LEFT + 10, TOP + 36, f"squares, dashed: {curve.floor}", "start"))
    for (a, _), low, high in zip(places, curve.low, curve.high, strict=True):
        parts.append(f'<path class="spread" d="M{a} {y.at(low * by)}V{y.at(high * by)}"/>')
    parts.append(f'<path class="own" d="{_path(places)}"/>')
    parts += [f'<circle class="own-dot" cx="{a}" cy="{b}" r="4"/>' for a, b in places]
    parts.append(_text(LEFT + 10, TOP + 18, f"circles: {curve.up}", "start"))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'role="img" aria-labelledby="title words">'
    )
    said = f'<title id="title">{escape(curve.title)}</title>\n<desc id="words">{escape(words(curve))}</desc>'
    frame = f'<rect class="frame" width="{WIDTH}" height="{HEIGHT}"/>'
    return "\n".join((head, said, f"<style>{STYLE}</style>", frame, *parts, "</svg>", ""))


def _path(places: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{a} {b}" for a, b in places)


def _text(x: float, y: float, said: str, anchor: str = "middle", kind: str = "") -> str:
    marked = f' class="{kind}"' if kind else ""
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}"{marked}>{escape(said)}</text>'
