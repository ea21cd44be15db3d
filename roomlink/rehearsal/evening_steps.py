"""What rehearsals do of an evening and look at then: ends, routines that wait, marks on walls, the crew's list.

Rows for the tables of ``steps`` and ``expect``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from roomlink.core import closings, discretion, endings, turn_view
from roomlink.core.bookings import BEFORE_THE_END
from roomlink.core.commands import Actor, Command, RunRoutine, TickMove
from roomlink.core.evening_records import AnnounceRoutine, KeepOn, MarkWall, ProlongDate, UnmarkWall
from roomlink.core.state import State

Members = Mapping[str, Any]
Data = dict[str, Any]


def prolong(by: Actor, m: Members) -> Command:
    """The date of a booking that is on ends ``for`` seconds later; ``panel``: it is said there."""
    return ProlongDate(by, m["object"], _on(m["state"], m["object"]), m["for"], m.get("panel"))


def _on(state: State, booking: str) -> str:
    """The key of the date that is on, else of the first."""
    keys = state.dates.get(booking, ())
    return next((key for key in keys if state.occurrences[booking, key].phase in BEFORE_THE_END), next(iter(keys), ""))


def routine(by: Actor, m: Members) -> Command:
    """It is due now, or with ``due`` people are told that it will be then."""
    if "due" in m:
        return AnnounceRoutine(by, m["object"], m["now"] + m["due"])
    return RunRoutine(by, m["object"], m["now"])


def keep_on(by: Actor, m: Members) -> Command:
    zones = tuple(m["zones"]) if "zones" in m else None
    return KeepOn(by, m["object"], zones, m.get("panel"))


def mark(by: Actor, m: Members) -> Command:
    return MarkWall(by, m["object"], m["why"])


def unmark(by: Actor, m: Members) -> Command:
    return UnmarkWall(by, m["object"])


def tick(by: Actor, m: Members) -> Command:
    """Tick off what the crew's list of today asks of a wall, for the booking ``of``."""
    move = moves(m["state"], m["now"]).get((m["object"], m["of"]), {})
    return TickMove(by, m["object"], move.get("key", ""), m.get("done", True))


# Looking


def moves(state: State, now: float) -> dict[tuple[str, str], Data]:
    """(wall, booking) to the move that the crew's list of today has."""
    today = datetime.fromtimestamp(now, UTC).astimezone(ZoneInfo(state.spec.timezone)).toordinal()
    found = turn_view.day(state, today, now)["turns"]
    return {(move["partition"], turn["booking"]): move for turn in found for move in turn["moves"]}


def offers(state: State, zone: str) -> list[float]:
    """By how many minutes the guests of a zone, told that their time ends, may have it longer."""
    return [offer["minutes"] for told in endings.told(state, [zone]) for offer in told["offers"]]


def is_told(state: State, zone: str) -> bool:
    """Whether people in a zone are told that their time ends."""
    return bool(endings.told(state, [zone]))


def waiting(state: State, zone: str) -> str:
    """What people in a zone are told of routines: ``none``, ``waits``, or ``warned``."""
    told = closings.told(state, [zone])
    return "none" if not told else "warned" if any(one["warned"] for one in told) else "waits"


def hidden(state: State) -> Iterable[str]:
    """The zones of which only this is told, that they are in use."""
    return [zone for zone in state.spec.zones if discretion.veiled(state, zone)]


MOVE_KEYS = {
    "to": "position", "now": "position", "ticked": "flag", "disagrees": "flag", "late": "flag", "after": "words",
    "marked": "flag", "door": "text",
}  # fmt: skip


def move_as_seen(move: Data) -> Data:
    """A move of the crew's list in the words of a scenario."""
    return {
        **{key: move[key] for key in ("to", "now", "disagrees", "late", "after")},
        "ticked": move["tick"] is not None,
        "marked": move["do_not_move"] is not None,
        "door": move["pass_door"],
    }
