"""A real Mosquitto on a loopback port, and somebody else at it: paho's own client."""

from __future__ import annotations

import asyncio
import json
import os
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from roomlink.drivers.port import Value

MOSQUITTO = "/usr/sbin/mosquitto"
STARTED_S_MAX = 5.0


class Broker:
    """Mosquitto in a process of its own; ``start`` after ``stop`` begins with nothing retained."""

    def __init__(self, folder: Path, port: int, extra: str = "allow_anonymous true") -> None:
        self.port = port
        self._config = folder / "mosquitto.conf"
        user = "user root\n" if os.geteuid() == 0 else ""
        self._config.write_text(f"{user}persistence false\nlistener {port} 127.0.0.1\n{extra}\n")
        self._process: subprocess.Popen[bytes] | None = None

    async def start(self) -> None:
        self._process = subprocess.Popen(  # noqa: ASYNC220  # it is not waited for here
            [MOSQUITTO, "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        end = time.monotonic() + STARTED_S_MAX
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                assert time.monotonic() < end, "the broker does not start"
                assert self._process.poll() is None, "the broker ended"
                await asyncio.sleep(0.01)

    async def stop(self, *, kill: bool = False) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill() if kill else process.terminate()
            await asyncio.to_thread(process.wait)


class Listener:
    """Subscribes to everything, keeps what it hears, and publishes when told. Its network runs in paho's own thread."""

    def __init__(self, port: int, version: int = paho.MQTTv311) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        """Topic, payload, and whether the broker had retained it."""
        self._subscribed = False
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=version)  # type: ignore[arg-type]  # int enum
        self._client.on_message = self._on_message
        self._client.on_subscribe = self._on_subscribe
        self.echo: dict[str, str] = {}
        """Topic to the topic on which a device would report it."""
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._client.subscribe("#", qos=2)

    def _on_message(self, client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload, message.retain))
        if message.topic in self.echo:
            client.publish(self.echo[message.topic], message.payload, qos=1, retain=True)

    def _on_subscribe(self, *_: Any) -> None:
        self._subscribed = True

    async def ready(self) -> None:
        """Nothing published from now on is missed."""
        end = time.monotonic() + STARTED_S_MAX
        while not self._subscribed:
            assert time.monotonic() < end, "the broker does not take the subscription"
            await asyncio.sleep(0.005)

    def publish(self, topic: str, payload: bytes | str, *, retain: bool = False) -> None:
        self._client.publish(topic, payload, qos=1, retain=retain)

    def of(self, topic: str) -> list[bytes]:
        return [payload for name, payload, _ in list(self.heard) if name == topic]

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Building:
    """The contract's peer: a broker with a listener that reports like a device wherever a point has ``report``."""

    def __init__(self, broker: Broker, points: list[dict[str, Any]]) -> None:
        self.broker, self.points = broker, points
        self.listener: Listener | None = None

    async def start(self) -> None:
        await self.broker.start()
        self.listener = Listener(self.broker.port)
        self.listener.echo = {p["topic"]: p["report"] for p in self.points if "report" in p}
        await self.listener.ready()

    async def stop(self) -> None:
        listener, self.listener = self.listener, None
        if listener is not None:
            listener.stop()
        await self.broker.stop()

    def seen(self, point: int) -> list[Value]:
        if self.listener is None:
            return []
        found = [json.loads(payload) for payload in self.listener.of(self.points[point]["topic"])]
        member = self.points[point].get("member")
        return [value[member] if member else value for value in found]

    async def junk(self) -> None:
        assert self.listener is not None
        for point in self.points:
            if "report" in point:
                self.listener.publish(point["report"], b"\xff\x00{]")
