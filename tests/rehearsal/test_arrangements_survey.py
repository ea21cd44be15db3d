"""What every group comes to: lead, who acts, people, talk."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.spec import from_data
from roomlink.rehearsal.survey import Survey, survey
from roomlink.testing import venues
from roomlink.testing.driver import Driver
from roomlink.venue import Loaded

ZONES = "abcd"
PANELS = {**venues.panels(ZONES), "b-lectern": {"home": "b"}}


def loaded(data: dict[str, Any]) -> Loaded:
    """As loading would give it."""
    data = {"occupancy": [], "microphones": {}, "loudspeakers": {}, **data}
    return Loaded(data, "", from_data(data), [], {})


def surveyed(data: dict[str, Any], **options: Any) -> Survey:
    return survey(loaded(data), **options)


def combined(others: str, lead_order: str = "dba") -> dict[str, Any]:
    """A ring of four in which ``c`` never leads."""
    combining = {**venues.lead_by_order(lead_order), "others": others}
    return venues.ring(4, controllers=PANELS, combining=combining)


@pytest.mark.parametrize("others", ["mirror", "lock", "own"])
def test_leads_links_and_locks_are_those_of_the_core(others: str) -> None:
    """Oracle: the core itself in every arrangement, with each way of treating the other controllers."""
    data = combined(others)
    found = surveyed(data)
    (room,) = found.rooms
    driver = Driver(data, checked=False)
    arrangement = 0
    for step in range(1, room.possible):
        number = (step & -step).bit_length() - 1
        arrangement ^= 1 << number
        driver.wall(room.walls[number], "open" if arrangement >> number & 1 else "closed")
        for group in room.grouping(arrangement).groups:
            charge = found.charges[group]
            for controller in PANELS:
                if data["controllers"][controller]["home"] not in group:
                    continue
                role = driver.state.roles.get(controller)
                assert (role is not None and role.lead) == (charge.lead == controller)
                assert (role is not None and role.locked is not None) == (controller in charge.locked)
                if controller not in charge.locked:
                    assert set(driver.linked(controller)) == set(charge.acts[controller])
                else:
                    assert controller not in charge.acts


def test_the_lead_comes_first_of_those_who_act() -> None:
    """And is the first of the lead order whose home is in the group."""
    charge = surveyed(combined("mirror")).charges["a", "b", "c", "d"]
    assert charge.lead == "d-panel"
    assert next(iter(charge.acts)) == "d-panel"


def test_without_combining_nobody_leads_and_each_acts_at_home() -> None:
    """Open walls change no links then."""
    charge = surveyed(venues.row(2)).charges["a", "b"]
    assert charge.lead is None
    assert charge.acts == {"a-panel": ("a",), "b-panel": ("b",)}


def test_zones_that_no_controller_acts_on_are_named() -> None:
    """Alone, and in a group that nobody leads; not where the lead reaches them."""
    data = venues.row(3, controllers=venues.panels("a"), combining=venues.lead_by_order("a"))
    charges = surveyed(data).charges
    assert charges["b",].unreached == ("b",)
    assert charges["b", "c"].unreached == ("b", "c")
    assert charges["b", "c"].lead is None
    assert charges["a", "b", "c"].unreached == ()


def test_the_posted_number_is_that_of_exactly_these_zones() -> None:
    """In whatever order they are written; None is posted for any other."""
    charges = surveyed({**venues.row(2), "occupancy": [{"zones": ["b", "a"], "posted": 330}]}).charges
    assert charges["a", "b"].posted == 330
    assert charges["a",].posted is None


def test_talk_is_planned_for_each_group_where_somebody_talks_or_listens() -> None:
    """One plan a group, and none where there is nothing to plan."""
    sound = {
        "sound": {"temperature": 20.0, "own_zone_reduction": 6.0, "reference": None},
        "microphones": {"m": {"zone": "a", "at": [0.0, 0.0]}},
        "loudspeakers": {"l": {"zone": "a", "at": [3.0, 4.0]}},
    }
    charges = surveyed({**venues.row(2), **sound}).charges
    plan = charges["a", "b"].sound
    assert plan is not None
    assert (plan.zones, plan.talker, plan.gains) == (("a", "b"), "m", {"m": {"l": -6.0}})
    assert charges["b",].sound is None


def test_the_groupings_of_a_venue_are_all_combinations_of_its_rooms() -> None:
    """Rooms do not touch one another: 2 by 5 groupings, in 16 arrangements."""
    found = surveyed(venues.venue("abcdef", [("a", "b"), ("c", "d"), ("d", "e"), ("c", "e")]))
    assert (found.groupings, found.possible, found.every, found.seed) == (10, 16, True, None)
    assert found.alone == ("f",)
    assert found.charges["f",].acts == {"f-panel": ("f",)}


def test_a_venue_with_a_sampled_room_says_so() -> None:
    """With the seed, so that it can be repeated."""
    found = surveyed(venues.row(18), seed=3)
    assert (found.every, found.seed) == (False, 3)


def test_long_work_tells_how_far_it_is() -> None:
    """Arrangements first, then groups."""
    told: list[tuple[str, int, int]] = []
    surveyed(venues.row(3), tell=lambda *args: told.append(args))
    assert [what for what, done, of in told if done == of] == ["arrangements", "groups"]
