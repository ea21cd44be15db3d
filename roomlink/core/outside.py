"""What the runtime has to put down about the world outside: who was told how far."""

from __future__ import annotations

from typing import Any

from roomlink.core.commands import NoteTold
from roomlink.core.events import Told
from roomlink.core.state import Draft

Data = dict[str, Any]


def note_told(draft: Draft, command: NoteTold) -> Data:
    """A webhook has been told everything up to a position, but for what failed."""
    known = draft.told.get(command.webhook)
    if command.upto is None:
        if known is not None:
            draft.emit(Told(command.webhook, None, ()))
    elif known != (command.upto, command.failed):
        draft.emit(Told(command.webhook, command.upto, command.failed))
    return {"zones": []}
