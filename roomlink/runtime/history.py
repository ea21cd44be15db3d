"""What was so at an earlier time: a fold of the journal up to then."""

from __future__ import annotations

import asyncio
from typing import Any

from roomlink.core import discretion, view
from roomlink.core.apply import apply
from roomlink.core.state import State
from roomlink.errors import BadValue
from roomlink.journal.port import Compacting, Journal
from roomlink.journal.recovery import fold


async def state_at(journal: Journal, at: float, now: float) -> tuple[State, int]:
    """The state at the stamp ``at`` and its journal position. Raises ``BadValue`` for a time without a state."""
    if at > now:
        raise BadValue("at", f"{view.rfc3339(at)} lies ahead; it is {view.rfc3339(now)} now")
    state, seq, _ = await asyncio.to_thread(fold, journal, at, empty=State, apply=apply)
    if not state.digest:
        raise BadValue("at", f"nothing was recorded yet at {view.rfc3339(at)}")
    return state, seq


async def view_at(journal: Journal, at: float, now: float, known: State, *, may_see: bool = False) -> dict[str, Any]:
    """All state as it was at ``at``; what is private by what is ``known`` now is so then as well."""
    state, seq = await state_at(journal, at, now)
    for event in () if may_see else discretion.as_known(state, known):
        apply(state, event)
    seen = view.whole(state, seq, at, may_see=may_see)
    gap = await asyncio.to_thread(journal.thinned, at) if isinstance(journal, Compacting) else None
    if gap is not None:
        note = "level changes of that time were made small, as the configuration says: levels are those before it"
        seen["compacted"] = {"from": view.rfc3339(gap[0]), "to": view.rfc3339(gap[1]), "note": note}
    return seen
