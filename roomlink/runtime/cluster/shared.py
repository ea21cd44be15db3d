"""What the nodes of a cluster share beside the journals: a connection, the leases, and who is there."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import nats.errors
import structlog
from nats.aio.client import Client
from nats.js import JetStreamContext
from nats.js.errors import Error as JetStreamError
from nats.js.errors import NotFoundError
from nats.js.kv import KeyValue

from roomlink.errors import JournalFailed
from roomlink.journal.natslink import Answers, connected

log = structlog.get_logger("roomlink")

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
        self.answers = Answers(client)

    @classmethod
    async def of(
        cls, servers: Sequence[str], node: str, replicas: int, access: Mapping[str, Any] = MappingProxyType({})
    ) -> Shared:
        """Raises ``JournalFailed`` where the servers do not answer."""
        end = time.monotonic() + READY_S
        try:
            # Nothing is kept for later while there is no connection: what is late would be wrong.
            client = await connected(servers, node, access, pending_size=0)
        except (nats.errors.Error, OSError, TimeoutError) as error:
            raise JournalFailed(f"no NATS server answers at {', '.join(servers)}: {error!r}") from error
        js = client.jetstream()
        while True:
            try:
                leases = await _bucket(js, LEASES, replicas)
                nodes = await _bucket(js, NODES, replicas, ttl=NODE_TTL_S)
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


async def _bucket(js: JetStreamContext, name: str, replicas: int, **more: Any) -> KeyValue:
    """The bucket, made if it is not there; one that fewer servers keep than asked for is taken as it is, and told."""
    try:
        found = await js.key_value(name)
    except NotFoundError:
        return await js.create_key_value(bucket=name, history=1, replicas=replicas, **more)
    kept = (await found.status()).stream_info.config.num_replicas or 1
    if kept < replicas:
        notice = f"the bucket {name} is kept by {kept} of the NATS servers, though --replicas {replicas} asks for more"
        log.warning("nats", notice=notice)
    return found
