"""``runtime.cluster.shared``: the connection and the buckets that all venues of a process have in common."""

from __future__ import annotations

import structlog
import structlog.testing

from roomlink.runtime.cluster.shared import Shared
from tests.nats_servers import NatsServer


async def test_buckets_that_fewer_servers_keep_than_asked_for_are_taken_and_told(server: NatsServer) -> None:
    """As where the first node was started alone: those after it say so, instead of not starting."""
    first = await Shared.of([server.url], "a", 1)
    with structlog.testing.capture_logs() as logs:
        second = await Shared.of([server.url], "b", 3)
    told = [line["notice"] for line in logs if line["event"] == "nats"]
    assert len(told) == 2
    assert all("kept by 1 of the NATS servers" in notice for notice in told)
    await first.leases.put("hall", b"here")
    assert (await second.leases.get("hall")).value == b"here"
    for one in (first, second):
        await one.close()
