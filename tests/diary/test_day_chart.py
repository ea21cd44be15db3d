"""The day's drawing, read as XML: what stands where, in which words, and what is not told."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from roomlink.core import turn_view
from roomlink.core.commands import CreateBooking, TickMove
from roomlink.core.instants import day_of, of_day
from roomlink.diary.day_chart import LEFT, RIGHT, chart
from roomlink.diary.drawn_words import fitted, plain, wrapped
from roomlink.testing import venues
from roomlink.testing.driver import FIRST_STAMP, PLAIN, Driver
from tests.core.booked import cancel, data, wish

SVG = "{http://www.w3.org/2000/svg}"
TODAY = date.fromordinal(day_of("UTC", FIRST_STAMP) + 1)
START = of_day("UTC", TODAY.toordinal())
HOUR = 3600.0
EASTER = date(2026, 3, 29)
AUTUMN = date(2026, 10, 25)


def book(driver: Driver, zones: str, start: float, end: float, *, name: str = "b", **more: Any) -> None:
    """In hours of the day that is drawn."""
    begin = (START - FIRST_STAMP) / 60.0
    driver.do(CreateBooking(PLAIN, name, wish(zones, begin + 60.0 * start, begin + 60.0 * end, **more)))


def drawn(driver: Driver, day: date = TODAY, now: float = FIRST_STAMP) -> ET.Element:
    return ET.fromstring(chart(driver.state, day, now, turn_view.day(driver.state, day.toordinal(), now)))


def titles(drawing: ET.Element, kind: str) -> list[str]:
    return [group.findtext(f"{SVG}title", "") for group in drawing.iter(f"{SVG}g") if group.get("class") == kind]


def said(drawing: ET.Element) -> list[str]:
    """All words that are written on it."""
    return [text.text or "" for text in drawing.iter(f"{SVG}text")]


def boxes(drawing: ET.Element, kind: str = "of") -> list[tuple[float, float, float, float]]:
    """x, y, width, height of what is framed in the bookings."""
    groups = [group for group in drawing.iter(f"{SVG}g") if group.get("class") == "booking"]
    return [
        (float(r.get("x", 0)), float(r.get("y", 0)), float(r.get("width", 0)), float(r.get("height", 0)))
        for group in groups for r in group.findall(f"{SVG}rect") if r.get("class") == kind
    ]  # fmt: skip


@pytest.fixture
def driver() -> Driver:
    return Driver(data())


def test_a_booking_stands_at_its_hours_with_set_up_and_clear_down_around_it(driver: Driver) -> None:
    """From 11 to 17 framed, from 12 to 16 its body; 24 hours go from side to side."""
    book(driver, "a", 12, 16, set_up=HOUR, clear_down=HOUR, attendance=80)
    drawing = drawn(driver)
    hour = (RIGHT - LEFT) / 24.0
    ((x, _, width, _),), ((inner, _, body, _),) = boxes(drawing), boxes(drawing, "body")
    assert (x, width) == pytest.approx((LEFT + 11 * hour, 6 * hour), abs=0.2)
    assert (inner, body) == pytest.approx((LEFT + 12 * hour, 4 * hour), abs=0.2)
    assert titles(drawing, "booking") == [
        "Gala, A, 12:00 to 16:00; set-up from 11:00; clear-down until 17:00; 80 people"
    ]


def test_neighbours_of_one_booking_are_one_frame_and_others_are_tied_by_a_strut(driver: Driver) -> None:
    """One sees that they are one room, and it is said where they do not lie side by side."""
    book(driver, "ab", 8, 10, name="side")
    book(driver, "ac", 12, 16, name="apart")
    drawing = drawn(driver)
    (_, _, _, single), (_, _, _, double) = sorted(boxes(drawing), key=lambda box: box[3])[::2]
    assert double > 2 * single
    assert len([path for path in drawing.iter(f"{SVG}path") if path.get("class") == "strut"]) == 1
    ties = [words for words in said(drawing) if "one room with" in words]
    assert ties == ["one room with C", "one room with A"]


def test_what_is_private_has_neither_title_nor_people(driver: Driver) -> None:
    """Its time is drawn as any other's."""
    book(driver, "a", 12, 16, title="Secret board", private=True, attendance=7)
    text = chart(driver.state, TODAY, FIRST_STAMP)
    assert "Secret" not in text
    assert "7 people" not in text
    assert "In use, A, 12:00 to 16:00" in text


def test_a_cancelled_booking_is_not_drawn_and_a_tentative_one_is_dashed(driver: Driver) -> None:
    """And said to be tentative."""
    book(driver, "a", 12, 16, name="gone")
    cancel(driver, "gone")
    book(driver, "b", 12, 16, status="tentative")
    drawing = drawn(driver)
    assert titles(drawing, "booking") == ["Gala, B, 12:00 to 16:00; tentative"]
    assert [r.get("stroke-dasharray") for r in drawing.iter(f"{SVG}rect") if r.get("class") == "of"] == ["9 5"]


def test_the_walls_to_be_moved_stand_at_their_windows_with_their_names(driver: Driver) -> None:
    """Until when, from when, and whether it is ticked off."""
    book(driver, "b", 8, 12, name="before")
    book(driver, "ab", 13, 16, name="after")
    moves = {move["partition"]: move for turn in turns(driver) for move in turn["moves"] if move["to"] == "open"}
    driver.do(TickMove(PLAIN, "a-b", moves["a-b"]["key"], True, ""))
    drawing = drawn(driver)
    assert titles(drawing, "move") == [
        "a-b, between A and B: to be open by 13:00, not before 12:00; ticked off by program"
    ]
    assert "open by 13:00 \N{CHECK MARK}" in said(drawing)


def turns(driver: Driver) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = turn_view.day(driver.state, TODAY.toordinal(), FIRST_STAMP)["turns"]
    return found


def test_what_the_crews_cannot_make_is_said_on_top() -> None:
    """In words, as the turn list has them."""
    driver = Driver(data(crews={"day": {"name": "Day", "start": 480, "end": 1080}}))
    book(driver, "b", 8, 12, name="before")
    book(driver, "ab", 12.1, 16, name="after")
    assert any("Cannot be done as it stands" in words for words in said(drawn(driver)))


@pytest.mark.parametrize(("day", "hours"), [(EASTER, 23), (AUTUMN, 25), (date(2026, 3, 30), 24)])
def test_a_day_has_the_hours_that_it_has(day: date, hours: int) -> None:
    """23 or 25 where the clocks change, each at its place, and it is said."""
    zone = {"id": "trial", "name": "Trial", "timezone": "Europe/Lisbon"}
    driver = Driver({**venues.row(2), "venue": zone})
    drawing = drawn(driver, day)
    marks = [(text.text or "", float(text.get("x", 0))) for text in drawing.iter(f"{SVG}text")]
    clock = [(words, x) for words, x in marks if words[:2].isdigit()]
    assert len(clock) == hours
    steps = {round(b[1] - a[1], 0) for a, b in pairwise(clock)}
    assert max(steps) - min(steps) <= 1.0
    assert any(f"The clocks change: {hours} hours" in words for words, _ in marks) == (hours != 24)
    assert [words for words, _ in clock if len(words) > 2] == {23: ["02 WEST"], 25: ["01 WET"], 24: []}[hours]


def test_now_is_drawn_on_its_own_day_alone(driver: Driver) -> None:
    """A line with its time."""
    assert "now 09:30" in said(drawn(driver, TODAY, START + 9.5 * HOUR))
    assert not [words for words in said(drawn(driver, TODAY, START - 60.0)) if words.startswith("now")]


def test_one_goes_to_the_days_beside_it_and_to_the_crews_page(driver: Driver) -> None:
    """By plain links."""
    links = [link.get("href") for link in drawn(driver, date(2026, 3, 1)).iter(f"{SVG}a")]
    assert {"/day?day=2026-02-28", "/day?day=2026-03-02", "/crew?day=2026-03-01"} <= {*links}


def test_words_of_others_are_safe_in_it(driver: Driver) -> None:
    """Markup stays text, and what no XML may have is left out."""
    book(driver, "a", 12, 16, title='<script>"&\x08\ud800</script>')
    assert titles(drawn(driver), "booking") == ['<script>"&</script>, A, 12:00 to 16:00']


def test_nothing_in_it_needs_an_inline_style(driver: Driver) -> None:
    """The content security policy allows none; the stylesheet is a file of the kit."""
    book(driver, "ab", 12, 16)
    text = chart(driver.state, TODAY, START)
    assert "style=" not in text
    assert "<style" not in text
    assert '<?xml-stylesheet href="/web/styles/day.css"' in text


def test_long_words_are_broken_and_cut_to_the_room_there_is() -> None:
    """By words where they can be, and with an ellipsis where there is more."""
    assert wrapped("annual general meeting", 80.0, 16.0, 3) == ["annual", "general", "meeting"]
    assert wrapped("annual general meeting", 80.0, 16.0, 2) == ["annual", "general\N{HORIZONTAL ELLIPSIS}"]
    assert fitted("short", 500.0, 16.0) == "short"
    assert plain("a\x00b") == "ab"
