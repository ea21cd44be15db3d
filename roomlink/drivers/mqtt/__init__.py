"""MQTT: devices that listen to a broker, and the way for a building system to watch and report.

    devices:
      broker: {driver: mqtt, host: broker.local, username: hall, password_file: secrets/broker, availability: hall/us}
    bindings:
      - {control: heron.house, device: broker, point: {topic: hall/heron/house/set, report: hall/heron/house}}
    partitions:
      heron-plover: {contacts: {closed: {device: broker, point: {report: hall/walls/heron-plover}}}}

Wanted values are published retained, so that a device which starts later gets them. Where there is a ``report``, only
the report confirms; without one, the broker's acknowledgement does (not at QoS 0, which has none).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, ConfigDict, Field, field_validator, model_validator

from roomlink.drivers.durations import Duration, Strict, wrong
from roomlink.drivers.mqtt import wire
from roomlink.drivers.mqtt.link import MqttDevice, Route, Settings
from roomlink.drivers.port import Device, Driver

Topic = Annotated[str, AfterValidator(wire.topic)]
Filter = Annotated[str, AfterValidator(wire.topic_filter)]


class Config(Strict):
    """One broker, as seen by one client of it."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    host: str = Field(min_length=1, max_length=253)
    """Name or address of the broker."""
    port: int = Field(default=1883, strict=True, ge=1, le=65535)
    """TCP port; brokers with TLS mostly listen on 8883."""
    version: Literal["3.1.1", "5"] = "3.1.1"
    """Of the protocol, in quotes."""
    client_id: str | None = Field(default=None, min_length=1, max_length=65)
    """Unique at the broker; without it the broker makes one up."""
    username: str | None = Field(default=None, min_length=1, max_length=256)
    """Who we are to the broker."""
    password_file: str | None = Field(default=None, min_length=1)
    """The file whose first line is the password; the password itself never stands here."""
    tls: bool = Field(default=False, strict=True)
    """Whether to encrypt, and to check the broker's certificate."""
    ca_file: str | None = Field(default=None, min_length=1)
    """Certificates of the authorities to trust instead of the system's."""
    keepalive: Duration = Field(default=10.0, ge=1.0, le=3600.0)
    """A broker that is silent for this long and half as long again counts as lost."""
    timeout: Duration = Field(default=2.0, ge=0.1, le=4.0)
    """How long the broker may take to acknowledge."""
    availability: Topic | None = None
    """Where ``online`` and ``offline`` are retained; ``offline`` also as last will."""

    @field_validator("version", mode="before")
    @classmethod
    def _quoted(cls, value: object) -> object:
        # YAML reads a bare 5 as a number; it can mean only one thing.
        return "5" if value == 5 and not isinstance(value, bool) else value

    @model_validator(mode="after")
    def _complete(self) -> Config:
        if self.password_file and not self.username:
            raise wrong("a password without a username", "add username")
        if self.ca_file and not self.tls:
            raise wrong("ca_file without tls", "add tls: true")
        return self


class Point(Strict):
    """A topic to publish to, a topic filter to hear reports from, or both."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    topic: Topic | None = None
    """Where wanted values are published."""
    report: Filter | None = None
    """Where the device says what it is."""
    qos: Literal[0, 1, 2] = 1
    """Quality of service, both ways."""
    retain: bool = Field(default=True, strict=True)
    """Whether the broker keeps the last wanted value for those who come later."""
    format: Literal["text", "json"] = "text"
    """Of the payloads, both ways."""
    member: str | None = Field(default=None, min_length=1, max_length=256)
    """The member of a JSON object that holds the value."""

    @field_validator("qos", mode="before")
    @classmethod
    def _whole(cls, value: object) -> object:
        # True equals 1, and would pass for it.
        if isinstance(value, bool):
            raise wrong("the quality of service is a number", "write 0, 1 or 2")
        return value

    @model_validator(mode="after")
    def _makes_sense(self) -> Point:
        if self.topic is None and self.report is None:
            raise wrong("the point goes nowhere", "give topic, report or both")
        if self.member is not None and self.format != "json":
            raise wrong("member without format: json", "add format: json")
        if self.topic and self.report and wire.matches(self.report, self.topic):
            raise wrong("report covers topic, and we would take our own wish for the answer", "use two topics")
        return self


def _make(config: Config, points: Mapping[str, Point]) -> Device:
    published = [point.topic for point in points.values() if point.topic]
    for point in points.values():
        if point.topic and published.count(point.topic) > 1:
            raise wrong(f"several points publish to {point.topic}: each would erase the others", "use a topic for each")
    settings = Settings(
        host=config.host,
        port=config.port,
        five=config.version == "5",
        client_id=config.client_id,
        username=config.username,
        password_file=config.password_file,
        tls=config.tls,
        ca_file=config.ca_file,
        keepalive_s=round(config.keepalive),
        timeout_s=config.timeout,
        availability=config.availability,
    )
    routes = {
        name: Route(point.topic, point.report, point.qos, point.retain, point.format, point.member)
        for name, point in points.items()
    }
    return MqttDevice(settings, routes)


def _point_name(_config: Config, point: Point) -> str:
    place = point.topic or point.report or ""
    return place if point.member is None else f"{place} {point.member}"


def _overlaps(one: Point, other: Point) -> bool:
    return one.topic is not None and one.topic == other.topic and one.member != other.member


DRIVER = Driver(
    name="mqtt",
    config=Config,
    point=Point,
    make=_make,
    point_name=_point_name,
    overlaps=_overlaps,
    conformity="A client of MQTT 3.1.1 and 5.0 (OASIS): QoS 0 to 2, retained messages, last will, clean starts.",
)
