"""``simulation.venues``, ``place`` and ``commands``: what dice make is whole, and is the same for the same dice."""

from __future__ import annotations

import json
from random import Random

import pytest

from roomlink.core.commands import Act
from roomlink.core.spec import from_data
from roomlink.drivers.registry import Registry
from roomlink.runtime.wiring import wire
from roomlink.simulation.commands import COMMANDS, random_command
from roomlink.simulation.place import place_of
from roomlink.simulation.venues import CHANGES, VARIANTS, random_venue, variants

SEEDS = range(25)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_variant_of_a_venue_is_whole(seed: int) -> None:
    """Nothing names what is not there: leads, scenes, bindings, overrides, routines, reaches."""
    dice = Random(seed)
    found = variants(random_venue(dice), dice)
    assert len(found) == VARIANTS
    for data in found:
        spec = from_data(data)
        wire(spec, Registry.of())
        zones = spec.zones
        assert set(spec.combining.lead_order if spec.combining else ()) <= spec.controllers.keys()
        assert all(binding.control in zones[binding.zone].controls for binding in spec.bindings)
        assert all(set(wall.between) <= zones.keys() for wall in spec.partitions.values())
        assert all(one.home in zones and set(one.reach or ()) <= zones.keys() for one in spec.controllers.values())
        assert all(routine.scene in spec.scenes for routine in spec.routines.values())


def test_the_same_dice_make_the_same_venue_and_the_same_commands() -> None:
    """And others make others."""

    def made(seed: int) -> str:
        dice = Random(seed)
        found = variants(random_venue(dice), dice)
        place = place_of(found)
        return json.dumps(found) + repr([random_command(dice, place, 0.0) for _ in range(50)])

    assert made(1) == made(1)
    assert made(1) != made(2)


def test_every_kind_of_command_comes_up() -> None:
    """And orders of every kind."""
    dice = Random(0)
    place = place_of(variants(random_venue(dice), dice))
    seen = [random_command(dice, place, 0.0) for _ in range(1500)]
    assert {type(command).__name__ for command in seen} == set(COMMANDS)
    orders = {command.do for command in seen if isinstance(command, Act)}
    held = {"raise", "lower", "press", "release", "open", "close"}
    assert orders == {"set", "step", "toggle", "align", "stop", *held}


@pytest.mark.parametrize("change", CHANGES)
def test_every_change_of_a_configuration_changes_something(change: object) -> None:
    """In some venue at least."""
    assert callable(change)
    for seed in SEEDS:
        dice = Random(seed)
        data = random_venue(dice)
        before = json.dumps(data)
        change(data, dice)
        if json.dumps(data) != before:
            return
    raise AssertionError("it changes nothing")
