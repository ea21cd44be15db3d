"""One attempt to tell a webhook something, and what its answer means."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from roomlink.core.state import State
from roomlink.diary.webhooks import Message, key_of_secret, signature
from roomlink.drivers.port import DeviceFault
from roomlink.drivers.secret import read_secret

RETRY_S_MIN, RETRY_S_MAX = 5.0, 3600.0
TRY_AGAIN = (408, 425, 429)
"""Statuses below 500 that say "not now" rather than "not this"."""


@dataclass(frozen=True, slots=True)
class Answer:
    """How one attempt ended. ``again`` says whether it may go better later, ``after`` when at the earliest."""

    why: str = ""
    again: bool = True
    after: float = 0.0

    @property
    def good(self) -> bool:
        return not self.why


def backoff(failures: int, chance: float) -> float:
    """Seconds to wait after so many failures in a row: doubling, and spread by ``chance`` (0 to 1)."""
    most = min(RETRY_S_MAX, RETRY_S_MIN * 2.0 ** min(failures - 1, 20))
    return most * (0.5 + 0.5 * chance)


def judged(status: int, retry_after: str | None) -> Answer:
    """What an answer means: 2xx is taken, some mean "later", and the rest would be the same next time."""
    if 200 <= status < 300:
        return Answer()
    again = status >= 500 or status in TRY_AGAIN
    after = float(retry_after) if retry_after is not None and retry_after.isdecimal() and len(retry_after) < 7 else 0.0
    return Answer(f"it answered {status}", again, min(after, RETRY_S_MAX) if again else 0.0)


async def post(
    client: httpx.AsyncClient, config: Mapping[str, Any], folder: Path, state: State, message: Message, now: float
) -> Answer:
    """Sign and post a message, as it may be told by ``state``.

    ``now`` is the world's time: a receiver refuses what is older than five minutes.
    """
    path = str(folder / config["secret_file"])
    try:
        key = key_of_secret(await asyncio.to_thread(read_secret, path))
    except (DeviceFault, ValueError) as error:
        # Everybody may read this: the name as it is configured, not where it lies on this machine.
        return Answer(str(error).replace(path, config["secret_file"]).replace("password", "secret"))
    body, name, stamp = message.body(state), message.id(state.spec.id), int(now)
    headers = {
        "content-type": "application/json",
        "webhook-id": name,
        "webhook-timestamp": str(stamp),
        "webhook-signature": signature(key, name, stamp, body),
    }
    try:
        # The bound is for the whole of it; the client's own are for each part.
        async with (
            asyncio.timeout(config["timeout"]),
            client.stream("POST", config["url"], content=body, headers=headers, timeout=config["timeout"]) as answer,
        ):
            # What the answer says is not read: it could be endless.
            return judged(answer.status_code, answer.headers.get("retry-after"))
    except (TimeoutError, httpx.TimeoutException):
        return Answer(f"no answer within {config['timeout']:g} s")
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        return Answer(f"{type(error).__name__}: {error}"[:200])
