"""Devices that are called over HTTP, with requests and reports as the venue writes them."""

from __future__ import annotations

from roomlink.drivers.http.config import HttpConfig, HttpPoint, point_name
from roomlink.drivers.http.link import HttpDevice
from roomlink.drivers.port import Driver

DRIVER = Driver(
    name="http",
    config=HttpConfig,
    point=HttpPoint,
    make=HttpDevice,
    point_name=point_name,
    conformity=(
        "Calls over HTTP/1.1 (RFC 9110 and 9112) with JSON bodies (RFC 8259), in the clear or over TLS; follows no "
        "redirects, unpacks no compressed answers."
    ),
)
