"""What opens something: made of chance here, kept elsewhere only as a digest or a slow hash."""

from __future__ import annotations

import asyncio
import hashlib
import secrets
from collections.abc import Callable
from typing import ParamSpec, TypeVar

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from roomlink import limits
from roomlink.errors import TooMany

P = ParamSpec("P")
R = TypeVar("R")

TOKEN_BYTES = 32
CODE_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
"""What a code is written with: no letter that is taken for another one."""
PAIRING_CODE_CHARS, ENGINEER_CODE_CHARS = 8, 16


def fresh() -> str:
    """A new token, session or panel's key: 256 random bits."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def digest(token: str) -> str:
    """What of a token is kept. It holds 256 bits of chance, so that a fast hash suffices."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def code(characters: int) -> str:
    """A code for people to type, in groups of four."""
    letters = [secrets.choice(CODE_LETTERS) for _ in range(characters)]
    return "-".join("".join(letters[start : start + 4]) for start in range(0, characters, 4))


def plain_code(text: str) -> str:
    """A code as it is compared, however somebody typed it."""
    return "".join(letter for letter in text.upper() if letter.isalnum())


def same(a: str, b: str) -> bool:
    """Whether two secrets are the same, in a time that does not tell how much of them is."""
    return secrets.compare_digest(a.encode("utf-8", "replace"), b.encode("utf-8", "replace"))


class Passwords:
    """Hashes passwords by argon2id in threads, a few at once: a flood of sign-ins takes neither memory nor the loop."""

    def __init__(self) -> None:
        self._hasher = PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)
        self._free = asyncio.Semaphore(limits.HASHES_AT_ONCE)
        self._waiting = 0
        # For names that nobody has: to verify against it takes as long as against a real one.
        self._nobody: str | None = None

    async def hash(self, password: str) -> str:
        return await self._run(self._hasher.hash, password)

    async def verify(self, stored: str | None, password: str) -> bool:
        """Whether ``stored`` was made from ``password``; None (nobody) takes the same time and is false."""
        if self._nobody is None:
            self._nobody = await self.hash(fresh())
        right = await self._run(self._matches, stored or self._nobody, password)
        return right and stored is not None

    def _matches(self, stored: str, password: str) -> bool:
        try:
            return self._hasher.verify(stored, password)
        except (Argon2Error, InvalidHashError):
            return False

    async def _run(self, work: Callable[P, R], *given: P.args, **named: P.kwargs) -> R:
        if self._waiting >= limits.HASHES_WAITING_MAX:
            raise TooMany("too many sign-ins at once; try again in a moment", 2.0)
        self._waiting += 1
        try:
            async with self._free:
                return await asyncio.to_thread(work, *given, **named)
        finally:
            self._waiting -= 1
