"""``runtime.credentials``: chance, digests, and passwords that are slow to guess."""

from __future__ import annotations

import asyncio
import base64
import hashlib

import pytest

from roomlink import limits
from roomlink.errors import TooMany
from roomlink.runtime import credentials
from roomlink.runtime.credentials import Passwords


def test_a_token_holds_256_bits_and_is_kept_as_their_sha_256() -> None:
    """No two alike."""
    tokens = {credentials.fresh() for _ in range(100)}
    assert len(tokens) == 100
    one = tokens.pop()
    assert len(base64.urlsafe_b64decode(one + "=")) == 32
    assert credentials.digest(one) == hashlib.sha256(one.encode()).hexdigest()


def test_a_code_can_be_typed_as_one_likes() -> None:
    """Small letters, without its dash, with spaces; no letter in it is taken for another one."""
    code = credentials.code(8)
    assert len(code) == 9
    assert not set(code) & set("IO01")
    assert credentials.plain_code(f" {code.lower()} ") == code.replace("-", "") == credentials.plain_code(code)


async def test_passwords_are_hashed_by_argon2id_as_owasp_asks() -> None:
    """At least m=19456 KiB, t=2, p=1; the salt makes two of the same differ."""
    passwords = Passwords()
    first, second = await passwords.hash("four words in a row"), await passwords.hash("four words in a row")
    assert first.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert first != second
    assert await passwords.verify(first, "four words in a row")
    assert not await passwords.verify(first, "four words in a tow")


async def test_nobody_s_password_is_never_right() -> None:
    """It is looked at all the same; so is one whose hash is no hash."""
    passwords = Passwords()
    assert not await passwords.verify(None, "four words in a row")
    assert not await passwords.verify("spoilt", "four words in a row")


async def test_a_flood_of_sign_ins_is_turned_away() -> None:
    """So many wait, and no more."""
    passwords = Passwords()
    stored = await passwords.hash("four words in a row")
    asked = [passwords.verify(stored, "wrong") for _ in range(limits.HASHES_WAITING_MAX + 5)]
    answers = await asyncio.gather(*asked, return_exceptions=True)
    assert sum(isinstance(one, TooMany) for one in answers) == 5
    assert answers.count(False) == limits.HASHES_WAITING_MAX
    assert await passwords.verify(stored, "four words in a row")


@pytest.mark.parametrize(("a", "b", "same"), [("x", "x", True), ("x", "y", False), ("é", "é", True), ("", "x", False)])
def test_secrets_are_compared_whole(a: str, b: str, same: bool) -> None:
    """Whatever letters they have."""
    assert credentials.same(a, b) is same
