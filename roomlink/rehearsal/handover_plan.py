"""The floor plan as a drawing for paper: black lines, greys with letters, nothing that needs colour."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from html import escape
from typing import Any

from roomlink.venue.geometry import inside

Point = Sequence[float]

GREYS = ("#ffffff", "#d9d9d9", "#efefef", "#c4c4c4")
"""Fills of groups, one after the other; a letter says which group it is."""
MARGIN_PART = 0.05
"""Of the larger side, around the drawing."""


def plan(data: Mapping[str, Any]) -> str:
    """Zones and walls with their names, and a scale; empty where no outline is given."""
    return _svg(data, _zones_named(data) + _walls_named(data), scale=True)


def grouping(data: Mapping[str, Any], groups: Sequence[Sequence[str]], opened: Collection[str]) -> str:
    """One grouping, small: each group has a letter and a grey; walls that stay closed are thick, open ones dashed."""
    drawn, size = [], _size(data)
    for number, group in enumerate(groups):
        for zone in group:
            if outline := data["zones"][zone]["outline"]:
                x, y = middle(outline)
                drawn.append(_polygon(outline, GREYS[number % len(GREYS)], size))
                drawn.append(_text(x, y, letter(number), size * 0.13))
    inner = {zone for group in groups for zone in group}
    for wall, w in data["partitions"].items():
        if w["line"] and inner.issuperset(w["between"]):
            drawn.append(_wall(w["line"], size, is_open=wall in opened))
    return _svg(data, drawn, only=inner)


def letter(number: int) -> str:
    """A, B ... Z, then AA, AB ..."""
    return (letter(number // 26 - 1) if number >= 26 else "") + chr(ord("A") + number % 26)


def _outlines(data: Mapping[str, Any], only: Collection[str] | None = None) -> list[Sequence[Point]]:
    return [z["outline"] for name, z in data["zones"].items() if z["outline"] and (only is None or name in only)]


def _box(outlines: Sequence[Sequence[Point]]) -> tuple[float, float, float, float]:
    xs = [x for outline in outlines for x, _ in outline]
    ys = [y for outline in outlines for _, y in outline]
    return min(xs), min(ys), max(xs), max(ys)


def _size(data: Mapping[str, Any]) -> float:
    """The larger side of the drawing, in metres."""
    outlines = _outlines(data)
    if not outlines:
        return 1.0
    left, top, right, bottom = _box(outlines)
    return max(right - left, bottom - top, 1.0)


def _svg(
    data: Mapping[str, Any], drawn: Sequence[str], *, only: Collection[str] | None = None, scale: bool = False
) -> str:
    outlines = _outlines(data, only)
    if not outlines:
        return ""
    left, top, right, bottom = _box(outlines)
    margin = max(right - left, bottom - top, 1.0) * MARGIN_PART
    below = margin * 2.2 if scale else margin
    box = f"{left - margin:.3f} {top - margin:.3f} {right - left + 2 * margin:.3f} {bottom - top + margin + below:.3f}"
    extra = _scale(left, bottom, right - left, margin) if scale else ""
    return f'<svg viewBox="{box}" role="img" aria-label="Floor plan">{"".join(drawn)}{extra}</svg>'


def _zones_named(data: Mapping[str, Any]) -> list[str]:
    size, drawn = _size(data), []
    for name, z in data["zones"].items():
        if outline := z["outline"]:
            x, y = middle(outline)
            left, top, right, bottom = _box([outline])
            title = z["name"] or name
            # Letters are about 0.6 of their height wide: the name has to fit between the walls.
            height = min(size * 0.042, (right - left) * 0.8 / (0.6 * len(title)), (bottom - top) * 0.3)
            drawn.append(_polygon(outline, "#ffffff", size))
            drawn.append(_text(x, y, title, height))
            if height > size * 0.02:
                drawn.append(_text(x, y + height * 1.2, name, height * 0.55))
    return drawn


def _walls_named(data: Mapping[str, Any]) -> list[str]:
    size = _size(data)
    drawn = [_wall(w["line"], size, is_open=False) for w in data["partitions"].values() if w["line"]]
    for name, w in data["partitions"].items():
        if line := w["line"]:
            (x1, y1), (x2, y2) = line[0], line[-1]
            upright = abs(y2 - y1) > abs(x2 - x1)
            drawn.append(_text((x1 + x2) / 2, (y1 + y2) / 2, w["name"] or name, size * 0.028, upright=upright))
    return drawn


def _polygon(outline: Sequence[Point], fill: str, size: float) -> str:
    points = " ".join(f"{x:.3f},{y:.3f}" for x, y in outline)
    return f'<polygon points="{points}" fill="{fill}" stroke="#000" stroke-width="{size * 0.004:.4f}"/>'


def _wall(line: Sequence[Point], size: float, *, is_open: bool) -> str:
    points = " ".join(f"{x:.3f},{y:.3f}" for x, y in line)
    width = size * (0.006 if is_open else 0.016)
    # An open wall is first wiped out: the outlines of the zones run beneath it.
    wiped = (
        f'<polyline points="{points}" fill="none" stroke="#fff" stroke-width="{size * 0.02:.4f}"/>' if is_open else ""
    )
    dash = f' stroke-dasharray="{size * 0.012:.4f} {size * 0.024:.4f}"' if is_open else ""
    return f'{wiped}<polyline points="{points}" fill="none" stroke="#000" stroke-width="{width:.4f}"{dash}/>'


def _text(x: float, y: float, text: str, height: float, *, upright: bool = False) -> str:
    turned = f' transform="rotate(-90 {x:.3f} {y:.3f})"' if upright else ""
    return (
        f'<text x="{x:.3f}" y="{y:.3f}" font-size="{height:.4f}" text-anchor="middle" dominant-baseline="central"'
        f' stroke="#fff" stroke-width="{height * 0.5:.4f}" paint-order="stroke"{turned}>{escape(text)}</text>'
    )


def _scale(left: float, bottom: float, width: float, margin: float) -> str:
    """A bar of a round number of metres, about a quarter of the drawing."""
    metres = next((m for m in (50, 20, 10, 5, 2, 1) if m <= width / 3), 1)
    y, height = bottom + margin, margin * 0.55
    end, half = f"v{height:.3f}", f"m0 {-height / 2:.3f}"
    return (
        f'<path d="M{left:.3f} {y - height / 2:.3f}{end}{half}h{metres}{half}{end}"'
        f' fill="none" stroke="#000" stroke-width="{margin * 0.08:.4f}"/>'
        f'<text x="{left + metres + margin * 0.3:.3f}" y="{y:.3f}" font-size="{height:.4f}"'
        f' dominant-baseline="central">{metres} m</text>'
    )


def middle(outline: Sequence[Point]) -> tuple[float, float]:
    """A point of the polygon to write at: its centre of area, or where that lies outside, the middle of a wide part."""
    area = cx = cy = 0.0
    for (x1, y1), (x2, y2) in zip(outline, [*outline[1:], outline[0]], strict=True):
        cross = x1 * y2 - x2 * y1
        area, cx, cy = area + cross, cx + (x1 + x2) * cross, cy + (y1 + y2) * cross
    centre = (cx / (3 * area), cy / (3 * area)) if area else (outline[0][0], outline[0][1])
    if inside(centre, outline, 0.0):
        return centre
    # A shape with an arm: of the middles between any two corners the first that lies inside will do.
    pairs = ((a, b) for n, a in enumerate(outline) for b in outline[n + 2 :])
    middles = (((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in pairs)
    return next((m for m in middles if inside(m, outline, 0.0)), centre)
