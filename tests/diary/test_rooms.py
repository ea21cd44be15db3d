"""Names of rooms in calendars, and the zones that they stand for."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomlink.diary.rooms import Rooms
from tests.diary.desk import harbour


@pytest.fixture
def rooms(tmp_path: Path) -> Rooms:
    return Rooms(harbour(tmp_path).state.spec)


@pytest.mark.parametrize(
    ("places", "zones", "unknown"),
    [
        (("Ballroom A",), ("heron",), ()),
        (("  ballroom   a ",), ("heron",), ()),
        (("Ballroom AB",), ("heron", "plover"), ()),
        (("Tern", "plover"), ("plover", "tern"), ()),
        (("Ballroom A; Tern",), ("heron", "tern"), ()),
        (("Ballroom A, Ballroom B",), ("heron", "plover"), ()),
        (("Heron and Tern",), ("heron", "tern"), ()),
        (("Heron + Plover",), ("heron", "plover"), ()),
        (("Ballroom A, Main Street 1",), ("heron",), ("Main Street 1",)),
        (("Town hall",), (), ("Town hall",)),
        ((), (), ()),
    ],
)
def test_a_place_stands_for_zones(rooms: Rooms, places: tuple[str, ...], zones: object, unknown: object) -> None:
    """Whole names first, then what stands between commas and the like; capitals and spaces do not count."""
    assert rooms.zones(places) == (zones, unknown)


def test_zones_have_the_name_that_calendars_know(rooms: Rooms) -> None:
    """The room that is exactly these zones, or one name for each."""
    assert rooms.name(("heron", "plover")) == "Ballroom AB"
    assert rooms.name(("heron",)) == "Ballroom A"
    assert rooms.name(("heron", "tern")) == "Ballroom A, Tern"
    assert rooms.zones((rooms.name(("heron", "tern")),))[0] == ("heron", "tern")
