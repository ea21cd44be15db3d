"""Simulated devices for demonstrations, rehearsals and tests, with faults to switch on."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from roomlink.drivers.port import Driver
from roomlink.drivers.simulated.bench import Bench
from roomlink.drivers.simulated.link import SimulatedConfig, SimulatedPoint, make, point_name


def driver(bench: Bench) -> Driver:
    """The driver whose devices stand on ``bench``."""
    return Driver(
        name="simulated",
        config=SimulatedConfig,
        point=SimulatedPoint,
        make=partial(make, bench),
        point_name=point_name,
        conformity="Drives nothing real: it stands in for a device in demonstrations, rehearsals and tests.",
    )


DRIVER = replace(driver(Bench()), make=lambda config, points: make(Bench(), config, points))
"""Where nobody holds a bench: each device works on one of its own, and has no faults."""
