"""The connection to a broker: publishes what is wanted, listens to reports, says whether it is there."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import ssl
from collections.abc import Mapping
from dataclasses import dataclass

from aiomqtt import Client, Message, MqttError, ProtocolVersion, Will
from paho.mqtt.client import MQTT_CLEAN_START_FIRST_ONLY
from paho.mqtt.reasoncodes import ReasonCode

from roomlink.drivers.mqtt import wire
from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value, WireFault
from roomlink.drivers.secret import read_secret

_log = logging.getLogger(__name__)
# The library warns of what we raise, and of many calls at once, which are meant.
logging.getLogger("mqtt").setLevel(logging.CRITICAL)

ONLINE, OFFLINE = "online", "offline"
REFUSED = 0x80
"""From here up an acknowledgement is a refusal, in both versions."""
PUBLISHING_MAX = 20
"""Messages on their way at a time: what a broker takes without special settings."""
HEARD_MAX = 10_000
"""Reports that may wait to be read; the retained ones of a whole building come at once."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The broker, and who we are to it."""

    host: str
    port: int
    five: bool
    client_id: str | None
    username: str | None
    password_file: str | None
    tls: bool
    ca_file: str | None
    keepalive_s: int
    timeout_s: float
    availability: str | None


@dataclass(frozen=True, slots=True)
class Route:
    """One point: where it is published, where it reports, and how a value is written."""

    topic: str | None
    report: str | None
    qos: int
    retain: bool
    form: str
    member: str | None


class MqttDevice:
    """``port.Device``. Always a clean start: subscriptions and values are sent anew over each connection."""

    rate_hz = 20.0
    detects_loss = True

    def __init__(self, settings: Settings, routes: Mapping[str, Route]) -> None:
        self._settings, self._routes = settings, dict(routes)
        self._exact: dict[str, list[str]] = {}
        self._wild: list[tuple[str, str]] = []
        for name, route in self._routes.items():
            if route.report is not None and ("+" in route.report or "#" in route.report):
                self._wild.append((route.report, name))
            elif route.report is not None:
                self._exact.setdefault(route.report, []).append(name)
        self._client: Client | None = None
        self._open = False
        self._hear: Hear = lambda _point, _value: None
        self._odd: set[str] = set()
        """Points whose payloads were complained about; once is enough."""

    async def connect(self, hear: Hear) -> None:
        """Connect, subscribe, say that we are there."""
        self._hear, self._client = hear, self._made()
        try:
            await self._client.__aenter__()
            self._open = True
            wanted: dict[str, int] = {}
            for route in self._routes.values():
                if route.report:
                    wanted[route.report] = max(route.qos, wanted.get(route.report, 0))
            if wanted:
                codes = await self._client.subscribe(list(wanted.items()))
                numbers = [code.value if isinstance(code, ReasonCode) else code for code in codes]
                for name, number in zip(wanted, numbers, strict=True):
                    if number >= REFUSED:
                        raise DeviceFault(f"the broker refuses the subscription to {name}")
            await self._say(ONLINE)
        except MqttError as error:
            raise DeviceFault(f"{self._settings.host} port {self._settings.port}: {error}") from error

    def _made(self) -> Client:
        s = self._settings
        will = Will(s.availability, OFFLINE, qos=1, retain=True) if s.availability else None
        try:
            context = ssl.create_default_context(cafile=s.ca_file) if s.tls else None
        except OSError as error:
            raise DeviceFault(f"the certificates in {s.ca_file} cannot be used: {error}") from error
        client = Client(
            s.host,
            s.port,
            identifier=s.client_id,
            username=s.username,
            password=read_secret(s.password_file) if s.password_file else None,
            protocol=ProtocolVersion.V5 if s.five else ProtocolVersion.V311,
            # 3.1.1 has the one, 5 the other; without a session expiry both mean: remember nothing of us.
            clean_session=None if s.five else True,
            clean_start=True if s.five else MQTT_CLEAN_START_FIRST_ONLY,
            keepalive=s.keepalive_s,
            timeout=s.timeout_s,
            will=will,
            tls_context=context,
            max_queued_incoming_messages=HEARD_MAX,
            max_concurrent_outgoing_calls=PUBLISHING_MAX,
        )
        # It connects in a thread, which nobody can cancel: it must be over before the runner gives up.
        client._client.connect_timeout = s.timeout_s
        return client

    async def _say(self, text: str) -> None:
        if self._client is not None and self._settings.availability:
            await self._client.publish(self._settings.availability, text, qos=1, retain=True)

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        """Publish; confirmed are those that the broker acknowledged and that no report will confirm."""
        if self._client is None:
            raise DeviceFault("not connected")
        ready: list[tuple[str, bytes, Route]] = []
        for name, value in values.items():
            route = self._routes[name]
            if route.topic is None:
                raise PointFault(name, "this point only reports; give it a topic to publish to")
            try:
                ready.append((route.topic, wire.encode(value, route.form, route.member), route))
            except ValueError as error:
                raise PointFault(name, str(error)) from None
        results = await asyncio.gather(
            *(self._client.publish(topic, payload, route.qos, route.retain) for topic, payload, route in ready),
            return_exceptions=True,
        )
        for result in results:
            if isinstance(result, MqttError):
                raise DeviceFault(str(result)) from result
            if isinstance(result, BaseException):
                raise result
        return {name for name in values if self._routes[name].qos > 0 and self._routes[name].report is None}

    async def serve(self) -> None:
        """Hand on what is reported."""
        if self._client is None:
            raise DeviceFault("not connected")
        try:
            async for message in self._client.messages:
                self._take(message)
        except MqttError as error:
            raise DeviceFault("the broker closed the connection, or is silent") from error

    def _take(self, message: Message) -> None:
        topic = message.topic.value
        payload = message.payload if isinstance(message.payload, bytes) else b""
        if not payload:
            return  # Somebody erased a retained message; that says nothing about the device.
        wild = (name for wanted, name in self._wild if wire.matches(wanted, topic))
        for name in (*self._exact.get(topic, ()), *wild):
            route = self._routes[name]
            try:
                value = wire.decode(payload, route.form, route.member)
            except WireFault as fault:
                # Whoever published it is not the broker: the connection is sound, so it stays.
                if name not in self._odd:
                    self._odd.add(name)
                    _log.warning("report of %s is left out: %s", name, fault)
                continue
            self._odd.discard(name)
            self._hear(name, value)

    async def close(self) -> None:
        """Say good-bye, so that nobody waits for the last will."""
        client, self._client = self._client, None
        is_open, self._open = self._open, False
        if client is None:
            return
        with contextlib.suppress(MqttError, ValueError):
            if is_open and self._settings.availability:
                await client.publish(self._settings.availability, OFFLINE, qos=1, retain=True, timeout=0.5)
        # Whatever was thrown at us, the socket is closed: aiomqtt leaves it open after a connect that timed out.
        with contextlib.suppress(MqttError, ValueError, OSError):
            if is_open:
                await client.__aexit__(None, None, None)
            else:
                client._client.disconnect()
