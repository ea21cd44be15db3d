"""What goes towards safe, and what a later word about the same thing replaces."""

from __future__ import annotations

from dataclasses import replace

from roomlink.core.act import SAFE
from roomlink.core.commands import (
    Act,
    Command,
    Disarm,
    LetGo,
    ReportControl,
    ReportDevice,
    ReportOverride,
    ReportPaging,
    ReportPanel,
    ReportPassDoor,
    ReportPresence,
    ReportWall,
    StopMotion,
    Unlink,
    Wake,
)
from roomlink.core.events import ControlSet, Entry, HoldEnded
from roomlink.core.records import Motion

Subject = tuple[str, ...]


def towards_safe(command: Command) -> bool:
    """Whether devices act on a command before it is durable: what stops, lets go, disarms or masks."""
    if isinstance(command, Act):
        return command.do in SAFE
    if isinstance(command, ReportOverride):
        return command.active
    return isinstance(command, LetGo | ReportDevice | StopMotion | Unlink | Disarm)


def subject(command: Command) -> Subject:
    """What a command is about: of two about one subject only the newer counts, if the older is not stored yet."""
    match command:
        case Act():
            return (
                "act",
                command.by.holder or command.by.who,
                command.controller or command.zone or "",
                command.control,
            )
        case ReportOverride():
            return ("override", command.override)
        case ReportDevice():
            return ("device", command.device)
        case ReportWall():
            ends = [
                end
                for end, made in zip(("closed", "stacked"), command.contacts or (), strict=False)
                if made is not None
            ]
            return ("wall", command.partition, *ends, *command.lost)
        case ReportControl():
            return ("control", command.zone, command.control)
        case LetGo():
            return ("let-go", command.holder)
        case Unlink():
            return ("unlink", command.controller, command.zone or "")
        case Disarm():
            return ("disarm", command.binding)
        case ReportPaging():
            return ("paging", command.paging)
        case ReportPresence():
            return ("presence", command.zone)
        case ReportPassDoor():
            return ("pass-door", command.partition)
        case ReportPanel():
            return ("panel", command.controller)
        case _:
            return (type(command).__name__, repr(command))


def safe_part(entry: Entry) -> Entry | None:
    """Of what the clock made happen, that which goes towards safe: holds that end, motion that stops."""
    ended = {zone for event in entry.events if isinstance(event, HoldEnded) for zone in event.zones}
    events = tuple(
        event
        for event in entry.events
        if isinstance(event, ControlSet)
        and (event.zone in ended or (isinstance(event.now, Motion) and event.now.running is None))
    )
    return replace(entry, events=events) if events else None


WAKE: Subject = ("Wake",)
WAKE_COMMAND = Wake()
