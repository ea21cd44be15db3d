"""The outline of zones that are one room: the sides that two of them share are gone."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from roomlink.venue.geometry import Point, Polygon, edges, inside, stretches

SNAP_M = 0.005
"""Corners nearer than this are one corner: outlines are typed in by hand, to the centimetre at best."""

Corner = tuple[float, float]
Side = tuple[Corner, Corner]
Key = tuple[int, int]


def merged(outlines: Iterable[Polygon]) -> list[list[Corner]]:
    """The outline of all, taken as one; zones that do not touch keep an outline each."""
    rings = [_clockwise(outline) for outline in outlines]
    corners = [corner for ring in rings for corner in ring]
    sides: dict[tuple[Key, Key], Side] = {}
    for ring in rings:
        for start, end in edges(ring):
            for a, b in _cut(_corner(start), _corner(end), corners):
                # The neighbour runs along a shared side the other way round, so the two cancel.
                if sides.pop((_key(b), _key(a)), None) is None:
                    sides[_key(a), _key(b)] = a, b
    return [_without_straight_corners(ring) for ring in _chained(list(sides.values()))]


def middle(outline: Polygon) -> Corner:
    """Where to write a name: the centre of area, or else the middle of the widest stretch inside at half height."""
    area = _double_area(outline)
    xs, ys = [p[0] for p in outline], [p[1] for p in outline]
    height = (min(ys) + max(ys)) / 2
    if abs(area) < SNAP_M:
        return (min(xs) + max(xs)) / 2, height
    crosses = [(a, b, a[0] * b[1] - b[0] * a[1]) for a, b in edges(outline)]
    centre = (
        sum((a[0] + b[0]) * cross for a, b, cross in crosses) / (3 * area),
        sum((a[1] + b[1]) * cross for a, b, cross in crosses) / (3 * area),
    )
    return centre if inside(centre, outline, 0.0) else (_widest(outline, height), height)


def _widest(outline: Polygon, height: float) -> float:
    left, right = max(stretches(outline, height), key=lambda stretch: stretch[1] - stretch[0])
    return (left + right) / 2


def _corner(point: Point) -> Corner:
    return point[0], point[1]


def _double_area(outline: Polygon) -> float:
    """Twice the area: positive where the corners run clockwise in a plan, in which y goes down."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in edges(outline))


def _clockwise(outline: Polygon) -> list[Corner]:
    ring = [_corner(point) for point in outline]
    return ring if _double_area(outline) >= 0 else ring[::-1]


def _key(corner: Corner) -> Key:
    return round(corner[0] / SNAP_M), round(corner[1] / SNAP_M)


def _cut(start: Corner, end: Corner, corners: Sequence[Corner]) -> Iterator[Side]:
    """A side, cut wherever a corner of any outline lies on it."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy)
    if length < SNAP_M:
        return
    stops = [(0.0, start), (length, end)]
    for corner in corners:
        x, y = corner[0] - start[0], corner[1] - start[1]
        along = (x * dx + y * dy) / length
        if abs(x * dy - y * dx) / length < SNAP_M and SNAP_M < along < length - SNAP_M:
            stops.append((along, corner))
    stops.sort()
    for (_, a), (_, b) in pairwise(stops):
        if _key(a) != _key(b):
            yield a, b


def _chained(sides: Sequence[Side]) -> Iterator[list[Corner]]:
    """Sides put end to end."""
    starting: dict[Key, list[Side]] = defaultdict(list)
    for side in sides:
        starting[_key(side[0])].append(side)
    for first in sides:
        ring = []
        following: Side | None = first if first in starting[_key(first[0])] else None
        while following is not None:
            starting[_key(following[0])].remove(following)
            ring.append(following[0])
            following = next(iter(starting[_key(following[1])]), None)
        if len(ring) > 2:
            yield ring


def _without_straight_corners(ring: list[Corner]) -> list[Corner]:
    def bends(before: Corner, at: Corner, after: Corner) -> bool:
        cross = (at[0] - before[0]) * (after[1] - at[1]) - (at[1] - before[1]) * (after[0] - at[0])
        return abs(cross) > 1e-9

    around = zip([ring[-1], *ring[:-1]], ring, [*ring[1:], ring[0]], strict=True)
    return [at for before, at, after in around if bends(before, at, after)]
