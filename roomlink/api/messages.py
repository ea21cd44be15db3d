"""What a message of a panel's socket asks of the core: one row a message."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from roomlink.api import models
from roomlink.core.commands import (
    Act,
    Actor,
    CombineWall,
    Command,
    KeepOn,
    LinkZone,
    ProlongDate,
    RecallScene,
    TakeLead,
    Unlink,
)


def command_of(message: models.Message, by: Actor, controller: str) -> Command:
    """The command that ``message`` stands for, from the panel of ``controller``."""
    return _MAKE[type(message)](by, controller, message)


def _act(by: Actor, controller: str, m: models.ActMessage) -> Command:
    return Act(by, m.control, m.do, controller, None, m.value, m.over, m.for_, "value" in m.model_fields_set)


def _link(by: Actor, controller: str, m: models.LinkMessage) -> Command:
    return LinkZone(by, controller, m.zone) if m.type == "link" else Unlink(by, controller, m.zone)


def _extend(by: Actor, controller: str, m: models.ExtendMessage) -> Command:
    return ProlongDate(by, m.booking, m.occurrence, m.minutes * 60.0, controller)


_MAKE: dict[type[models.Message], Callable[[Actor, str, Any], Command]] = {
    models.ActMessage: _act,
    models.LinkMessage: _link,
    models.UnlinkAllMessage: lambda by, controller, m: Unlink(by, controller),
    models.CombineMessage: lambda by, controller, m: CombineWall(by, m.partition, m.combine, controller),
    models.LeadMessage: lambda by, controller, m: TakeLead(by, controller),
    models.ExtendMessage: _extend,
    models.KeepOnMessage: lambda by, controller, m: KeepOn(by, m.routine, controller=controller),
    models.RecallMessage: lambda by, controller, m: RecallScene(by, m.scene, controller=controller, over=m.over),
}
