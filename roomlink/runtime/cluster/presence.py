"""Which nodes serve which venues, and how they are: each tells of itself, and hears what the others tell."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from typing import Any

import nats.errors
import orjson
import structlog
from nats.js.errors import Error as JetStreamError
from nats.js.kv import KeyValue

from roomlink.runtime.cluster.member import Member
from roomlink.runtime.cluster.shared import NODE_TTL_S
from roomlink.runtime.ending import ended
from roomlink.runtime.writer import Writer

LOOK_S, TELL_S = 0.5, 3.0
"""How often a venue is looked at for something new to tell, and how often it is told anyway."""
Data = dict[str, Any]
log = structlog.get_logger("roomlink")
TROUBLE = (nats.errors.Error, JetStreamError, TimeoutError, OSError)
assert TELL_S * 2 < NODE_TTL_S, "a node that tells of itself must stay listed"


class Roll:
    """All nodes of all venues, as they told last. One for all venues of a process: what each tells is heard once."""

    def __init__(self, bucket: KeyValue) -> None:
        self._bucket = bucket
        self._told: dict[str, dict[str, tuple[float, Data]]] = {}
        self._task: asyncio.Task[None] | None = None

    def start(self) -> None:
        self._task = asyncio.get_running_loop().create_task(self._run())

    async def stop(self) -> None:
        await ended(self._task)

    def nodes(self, venue: str) -> dict[str, Data]:
        """The nodes of one venue that have told of themselves of late, by name."""
        since = time.monotonic() - NODE_TTL_S
        return {node: told for node, (at, told) in sorted(self._told.get(venue, {}).items()) if at >= since}

    def venues(self) -> list[str]:
        return sorted(self._told)

    async def _run(self) -> None:
        while True:
            try:
                await self._hear()
            except TROUBLE:
                pass
            except Exception as bug:  # whatever lies there: what the nodes tell is heard again
                log.error("a node tells what is not understood", error=repr(bug))
            await asyncio.sleep(LOOK_S)

    async def _hear(self) -> None:
        """Until nothing comes any more, as after the death of a server: our own word comes back to us, too."""
        watcher: Any = await self._bucket.watchall()
        try:
            while True:
                entry = await watcher.updates(timeout=NODE_TTL_S)
                if entry is None:
                    continue  # this was all that there was before
                venue, _, node = entry.key.partition(".")
                if entry.operation in ("DEL", "PURGE"):
                    self._told.get(venue, {}).pop(node, None)
                else:
                    self._told.setdefault(venue, {})[node] = time.monotonic(), orjson.loads(entry.value or b"{}")
        finally:
            with contextlib.suppress(*TROUBLE):
                await watcher.stop()


class Presence:
    """One venue on one node: tells of it, and knows of the others by ``roll``."""

    def __init__(
        self, bucket: KeyValue, roll: Roll, venue: str, node: str, address: Callable[[], str], member: Member
    ) -> None:
        self._bucket, self._roll = bucket, roll
        self._venue, self._node, self._address, self._member = venue, node, address, member
        self._task: asyncio.Task[None] | None = None

    def start(self) -> None:
        self._task = asyncio.get_running_loop().create_task(self._run())

    async def stop(self) -> None:
        """No longer be listed."""
        await ended(self._task)
        with contextlib.suppress(*TROUBLE):
            await self._bucket.delete(self._key)

    @property
    def _key(self) -> str:
        return f"{self._venue}.{self._node}"

    def elsewhere(self) -> list[str]:
        """The addresses of the other nodes of this venue, for panels whose node goes; the writer's first."""
        nodes = self._roll.nodes(self._venue).items()
        found = [one for node, one in nodes if node != self._node and one["address"]]
        return [one["address"] for one in sorted(found, key=lambda one: not one["writes"])]

    def writer(self) -> str:
        """The address of the node that writes this venue; empty where none is known."""
        return next((one["address"] for one in self._roll.nodes(self._venue).values() if one["writes"]), "")

    def panels(self) -> set[str]:
        """The controllers that have a panel at another node of this venue."""
        others = [one for node, one in self._roll.nodes(self._venue).items() if node != self._node]
        return {controller for one in others for controller in one.get("panels", ())}

    def venues(self) -> Data:
        """All venues of the cluster with their nodes, as ``/venues`` gives them."""
        found = {venue: self._roll.nodes(venue) for venue in self._roll.venues()}
        return {
            venue: {"name": next(iter(nodes.values()))["name"], "nodes": nodes}
            for venue, nodes in found.items()
            if nodes
        }

    async def _run(self) -> None:
        told: Data = {}
        at = 0.0
        while True:
            now, new = time.monotonic(), told_of(self._member, address=self._address(), writes=self._member.leading)
            # Each entry changes ``seq``: that alone is no news.
            if now - at >= TELL_S or {**new, "seq": 0} != {**told, "seq": 0}:
                with contextlib.suppress(*TROUBLE):
                    await self._bucket.put(self._key, orjson.dumps(new))
                    told, at = new, now
            await asyncio.sleep(LOOK_S)


def told_of(venue: Writer, *, address: str, writes: bool) -> Data:
    """What a node tells of itself."""
    state = venue.state
    return {
        "name": state.spec.data["venue"]["name"] if state.digest else "",
        "address": address,
        "writes": writes,
        "seq": venue.engine.seq,
        "ready": venue.unready is None,
        "why": venue.unready or "",
        "panels": sorted({one.controller for one in venue.hub.everyone() if one.controller is not None}),
        "alarms": sum(alarm.stands for alarm in state.alarms.values()),
    }
