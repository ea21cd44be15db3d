"""What can be asked of alarms, and the report of a trouble that raises one."""

from __future__ import annotations

from dataclasses import dataclass

from roomlink.core.actor import Actor


@dataclass(frozen=True, slots=True)
class ReportTrouble:
    """Something outside of the venue fails, as ``text`` says to a person; without a text it works again."""

    by: Actor
    alarm: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class AcknowledgeAlarm:
    """Somebody has seen it."""

    by: Actor
    alarm: str


@dataclass(frozen=True, slots=True)
class ShelveAlarm:
    """Tell nobody of it for so many ``seconds``; ``why`` is for those who ask meanwhile."""

    by: Actor
    alarm: str
    seconds: float
    why: str


@dataclass(frozen=True, slots=True)
class UnshelveAlarm:
    by: Actor
    alarm: str


@dataclass(frozen=True, slots=True)
class TakeAlarmOut:
    """Out of service until it is put back, such as while a device is away for repair."""

    by: Actor
    alarm: str
    why: str


@dataclass(frozen=True, slots=True)
class ReturnAlarm:
    """Back into service."""

    by: Actor
    alarm: str


AlarmCommand = ReportTrouble | AcknowledgeAlarm | ShelveAlarm | UnshelveAlarm | TakeAlarmOut | ReturnAlarm
