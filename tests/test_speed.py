"""What `deploy/` says of speed is what was measured: its tables and drawings are made from the stored results."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from tests.bench import _figures, _pages, growing
from tests.bench.__main__ import NAMES

MADE = _pages.pages(_figures.read())
DRAWINGS = [name for name in MADE if name.endswith(".svg")]


@pytest.mark.parametrize("name", _pages.PAGES)
def test_a_page_has_the_tables_of_the_results(name: str) -> None:
    """`python -m tests.bench._pages` makes them anew; every page and drawing that it points to is there."""
    text = (_pages.DEPLOY / name).read_text(encoding="utf-8")
    assert _pages.between(text) == MADE[name]
    for link in re.findall(r"\]\(([^)#]+)", text):
        assert (_pages.DEPLOY / link).exists(), link


@pytest.mark.parametrize("name", DRAWINGS)
def test_each_drawing_is_of_the_results_and_says_in_words_what_it_shows(name: str) -> None:
    """A title and a description in the drawing itself; every number of the curve is in them."""
    text = (_pages.DEPLOY / name).read_text(encoding="utf-8")
    assert text == MADE[name]
    root = ElementTree.fromstring(text)
    assert root.get("role") == "img"
    named = {child.get("id"): child.text for child in root if child.get("id")}
    assert set(root.get("aria-labelledby", "").split()) == set(named)
    assert all(named.values())


def test_no_drawing_is_left_over() -> None:
    """A curve that is no longer measured leaves no file behind."""
    assert sorted(path.name for path in _pages.DEPLOY.glob("speed-*.svg")) == sorted(DRAWINGS)


def test_every_measurement_stands_on_the_page() -> None:
    """One that is added must be given a title, and be run."""
    assert sorted(_pages.TITLES) == sorted(NAMES)
    assert sorted(_figures.read()) == sorted(NAMES)


def test_a_figure_is_met_by_its_ratio_to_its_floor() -> None:
    """Round by round, so that a noisy round is noisy for both; with a bound the value counts too."""
    figure = _figures.Figure("a", "us", [2.0, 9.0, 3.0], "b", [2.0, 10.0, 2.0], most=1.0)
    assert figure.ratios == [1.0, 0.9, 1.5]
    assert figure.met
    assert not _figures.Figure("a", "s", [2.1], bound=2.0).met
    assert _figures.Figure("a", "s", [2.1]).met is None


@pytest.mark.parametrize("others", ["own", "mirror", "lock"])
def test_a_combine_is_one_entry_and_one_message_a_panel(others: str) -> None:
    """Of any number of zones, whatever the other controllers do."""
    counted = [one for one in growing.combine(12, others, 1) if one.bound is not None]
    assert [one.values for one in counted] == [[1.0], [1.0]]


def test_a_ramp_of_an_hour_is_two_messages_a_panel_and_no_wake_up_between() -> None:
    """As one of a second is."""
    told, woken = growing.ramp()
    assert (told.values, told.beside, woken.values) == ([2.0], [2.0], [0.0])


@pytest.mark.parametrize(
    ("values", "unit", "said"),
    [
        ([0.00004], "us", "40 µs"),
        ([0.001, 0.003, 0.002], "ms", "2 (1 to 3) ms"),
        ([5_400_000.0], "bytes", "5.4 MB"),
        ([1234.0], "bytes", "1,234 B"),
        ([0.8371, 0.8372], "", "0.837"),
    ],
)
def test_values_are_told_in_their_unit_with_three_digits(values: list[float], unit: str, said: str) -> None:
    """Median, lowest and highest; once where they look alike."""
    assert _figures.told(values, unit) == said
