"""ANSI E1.31: one universe of 512 channels over UDP, for dimmers and luminaires."""

from __future__ import annotations

from roomlink.drivers.e131.link import E131Device
from roomlink.drivers.e131.models import E131Config, E131Point, overlaps, point_name
from roomlink.drivers.port import Driver

DRIVER = Driver(
    name="e131",
    config=E131Config,
    point=E131Point,
    make=E131Device,
    point_name=point_name,
    native=(0.0, 1.0),
    overlaps=overlaps,
    conformity=(
        "Sends ANSI E1.31 data packets with start code 0 over IPv4, multicast or unicast, with keep-alive and "
        "termination; neither synchronization packets nor universe discovery."
    ),
)
