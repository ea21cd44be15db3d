"""The sections bookings, routines and crews, and how long a wall takes to move."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.core.spec import BookingsSpec, RoutineSpec
from roomlink.runtime.schedules import trigger
from roomlink.venue import Finding, Loaded
from roomlink.venue.diary import minutes
from roomlink.venue.diary_models import DAYS

Spoilt = Callable[[str, Any], dict[str, Any]]
OFF: dict[str, Any] = {"scene": "dinner", "cron": {"hour": 23, "minute": 30, "day_of_week": "mon-fri"}}


def test_a_venue_that_says_nothing_has_no_set_up_and_only_flags(venue: Callable[..., Loaded], sound: Any) -> None:
    """And neither routines nor crews."""
    spec = venue(sound).spec
    assert (spec.bookings, dict(spec.routines)) == (BookingsSpec(0.0, 0.0, "flag", 600.0, (900.0, 1800.0)), {})
    assert (spec.data["crews"], spec.data["partitions"]["heron-plover"]["move_minutes"]) == ({}, None)


def test_times_of_bookings_are_seconds(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """Written as durations like everywhere."""
    tree = spoilt("bookings", {"set_up": "30min", "clear_down": "15min", "infeasible": "refuse"})
    assert venue(tree).spec.bookings == BookingsSpec(1800.0, 900.0, "refuse", 600.0, (900.0, 1800.0))


def test_a_routine_is_resolved_with_all_its_fields(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """And APScheduler takes them as they are."""
    routine = venue(spoilt("routines", {"all-off": {**OFF, "over": "3s", "when_busy": "defer"}})).spec.routines[
        "all-off"
    ]
    cron = {"minute": "30", "hour": "23", "day": "*", "month": "*", "day_of_week": "mon-fri"}
    assert routine == RoutineSpec("dinner", cron, None, 3.0, "defer", "All off")
    assert "hour='23'" in str(trigger(routine.cron, "America/Halifax"))


@pytest.mark.parametrize("field", ["*", "*/5", "5", 5, "1,3,5", "1-5", "1-9/2", "1-3, 5"])
def test_a_cron_field_is_a_list_of_values_ranges_and_steps(
    venue: Callable[..., Loaded], spoilt: Spoilt, field: Any
) -> None:
    """Whatever is taken here, APScheduler takes too."""
    loaded = venue(spoilt("routines", {"x": {"scene": "dinner", "cron": {"hour": field}}}))
    trigger(loaded.spec.routines["x"].cron, "UTC")


@pytest.mark.parametrize(
    ("member", "value", "text"),
    [
        ("cron.hour", 24, "'24' is not allowed here"),
        ("cron.hour", "5-3", "'5-3' ends before it begins"),
        ("cron.hour", "noon", "'noon' is not allowed here"),
        ("cron.hour", "1--3", "'1--3' is not a cron field"),
        ("cron.hour", True, "true is not a cron field"),
        ("cron.minute", "*/0", "'*/0' is not a cron field"),
        ("cron.day", 0, "'0' is not allowed here"),
        ("cron.day_of_week", 1, "'1' is not allowed here"),
        ("cron.second", 1, "second"),
        ("cron", ..., "'cron' is missing"),
        ("scene", "supper", "there is no scene named 'supper'"),
        ("zones", [], "no zone is listed"),
        ("zones", ["attic"], "there is no zone named 'attic'"),
        ("when_busy", "wait", "wait"),
    ],
)
def test_a_routine_that_is_not_sound_is_told(
    faults: Callable[..., list[Finding]], spoilt: Spoilt, member: str, value: Any, text: str
) -> None:
    """At its key, with what would be right."""
    tree = spoilt("routines", {"all-off": {**OFF, "cron": dict(OFF["cron"])}})
    around: Any = tree["routines"]["all-off"]
    *way, last = member.split(".")
    for part in way:
        around = around[part]
    if value is ...:
        del around[last]
    else:
        around[last] = value
    findings = faults(tree)
    assert text in "\n".join(map(str, findings))
    assert all(finding.key.startswith("routines.all-off") for finding in findings)


def test_a_routine_needs_a_zone_that_its_scene_is_for(faults: Callable[..., list[Finding]], spoilt: Spoilt) -> None:
    """Or it would never do anything."""
    (finding,) = faults(spoilt("routines", {"all-off": {**OFF, "zones": ["foyer"]}}))
    assert "dinner is for none of these zones" in str(finding)


def test_crews_have_their_hours_in_minutes_of_the_day(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """The whole day if nothing is said."""
    tree = spoilt("crews", {"evening": {"start": "17:00", "end": "01:30"}, "always": {}})
    assert venue(tree).data["crews"] == {
        "evening": {"name": "Evening", "start": 1020, "end": 90},
        "always": {"name": "Always", "start": 0, "end": 1440},
    }
    assert (minutes("00:00"), minutes("23:59")) == (0, 1439)


@pytest.mark.parametrize("time", ["24:30", "7:00", "noon", 420])
def test_a_time_of_day_is_written_with_two_digits(
    faults: Callable[..., list[Finding]], spoilt: Spoilt, time: Any
) -> None:
    """In quotes, as YAML 1.1 would take 17:00 for a number."""
    (finding,) = faults(spoilt("crews", {"evening": {"start": time}}))
    assert "is not a time of day" in str(finding)


def test_a_wall_says_how_long_a_crew_takes_to_move_it(
    venue: Callable[..., Loaded], faults: Callable[..., list[Finding]], spoilt: Spoilt
) -> None:
    """In minutes; never less than nothing."""
    data = venue(spoilt("partitions.heron-plover.move_minutes", 12.5)).data
    assert data["partitions"]["heron-plover"]["move_minutes"] == 12.5
    (finding,) = faults(spoilt("partitions.heron-plover.move_minutes", -1))
    assert "below 0" in str(finding)


def test_the_days_are_those_of_the_scheduler() -> None:
    """From Monday, by name."""
    assert trigger({"day_of_week": ",".join(DAYS)}, "UTC") is not None
