"""The little geometry that checking a floor plan takes. Points are [x, y] in metres."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

Point = Sequence[float]
Polygon = Sequence[Point]


def edges(polygon: Polygon) -> list[tuple[Point, Point]]:
    """The sides of a polygon, the closing one included."""
    return list(zip(polygon, [*polygon[1:], polygon[0]], strict=True))


def distance(point: Point, a: Point, b: Point) -> float:
    """From a point to the segment between ``a`` and ``b``."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = dx * dx + dy * dy
    along = 0.0 if length == 0 else ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / length
    along = min(max(along, 0.0), 1.0)
    return math.hypot(point[0] - a[0] - along * dx, point[1] - a[1] - along * dy)


def on_outline(line: Sequence[Point], outline: Polygon, tolerance: float) -> bool:
    """Whether a line runs along a polygon's sides: its points and the middles between them lie on a side."""
    middles = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in pairwise(line)]
    sides = edges(outline)
    return all(min(distance(p, a, b) for a, b in sides) <= tolerance for p in [*line, *middles])


def inside(point: Point, outline: Polygon, tolerance: float) -> bool:
    """Whether a point is within a polygon, or as near to its sides as ``tolerance``."""
    if min(distance(point, a, b) for a, b in edges(outline)) <= tolerance:
        return True
    return any(left <= point[0] <= right for left, right in stretches(outline, point[1]))


def overlapping(outlines: Mapping[str, Polygon], tolerance: float) -> Iterator[tuple[str, str]]:
    """The pairs of polygons that share more than a strip as thin as ``tolerance``; each pair in the order given."""
    rank = {name: at for at, name in enumerate(outlines)}
    boxes = sorted(
        (min(x for x, _ in o), max(x for x, _ in o), min(y for _, y in o), max(y for _, y in o), name)
        for name, o in outlines.items()
    )
    near: list[tuple[float, float, float, float, str]] = []
    for box in boxes:
        left, _, top, bottom, name = box
        # Only what reaches further right than this one's left side can meet it.
        near = [other for other in near if other[1] > left + tolerance]
        for _, _, other_top, other_bottom, other in near:
            apart = other_bottom <= top + tolerance or bottom <= other_top + tolerance
            if not apart and share(outlines[other], outlines[name], tolerance):
                first, second = sorted((other, name), key=rank.__getitem__)
                yield first, second
        near.append(box)


def share(a: Polygon, b: Polygon, tolerance: float) -> bool:
    """Whether two polygons share an area wider and higher than ``tolerance``.

    Between two neighbouring heights of corners and crossings no side begins, ends or crosses another: so the
    middle of each such slab tells about all of it.
    """
    heights = {p[1] for p in (*a, *b)}
    heights |= {y for e in edges(a) for f in edges(b) if (y := _crossing(e, f)) is not None}
    for low, high in pairwise(sorted(heights)):
        if high - low <= tolerance:
            continue
        middle = (low + high) / 2
        for left, right in stretches(a, middle):
            if any(min(right, end) - max(left, start) > tolerance for start, end in stretches(b, middle)):
                return True
    return False


def _crossing(e: tuple[Point, Point], f: tuple[Point, Point]) -> float | None:
    """The height at which two sides cross; None where they do not, or are parallel."""
    (ax, ay), (bx, by) = e
    (cx, cy), (dx, dy) = f
    across = (bx - ax) * (dy - cy) - (by - ay) * (dx - cx)
    if across == 0:
        return None
    along_e = ((cx - ax) * (dy - cy) - (cy - ay) * (dx - cx)) / across
    along_f = ((cx - ax) * (by - ay) - (cy - ay) * (bx - ax)) / across
    return ay + along_e * (by - ay) if 0 <= along_e <= 1 and 0 <= along_f <= 1 else None


def stretches(polygon: Polygon, height: float) -> list[tuple[float, float]]:
    """The stretches of a horizontal line that lie within a polygon."""
    at = sorted(
        a[0] + (height - a[1]) * (b[0] - a[0]) / (b[1] - a[1])
        for a, b in edges(polygon)
        if (a[1] > height) != (b[1] > height)
    )
    return list(zip(at[::2], at[1::2], strict=True))
