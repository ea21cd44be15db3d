"""A service that asks who is there, and people, tokens and panels to come to it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import httpx

from roomlink.api.identity import SignIn
from roomlink.core.access import INTEGRATION, PANEL, ROLES
from roomlink.core.access_commands import AddKey, SetPerson
from roomlink.core.commands import SERVICE
from roomlink.runtime.credentials import digest
from roomlink.runtime.writer import Writer
from tests.api.harness import WITHIN_S, Running

PASSWORD = "four words in a row"
ALEX = "alex"
"""The engineer."""


def with_sign_in(writer: Writer) -> dict[str, Any]:
    """What ``start(parts=with_sign_in)`` adds: the service asks who is there."""
    return {"identity": SignIn(writer)}


def token_of(role: str) -> str:
    return f"token-{role}"


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def cookie(kind: str, token: str) -> dict[str, str]:
    return {"Cookie": f"roomlink-{kind}={token}"}


PANEL_OF_HERON = cookie("panel", "token-panel")


def door(service: Running) -> SignIn:
    found: SignIn = service.identity
    return found


async def let_in(service: Running) -> None:
    """An integration of every role, a panel paired with heron-wall, and the engineer alex, who has a password."""
    writer = service.writer
    secret = await door(service).passwords.hash(PASSWORD)
    await writer.submit(SetPerson(SERVICE, ALEX, "engineer", secret))
    for role in ROLES:
        await writer.submit(AddKey(SERVICE, INTEGRATION, f"program-{role}", role, digest(token_of(role))))
    await writer.submit(AddKey(SERVICE, PANEL, "heron-wall", "operate", digest("token-panel"), "heron-wall"))


@asynccontextmanager
async def browser(service: Running) -> AsyncIterator[httpx.AsyncClient]:
    """Something that keeps cookies."""
    async with httpx.AsyncClient(base_url=service.url + "/api/v1", timeout=WITHIN_S) as client:
        yield client


@asynccontextmanager
async def sign_in(service: Running, name: str = ALEX, password: str = PASSWORD) -> AsyncIterator[httpx.AsyncClient]:
    """A browser of somebody who has signed in."""
    async with browser(service) as client:
        answer = await client.post("/session", json={"name": name, "password": password})
        assert answer.status_code == 200, answer.text
        yield client
