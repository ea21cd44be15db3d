"""Which nodes serve which venues, and how they are: each tells of itself, and reads what the others tell."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any

import nats.errors
import orjson
from nats.js.errors import Error as JetStreamError
from nats.js.kv import KeyValue

from roomlink.runtime.cluster.member import Member
from roomlink.runtime.writer import Writer

TELL_S = 2.0
Data = dict[str, Any]


class Presence:
    """One venue on one node. ``told`` has what was read last, by venue and node, this node included."""

    def __init__(self, bucket: KeyValue, venue: str, node: str, address: Callable[[], str], member: Member) -> None:
        self._bucket, self._venue, self._node, self._address, self._member = bucket, venue, node, address, member
        self.told: dict[str, dict[str, Data]] = {}
        self._task: asyncio.Task[None] | None = None

    def start(self) -> None:
        self._task = asyncio.get_running_loop().create_task(self._run())

    async def stop(self) -> None:
        """No longer be listed."""
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task
        with contextlib.suppress(nats.errors.Error, JetStreamError, TimeoutError):
            await self._bucket.delete(self._key)

    @property
    def _key(self) -> str:
        return f"{self._venue}.{self._node}"

    def elsewhere(self) -> list[str]:
        """The addresses of the other nodes of this venue, for panels whose node goes; the writer's first."""
        others = [one for node, one in self.told.get(self._venue, {}).items() if node != self._node and one["address"]]
        return [one["address"] for one in sorted(others, key=lambda one: not one["writes"])]

    def writer(self) -> str:
        """The address of the node that writes this venue; empty where none is known."""
        return next((one["address"] for one in self.told.get(self._venue, {}).values() if one["writes"]), "")

    def panels(self) -> set[str]:
        """The controllers that have a panel at another node of this venue."""
        others = [one for node, one in self.told.get(self._venue, {}).items() if node != self._node]
        return {controller for one in others for controller in one.get("panels", ())}

    def venues(self) -> Data:
        """All venues of the cluster with their nodes, as ``/venues`` gives them."""
        return {
            venue: {"name": next(iter(nodes.values()))["name"], "nodes": dict(sorted(nodes.items()))}
            for venue, nodes in sorted(self.told.items())
            if nodes
        }

    async def _run(self) -> None:
        while True:
            with contextlib.suppress(nats.errors.Error, JetStreamError, TimeoutError):
                await self._bucket.put(self._key, orjson.dumps(self._self()))
                await self._read()
            await asyncio.sleep(TELL_S)

    def _self(self) -> Data:
        return told_of(self._member, address=self._address(), writes=self._member.leading)

    async def _read(self) -> None:
        found: dict[str, dict[str, Data]] = {}
        for key in await self._bucket.keys():
            venue, _, node = key.partition(".")
            with contextlib.suppress(JetStreamError):  # gone between the two
                entry = await self._bucket.get(key)
                found.setdefault(venue, {})[node] = orjson.loads(entry.value or b"{}")
        self.told = found


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
