"""``journal.natslink``: a connection goes where JetStream answers."""

from __future__ import annotations

import contextlib
import random
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

import nats.errors
import nats.js.errors
import pytest

from roomlink.journal import natslink
from roomlink.journal.natslink import NO_ANSWER, NatsLink
from tests.nats_servers import NatsServer, free_port


def test_a_server_that_answers_but_is_no_part_of_jetstream_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As one is that is cut off from the others: it lives and answers pings, and would be asked in vain for ever."""
    whole, port = NatsServer(tmp_path), free_port()
    whole.start()
    bare = subprocess.Popen(["nats-server", "-a", "127.0.0.1", "-p", str(port)], stderr=subprocess.DEVNULL)
    monkeypatch.setattr(natslink, "ELSEWHERE_S", 0.1)
    monkeypatch.setattr(random, "sample", lambda servers, _: list(servers))
    first = f"nats://127.0.0.1:{port}"
    try:
        link = linked([first, whole.url])
        assert at(link) == port
        end = time.monotonic() + 5.0
        while time.monotonic() < end:
            with contextlib.suppress(*NO_ANSWER, nats.errors.Error, nats.js.errors.Error):
                link.call(link.js.account_info(), 0.2)
                break
            time.sleep(0.02)
        assert at(link) == whole.port
        link.close()
    finally:
        bare.kill()
        bare.wait()
        whole.stop()


def linked(servers: Sequence[str]) -> NatsLink:
    """Once the first of them listens."""
    while True:
        link = NatsLink(servers, "a", {})
        if servers[0].endswith(f":{at(link)}"):
            return link
        link.close()


def at(link: NatsLink) -> int | None:
    """The port of the server that it is connected to."""
    url = link.client.connected_url
    return None if url is None else url.port
