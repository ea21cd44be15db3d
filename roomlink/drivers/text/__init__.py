"""Lines of text over TCP, UDP or a serial port: commands, answers and reports as the venue writes them."""

from __future__ import annotations

from roomlink.drivers.port import Driver
from roomlink.drivers.text.config import TextConfig, TextPoint, lines_of
from roomlink.drivers.text.link import TextDevice


def point_name(config: TextConfig, point: TextPoint) -> str:
    """The line that drives it, or by which it reports, with the constants in place: ``SET 3 VOL {value}``."""
    lines = lines_of(config, point)
    return str(lines.send or lines.report or lines.expect)


DRIVER = Driver(
    name="text",
    config=TextConfig,
    point=TextPoint,
    make=TextDevice,
    point_name=point_name,
    conformity=(
        "Speaks lines of text that the venue writes, in ASCII or UTF-8, over TCP, UDP or a serial port (RS-232 and the "
        "like); no published protocol is claimed."
    ),
)
