"""What rehearsals do with locks and leads, and how it is written: rows for the tables of ``steps``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from roomlink.core.commands import Actor, Command, ReleaseLock, ReportPanel, SetLock, TakeLead

Members = Mapping[str, Any]
Written = tuple[str, dict[str, Any]]

LOCK_KEYS = {
    "zone": "zone", "controller": "controller", "controls": "words", "for": "duration", "pin": "word", "why": "text",
}  # fmt: skip


def lock(by: Actor, m: Members) -> Command:
    """A rehearsal has no hash: its PIN stands for itself."""
    what = (m.get("zone"), m.get("controller"), tuple(m.get("controls", ())))
    return SetLock(by, m["object"], *what, m.get("for"), m.get("pin", ""), m.get("why", ""))


def unlock(by: Actor, m: Members) -> Command:
    """With a PIN whoever knows it, without one somebody whose role may."""
    return ReleaseLock(by, m["object"], "pin" not in m, m.get("pin", ""))


def lead(by: Actor, m: Members) -> Command:
    return TakeLead(by, m["object"])


def panel(by: Actor, m: Members) -> Command:
    """The panel is gone for so long that it leads no more, or there again; ``others`` have a panel."""
    return ReportPanel(by, m["object"], m["there"], tuple(m.get("others", ())))


def _lock_written(c: SetLock) -> Written:
    more = {"zone": c.zone, "controller": c.controller, "controls": list(c.controls) or None}
    return "lock", {"lock": c.lock, **more, "for": c.seconds, "pin": c.secret or None, "why": c.why or None}


def _panel_written(c: ReportPanel) -> Written:
    return "panel", {"panel": c.controller, "there": c.there, "others": list(c.others) or None}


WRITTEN: dict[type[Any], Callable[[Any], Written]] = {
    SetLock: _lock_written,
    ReleaseLock: lambda c: ("unlock", {"unlock": c.lock, "pin": None if c.entitled else c.secret}),
    TakeLead: lambda c: ("lead", {"lead": c.controller}),
    ReportPanel: _panel_written,
}
