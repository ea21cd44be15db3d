"""The section ``alarms`` as it is written."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from roomlink.core.alarm_kinds import KINDS
from roomlink.venue.base import Strict
from roomlink.venue.fields import Label, Name

AlarmName = Annotated[str, Field(min_length=1, max_length=200)]
_NAMES = f"a kind ({', '.join(KINDS)}), or one alarm such as device-lost/dmx-1"


class While(Strict):
    """What must stand for an alarm to be suppressed: an override, or another alarm."""

    override: Name | None = Field(None, description="the name of an override, such as that of a maintenance key")
    alarm: AlarmName | None = Field(None, description="another alarm, such as that of the gateway behind which it is")


class Suppressed(Strict):
    """Alarms that mean nothing, always or while something stands."""

    alarm: AlarmName = Field(description=_NAMES)
    why: Label = Field(description="the reason, for those who ask why nobody was told")
    while_: While | None = Field(None, alias="while", description="when; always if not given")


class AlarmTopic(Strict):
    """Where all alarms are published, retained, as one JSON document."""

    device: Name = Field(description="a device with driver: mqtt")
    topic: str = Field(min_length=1, description="the topic, such as hall/alarms")


class Alarms(Strict):
    """How urgent alarms are, when they mean nothing, and who else is told."""

    priorities: dict[AlarmName, Literal["high", "medium", "low"]] = Field(
        default_factory=dict, description=f"high, medium or low by {_NAMES}; the one alarm counts before its kind"
    )
    suppressed: list[Suppressed] = Field(default_factory=list, description="alarms that are suppressed by design")
    mqtt: AlarmTopic | None = Field(None, description="publish them to a broker")
