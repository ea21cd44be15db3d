"""Open Sound Control 1.0: messages to addresses of a device, over UDP or TCP."""

from __future__ import annotations

from roomlink.drivers.osc.link import make
from roomlink.drivers.osc.models import OscConfig, OscPoint, point_name
from roomlink.drivers.port import Driver

DRIVER = Driver(
    name="osc",
    config=OscConfig,
    point=OscPoint,
    make=make,
    point_name=point_name,
    conformity=(
        "Sends OSC 1.0 messages with one argument over UDP, or over TCP in SLIP frames; hears messages and bundles, "
        "whatever their time tags, at the very addresses of its points: incoming address patterns are not expanded."
    ),
)
