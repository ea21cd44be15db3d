"""Pictures of the groupings."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from roomlink.drivers.registry import Registry
from roomlink.rehearsal import pictures
from roomlink.rehearsal.outlines import merged, middle
from roomlink.rehearsal.survey import survey
from roomlink.runtime.device_rules import DriverRules
from roomlink.testing import venues
from roomlink.venue import Loaded, load
from tests.rehearsal.test_arrangements_survey import loaded as made

CONFIG = Path(__file__).parents[2] / "config"
SVG = "{http://www.w3.org/2000/svg}"


def square(x: float, y: float, side: float = 10.0) -> list[list[float]]:
    return [[x, y], [x + side, y], [x + side, y + side], [x, y + side]]


@pytest.fixture(scope="module")
def tidewater() -> Loaded:
    """The demo."""
    return load(CONFIG / "tidewater", DriverRules(Registry.of(plugins=[])))


@pytest.fixture(scope="module")
def drawn(tidewater: Loaded) -> dict[str, ElementTree.Element]:
    """Its pictures by their titles, read as XML."""
    found = {}
    for _, content in pictures.pictures(tidewater, survey(tidewater)):
        root = ElementTree.fromstring(content)
        found[root.findtext(f"{SVG}title", "")] = root
    return found


def said(picture: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in picture.iter(f"{SVG}text")]


def shapes(picture: ElementTree.Element, kind: str) -> list[ElementTree.Element]:
    return [path for path in picture.iter(f"{SVG}path") if kind in path.get("class", "").split()]


def test_each_distinct_grouping_has_one_picture(drawn: dict[str, ElementTree.Element]) -> None:
    """Twelve, not sixteen; each says in its title what it shows."""
    assert len(drawn) == 12
    assert "Heron + Plover | Tern + Curlew" in drawn


def test_groups_differ_in_tint_in_the_style_of_their_outline_and_in_words(
    drawn: dict[str, ElementTree.Element],
) -> None:
    """Never by colour alone: the styles have dashes of their own, and the legend names the zones."""
    picture = drawn["Heron + Plover | Tern + Curlew"]
    assert {shape.get("class") for shape in shapes(picture, "group")} == {"group look-0", "group look-1"}
    dashes = [line for line in pictures.STYLE.splitlines() if line.startswith(".look-")]
    assert len({line.partition("dasharray")[2] for line in dashes}) == pictures.LOOKS
    told = " ".join(said(picture))
    assert "Heron + Plover; Heron panel leads; 330 people; also act: Plover panel" in told
    assert "Tern + Curlew; Tern panel leads; 330 people" in told


def test_walls_are_drawn_open_or_closed_and_say_so(drawn: dict[str, ElementTree.Element]) -> None:
    """With their names; the legend says which line is which."""
    picture = drawn["Heron + Plover | Tern + Curlew"]
    walls = {wall.findtext(f"{SVG}title"): wall.get("class") for wall in shapes(picture, "wall")}
    assert walls == {
        "North wall: open": "wall open",
        "East wall: closed": "wall closed",
        "South wall: open": "wall open",
        "West wall: closed": "wall closed",
    }
    assert any("Thick line" in line for line in said(picture))


def test_zones_are_named_and_the_lead_is_at_its_home(drawn: dict[str, ElementTree.Element]) -> None:
    """All zones of the venue, those of no group too."""
    told = said(drawn["Heron + Plover | Tern + Curlew"])
    assert {"Heron", "Plover", "Tern", "Curlew", "Foyer", "Heron panel leads", "Tern panel leads"} <= set(told)
    assert "Plover panel leads" not in told


def test_walls_that_may_stand_closed_and_part_nothing_are_named(drawn: dict[str, ElementTree.Element]) -> None:
    """Where all four sections are one room, each of the four walls."""
    told = " ".join(said(drawn["Heron + Plover + Tern + Curlew"]))
    assert "they are flagged then: North wall, East wall, South wall, West wall." in told


def test_the_page_shows_all_pictures_with_words_and_cautions(tidewater: Loaded, tmp_path: Path) -> None:
    """Every picture that it names is there."""
    folder = tmp_path / "new" / "folder"
    told: list[tuple[str, int, int]] = []
    assert pictures.save(folder, tidewater, survey(tidewater), lambda *args: told.append(args)) == 12
    page = (folder / "index.html").read_text(encoding="utf-8")
    files = sorted(path.name for path in folder.glob("*.svg"))
    assert len(files) == 12
    assert all(f'src="{name}" alt="' in page for name in files)
    assert "not a safety function" in page
    assert told[-1] == ("pictures", 12, 12)


def test_names_that_look_like_markup_are_written_as_they_are(tmp_path: Path) -> None:
    """In pictures and on the page."""
    data = venues.row(2)
    data["zones"]["a"] = {**data["zones"]["a"], "name": '<b> & "c"'}
    loaded = with_plan(data, {"a": square(0, 0), "b": square(10, 0)})
    found = survey(loaded)
    titles = [ElementTree.fromstring(svg).findtext(f"{SVG}title", "") for _, svg in pictures.pictures(loaded, found)]
    assert titles == ['<b> & "c" | B', '<b> & "c" + B']
    assert "<b>" not in pictures.page(loaded, found)


def with_plan(data: dict[str, Any], outlines: dict[str, Any]) -> Loaded:
    data["zones"] = {zone: {**entry, "outline": outlines.get(zone)} for zone, entry in data["zones"].items()}
    data["partitions"] = {wall: {"line": None, **entry} for wall, entry in data["partitions"].items()}
    data["controllers"] = {key: {"name": key, **entry} for key, entry in data["controllers"].items()}
    return made(data)


def test_zones_without_an_outline_are_named_below_the_plan() -> None:
    """They are somewhere, and the legend still says who leads them."""
    loaded = with_plan(venues.row(2, combining=venues.lead_by_order("ab")), {"a": square(0, 0)})
    _, (_, svg) = pictures.pictures(loaded, survey(loaded))
    told = said(ElementTree.fromstring(svg))
    assert "Without an outline, and so not on the plan: B." in told
    assert any(line.startswith("A + B; a-panel leads") for line in told)


def test_a_venue_without_any_outline_is_told_in_words() -> None:
    """There is nothing to draw, and much to say."""
    loaded = with_plan(venues.row(2), {})
    for _, svg in pictures.pictures(loaded, survey(loaded)):
        assert shapes(ElementTree.fromstring(svg), "zone") == []


def test_no_more_pictures_are_drawn_than_anybody_looks_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """And the page says how many there are of how many."""
    monkeypatch.setattr(pictures, "PICTURES_MAX", 3)
    loaded = with_plan(venues.row(4), {})
    found = survey(loaded)
    assert len(list(pictures.pictures(loaded, found))) == 3
    assert "3 of the 8 groupings" in pictures.page(loaded, found)


def test_a_venue_without_walls_has_a_page_and_no_picture(tmp_path: Path) -> None:
    """The page says why."""
    loaded = with_plan(venues.venue("a"), {})
    assert pictures.save(tmp_path, loaded, survey(loaded)) == 0
    assert "No wall of this venue opens." in (tmp_path / "index.html").read_text(encoding="utf-8")


def area(ring: list[tuple[float, float]]) -> float:
    pairs = zip(ring, [*ring[1:], ring[0]], strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2


def test_the_outline_of_several_zones_has_no_side_that_two_of_them_share() -> None:
    """Two squares side by side are one oblong, however their corners run."""
    (ring,) = merged([square(0, 0), square(10, 0)[::-1]])
    assert sorted(ring) == [(0, 0), (0, 10), (20, 0), (20, 10)]


def test_a_side_may_be_shared_in_part() -> None:
    """The area is the sum of both, and the outline is one."""
    (ring,) = merged([square(0, 0), square(10, 4, 3)])
    assert area(ring) == pytest.approx(109)
    assert len(ring) == 8


def test_zones_that_do_not_touch_keep_an_outline_each() -> None:
    """An overflow, or a gap in the drawing."""
    assert [area(ring) for ring in merged([square(0, 0), square(30, 0, 5)])] == [100, 25]


def test_zones_around_a_yard_have_two_outlines() -> None:
    """The one around them all, and the one around what is in their midst."""
    around = [square(x, y) for x in (0, 10, 20) for y in (0, 10, 20) if (x, y) != (10, 10)]
    assert sorted(area(ring) for ring in merged(around)) == [100, 900]


def test_the_name_of_a_zone_is_written_within_it() -> None:
    """In the middle, or, where the middle lies outside, at the widest place at half height."""
    assert middle(square(2, 4)) == pytest.approx((7, 9))
    hook = [[0, 0], [10, 0], [10, 2], [2, 2], [2, 10], [0, 10]]
    assert middle(hook) == pytest.approx((1, 5))
