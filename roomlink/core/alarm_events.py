"""What happens to alarms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from roomlink.core.records import Alarm


@dataclass(frozen=True, slots=True)
class AlarmRaised:
    """As journals had it before alarms had states."""

    alarm: str
    since: float
    text: str


@dataclass(frozen=True, slots=True)
class AlarmCleared:
    """What the alarm was about is no more; before alarms had states, also that its condition was over."""

    alarm: str


@dataclass(frozen=True, slots=True)
class AlarmSet:
    """The alarm has this record now, by ``cause``: one of ``alarms.TRANSITIONS``, or see ``alarm_kinds.TYPES``."""

    alarm: str
    cause: str
    now: Alarm


AlarmEvent = AlarmRaised | AlarmCleared | AlarmSet

ALARM_EVENTS: dict[str, type[Any]] = {
    "alarm": AlarmRaised,
    "alarm-cleared": AlarmCleared,
    "alarm-set": AlarmSet,
}
ALARM_RECORDS: dict[type[Any], type[Any]] = {AlarmSet: Alarm}
