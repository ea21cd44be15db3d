"""A level may say which mute goes off when a hand raises it (``unmute_on_raise``). Diary and walls never do that."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from roomlink.core import locks, orders
from roomlink.core.commands import Act
from roomlink.core.records import Level
from roomlink.core.spec import LevelSpec, SwitchSpec
from roomlink.core.state import Draft


def follow(draft: Draft, command: Any, zones: Iterable[str]) -> None:
    """At the end of a decision: where a hand raised such a level in ``zones``, its mute goes off."""
    if not isinstance(command, Act) or command.do not in ("raise", "set", "step"):
        return
    for zone in zones:
        controls = draft.spec.zones[zone].controls
        spec = controls.get(command.control)
        if not isinstance(spec, LevelSpec) or not spec.unmute_on_raise or not _raised(draft, command, zone):
            continue
        mute = spec.unmute_on_raise
        if isinstance(controls.get(mute), SwitchSpec) and locks.covering(draft, zone, mute) is None:
            orders.set_switch(draft, zone, mute, False, by=command.controller or command.by.who)


def _raised(draft: Draft, command: Act, zone: str) -> bool:
    """Whether the level goes up by this: held up, or set higher than it was."""
    before, now = draft.beneath.controls.get((zone, command.control)), draft.controls[zone, command.control]
    if not isinstance(before, Level) or not isinstance(now, Level):
        return False
    return command.do == "raise" or now.to > before.at(draft.now)
