"""What the nodes of a cluster share beside the journals: a connection, the leases, and who is there."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import nats
import nats.errors
from nats.aio.client import Client
from nats.js.errors import Error as JetStreamError
from nats.js.kv import KeyValue

from roomlink.errors import JournalFailed

LEASES, NODES = "roomlink-leases", "roomlink-nodes"
READY_S = 20.0
"""How long a cluster of servers may take to be ready, from the start of a node on."""
AGAIN_S = 0.2
NODE_TTL_S = 10
"""A node that has not told of itself for so long is no longer listed."""


class Shared:
    """A connection in the running event loop, with the two buckets."""

    def __init__(self, client: Client, leases: KeyValue, nodes: KeyValue) -> None:
        self.client, self.leases, self.nodes = client, leases, nodes

    @classmethod
    async def of(
        cls, servers: Sequence[str], node: str, replicas: int, access: Mapping[str, Any] = MappingProxyType({})
    ) -> Shared:
        """Raises ``JournalFailed`` where the servers do not answer."""

        async def quiet(_error: Exception) -> None:
            """Each call tells its own failure."""

        options: dict[str, Any] = {"name": node, "max_reconnect_attempts": -1, "reconnect_time_wait": 0.1}
        options |= {"ping_interval": 1, "max_outstanding_pings": 2, "error_cb": quiet, **access}
        end = time.monotonic() + READY_S
        try:
            # Nothing is kept for later while there is no connection: what is late would be wrong.
            client = await nats.connect(list(servers), pending_size=0, **options)
        except (nats.errors.Error, OSError, TimeoutError) as error:
            raise JournalFailed(f"no NATS server answers at {', '.join(servers)}: {error!r}") from error
        js = client.jetstream()
        while True:
            try:
                leases = await js.create_key_value(bucket=LEASES, history=1, replicas=replicas)
                nodes = await js.create_key_value(bucket=NODES, history=1, replicas=replicas, ttl=NODE_TTL_S)
            except (nats.errors.Error, JetStreamError, OSError, TimeoutError) as error:
                # Servers that have just started have yet to find a leader among themselves.
                if time.monotonic() > end:
                    await client.close()
                    raise JournalFailed(f"NATS at {', '.join(servers)} cannot be used: {error!r}") from error
                await asyncio.sleep(AGAIN_S)
            else:
                return cls(client, leases, nodes)

    async def close(self) -> None:
        with contextlib.suppress(nats.errors.Error, OSError):
            await self.client.close()
