"""The control kind ``motion``: a screen, shade or lift. It is stricter than the others: a motor cannot be undone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field

from roomlink.core.spec import Value
from roomlink.venue.base import ControlBase, Fault
from roomlink.venue.fields import Duration, Flag, LastingDuration, plain

DEAD_TIME_S_MIN, DEAD_TIME_S_MAX = 0.5, 10.0
"""Bounds of the rest before reversing; 0.5 to 2 s is common practice, no source."""
MAX_RUN_RATIO_MAX = 2.0
"""The longest run as a multiple of the measured travel, at most; 1.2 to 1.5 is common practice, no source."""

UNWATCHED = (
    "without hold it runs on after one touch until it is stopped or its longest run is over, whether or not anybody "
    "looks; see ISO 14118:2017 Safety of machinery — Prevention of unexpected start-up"
)


class Motion(ControlBase):
    """Open, close and stop of something that moves. An operable partition is none: it is sensed, never driven."""

    kind: Literal["motion"] = Field(description="motion")
    travel: LastingDuration = Field(description="the time from end to end as measured on site, such as 20s")
    max_run: LastingDuration = Field(description="the longest run at all: 1.2 to 1.5 times travel is common practice")
    dead_time: Duration = Field(
        1.0, description="the least rest before reversing, 500ms to 10s", json_schema_extra={"default": "1s"}
    )
    hold: Flag = Field(True, description="whether it runs only while somebody holds it")
    scope: Literal["group", "local"] = Field("local", description="motion stays with its zone when walls open")

    def faults(self) -> Iterator[Fault]:
        if self.max_run < self.travel:
            text = f"it would stop after {plain(self.max_run)}s, before the end of its travel of {plain(self.travel)}s"
            yield Fault(text, f"{self._practice()}", "max_run")
        elif self.max_run > self.travel * MAX_RUN_RATIO_MAX:
            text = f"it could push for {plain(self.max_run)}s, and its travel takes {plain(self.travel)}s"
            yield Fault(text, f"{self._practice()}", "max_run")
        if not DEAD_TIME_S_MIN <= self.dead_time <= DEAD_TIME_S_MAX:
            right = "write 500ms to 10s; 500ms to 2s is common practice, no source"
            yield Fault(f"{plain(self.dead_time)}s is no rest before reversing", right, "dead_time")
        if not self.hold:
            yield Fault(UNWATCHED, "write hold: true, or leave it out", "hold", severity="warning")

    def _practice(self) -> str:
        low, most = plain(self.travel), plain(self.travel * MAX_RUN_RATIO_MAX)
        return f"write {low}s to {most}s; 1.2 to 1.5 times the measured travel is common practice, no source"

    def take(self, raw: object) -> Value | Fault:
        text = "a motion takes no value: people hold it to move it, and an override stops it by itself"
        return Fault(text, "leave it out")

    def members(self) -> dict[str, Any]:
        return {"travel": self.travel, "max_run": self.max_run, "dead_time": self.dead_time, "hold": self.hold}
