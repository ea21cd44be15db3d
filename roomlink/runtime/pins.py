"""PINs of locks: hashed and looked at slowly, and tried no faster than guessing is worth."""

from __future__ import annotations

from roomlink.runtime.attempts import Attempts, Subject, network
from roomlink.runtime.credentials import Passwords


class Pins:
    """Looks at PINs. Tries are counted by lock and by address, as those of passwords are."""

    def __init__(self) -> None:
        self.attempts = Attempts()
        self._passwords = Passwords()

    async def hash(self, pin: str) -> str:
        return await self._passwords.hash(pin)

    async def right(self, lock: str, secret: str, pin: str, where: str, now: float) -> bool:
        """Whether ``pin`` is that of a lock, whose hash is ``secret``. Raises ``TooMany`` for one too early."""
        subjects: tuple[Subject, ...] = (("name", f"lock/{lock}"), ("address", network(where)))
        self.attempts.begin(now, *subjects)
        if not await self._passwords.verify(secret or None, pin):
            return False
        self.attempts.right(*subjects)
        return True
