"""Floor plans."""

from __future__ import annotations

import pytest

from roomlink.venue.geometry import inside, on_outline, overlapping, share

SQUARE = [[0, 0], [10, 0], [10, 10], [0, 10]]
ELL = [[0, 0], [10, 0], [10, 4], [4, 4], [4, 10], [0, 10]]


@pytest.mark.parametrize(
    ("a", "b", "shared"),
    [
        (SQUARE, SQUARE, True),
        (SQUARE, [[10, 0], [20, 0], [20, 10], [10, 10]], False),
        (SQUARE, [[9.995, 0], [20, 0], [20, 10], [9.995, 10]], False),
        (SQUARE, [[9.9, 0], [20, 0], [20, 10], [9.9, 10]], True),
        (SQUARE, [[2, 2], [3, 2], [3, 3], [2, 3]], True),
        (SQUARE, [[-5, 4], [15, 4], [15, 6], [-5, 6]], True),
        (SQUARE, [[5, -5], [15, 5], [20, 0]], False),
        (SQUARE, [[10, 8], [8, 10], [12, 12]], True),
        (ELL, [[4, 4], [10, 4], [10, 10], [4, 10]], False),
        (ELL, [[3, 3], [10, 3], [10, 10], [3, 10]], True),
        ([[0, 0], [10, 0], [5, 10]], [[0, 10], [10, 10], [5, 0]], True),
        ([[0, 0], [10, 0], [5, 4]], [[0, 10], [10, 10], [5, 5]], False),
    ],
)
def test_two_outlines_overlap_or_only_touch(a: list[list[float]], b: list[list[float]], shared: bool) -> None:
    """Either way round."""
    assert share(a, b, 0.01) is shared
    assert share(b, a, 0.01) is shared


def test_overlapping_pairs_are_found_among_many() -> None:
    """Each pair once, in the order given."""
    outlines = {f"z{n}": [[n * 10, 0], [n * 10 + 10, 0], [n * 10 + 10, 5], [n * 10, 5]] for n in range(100)}
    outlines["long"] = [[15, 4], [35, 4], [35, 9], [15, 9]]
    assert sorted(overlapping(outlines, 0.01)) == [("z1", "long"), ("z2", "long"), ("z3", "long")]


@pytest.mark.parametrize(
    ("line", "on"),
    [
        ([[10, 0], [10, 10]], True),
        ([[10, 2], [10, 5]], True),
        ([[10.009, 0], [9.991, 10]], True),
        ([[10.02, 0], [10, 10]], False),
        ([[0, 0], [10, 10]], False),
        ([[0, 0], [10, 0], [10, 10]], True),
        ([[10, 0], [10, 11]], False),
    ],
)
def test_a_line_runs_along_an_outline_or_not(line: list[list[float]], on: bool) -> None:
    """Within a centimetre."""
    assert on_outline(line, SQUARE, 0.01) is on


@pytest.mark.parametrize(
    ("point", "within"),
    [([5, 2], True), ([2, 8], True), ([8, 8], False), ([4, 6], True), ([10.005, 2], True), ([10.1, 2], False)],
)
def test_a_point_is_within_an_outline_or_on_its_edge(point: list[float], within: bool) -> None:
    """The inner corner of an L leaves a part out."""
    assert inside(point, ELL, 0.01) is within
