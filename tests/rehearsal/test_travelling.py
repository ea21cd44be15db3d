"""What travels is held to its rules by the watch, which reckons by itself: a planted fault of each is found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.core import microphones, overflows, radio, sources
from roomlink.core.bookings import Wish
from roomlink.core.commands import AssignMicrophone, CreateBooking, EndOverflow, StartOverflow
from roomlink.core.events import ControlSet
from roomlink.core.records import Switch
from roomlink.core.spec import from_data
from roomlink.core.travel_events import OneWayEnded
from roomlink.rehearsal import proof, travelling
from roomlink.rehearsal.circumstances import PERSON
from roomlink.rehearsal.invariants import Broken
from roomlink.rehearsal.plan import Plan
from roomlink.rehearsal.steps import as_written, words
from roomlink.rehearsal.trial import Step, Trial
from roomlink.testing import venues

Plant = Callable[[pytest.MonkeyPatch], None]


def venue(count: int = 3) -> dict[str, Any]:
    section = {
        "program": venues.choice("laptop", "camera", sources=True, carries=["sound"], gap=0.3),
        "screen-left": venues.choice("laptop", sources=True, carries=["picture"]),
        "volume": venues.level(),
        "handheld-mute": venues.switch(start=True, section="sound"),
    }
    names = venues.names(count)
    controls = {names[0]: {**section, "lectern-mute": venues.switch(start=True, section="sound")}}
    data: dict[str, Any] = venues.row(count, controls=section, zone_controls=controls, wall={"settle": 1.0})
    data["venue_sources"] = {"music": {"name": "Music", "carries": ["sound"]}}
    data["microphones"] = {
        "lectern": {"name": "Lectern", "zone": names[0], "at": [0, 0], "mute": "lectern-mute"},
        "handheld": {
            "name": "Handheld", "zone": names[0], "at": None, "radio": True, "zones": names, "mute": "handheld-mute",
        },
    }  # fmt: skip
    return data


def test_every_move_of_a_wall_is_proved_with_overflows_and_open_microphones() -> None:
    """Of a venue that has both, and what belongs to no zone."""
    found = proof.prove(venue(4), processes=1)
    assert found.failure is None, str(found)
    assert (found.arrangements, found.transitions) == (8, 24)


def test_places_are_reckoned_as_people_would() -> None:
    """A zone's group, what flows over to it, and the venue; each choice by what it carries."""
    trial = Trial(venue())
    trial.begin()
    trial.do(StartOverflow(PERSON, "balcony", "a", "c", ("picture",)))
    plan = Plan.of(from_data(venue()))
    assert travelling.near(plan, trial.state, ("c", "program")) == {"c", "venue"}
    assert travelling.near(plan, trial.state, ("c", "screen-left")) == {"a", "c"}


def falls_back_for_nobody(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(sources, "drop_lost", lambda draft, zones, by="": None)


def takes_the_venues_for_a_zones(patch: pytest.MonkeyPatch) -> None:
    real = sources.drop_lost

    def drop_lost(draft: Any, zones: Any, by: str = "combining") -> None:
        with patch.context() as inside:
            inside.setattr(sources, "of_venue", lambda spec, choice: ())
            real(draft, zones, by)

    patch.setattr(sources, "drop_lost", drop_lost)


def ends_and_says_nothing(patch: pytest.MonkeyPatch) -> None:
    def end(draft: Any, name: str, why: str) -> None:
        draft.emit(OneWayEnded(name, why))

    patch.setattr(overflows, "_end", end)


def lets_a_wall_open_a_microphone(patch: pytest.MonkeyPatch) -> None:
    def open_parted(draft: Any, groups: Any, old_of: Any) -> None:
        record = Switch(False, draft.now, by="combining")
        draft.emit(ControlSet("a", "lectern-mute", record))

    patch.setattr(radio, "mute_parted", open_parted)


def leaves_a_radio_open(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(radio, "mute_parted", lambda draft, groups, old_of: None)


def carries_a_radio_open(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(radio, "_mute", lambda draft, microphone, zone, by: None)


def hears_through_walls(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(microphones, "reach", lambda state, microphone: tuple(state.spec.zones))


FAULTS: list[tuple[Plant, str]] = [
    (falls_back_for_nobody, "sources"),
    (takes_the_venues_for_a_zones, "venue"),
    (ends_and_says_nothing, "overflow"),
    (lets_a_wall_open_a_microphone, "microphones"),
    (leaves_a_radio_open, "microphones"),
    (carries_a_radio_open, "microphones"),
    (hears_through_walls, "microphones"),
]


@pytest.mark.parametrize(("plant", "rule"), FAULTS, ids=lambda one: getattr(one, "__name__", ""))
def test_a_planted_fault_is_found(plant: Plant, rule: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the rule that it breaks, and told in a few commands."""
    plant(monkeypatch)
    found = proof.prove(venue(), processes=1)
    assert found.failure is not None
    assert found.failure.rule == rule
    assert len(found.failure.steps) <= 6


def test_an_overflow_that_outlives_its_booking_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever the engine forgot to look."""
    monkeypatch.setattr(overflows, "end_with_bookings", lambda draft: None)
    trial = Trial(venue())
    trial.begin()
    start = trial.now + 10.0
    trial.do(CreateBooking(PERSON, "gala", Wish("gala@test", "Gala", start, start + 60.0, ("a",))), 20.0)
    trial.do(StartOverflow(PERSON, "balcony", "a", "c"), 0.0)
    with pytest.raises(Broken) as caught:
        trial.pass_time(100.0)
    assert caught.value.rule == "overflow"


def test_a_counterexample_says_what_was_done() -> None:
    """In the words of scenarios, which take them back."""
    said = [
        words(Step(StartOverflow(PERSON, "balcony", "a", "c", ("sound",)))),
        words(Step(EndOverflow(PERSON, "balcony"))),
        words(Step(AssignMicrophone(PERSON, "handheld", "b"))),
    ]
    assert said == [
        "overflow balcony, from a, to c, carries sound",
        "end overflow balcony",
        "assign handheld to b",
    ]
    spec = from_data(venue())
    for command in (
        StartOverflow(PERSON, "balcony", "a", "c"),
        EndOverflow(PERSON, "balcony"),
        AssignMicrophone(PERSON, "handheld", "b"),
    ):
        again = as_written(command).command(spec, 0.0)
        assert type(again) is type(command)
        assert again.by.who == "alex"
