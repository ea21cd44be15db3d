"""Codes that people carry from one screen to another: to pair a panel, and to make the first engineer.

They are kept in memory alone, as digests: a restart makes all of them worthless.
"""

from __future__ import annotations

from dataclasses import dataclass

from roomlink import limits
from roomlink.errors import Refused
from roomlink.runtime.credentials import ENGINEER_CODE_CHARS, PAIRING_CODE_CHARS, code, digest, plain_code, same


@dataclass(frozen=True, slots=True)
class Pairing:
    """What a code is good for: a panel called ``name`` of ``controller``, as ``by`` allowed it, until a stamp."""

    controller: str
    name: str
    by: str
    until: float


class PairingCodes:
    """Codes with which browsers become panels, each good once and for a short time."""

    def __init__(self) -> None:
        self._open: dict[str, Pairing] = {}

    def make(self, controller: str, name: str, by: str, now: float) -> tuple[str, Pairing]:
        self._open = {key: one for key, one in self._open.items() if one.until > now and one.name != name}
        if len(self._open) >= limits.PAIRING_CODES_MAX:
            raise Refused("too-many", f"there are {limits.PAIRING_CODES_MAX} open pairing codes: use them first")
        made, pairing = code(PAIRING_CODE_CHARS), Pairing(controller, name, by, now + limits.PAIRING_S)
        self._open[digest(plain_code(made))] = pairing
        return made, pairing

    def names(self, now: float) -> set[str]:
        """Names that open codes will give."""
        return {one.name for one in self._open.values() if one.until > now}

    def take(self, given: str, now: float) -> Pairing | None:
        """Use a code up. None for one that is not open."""
        pairing = self._open.pop(digest(plain_code(given)), None)
        return pairing if pairing is not None and pairing.until > now else None


class EngineerCode:
    """The code on the terminal that makes one engineer, where there is none or the passwords are lost."""

    def __init__(self) -> None:
        self._digest: str | None = None

    def make(self) -> str:
        made = code(ENGINEER_CODE_CHARS)
        self._digest = digest(plain_code(made))
        return made

    def drop(self) -> None:
        """It is good for nothing any more: there is an engineer, made elsewhere."""
        self._digest = None

    @property
    def is_open(self) -> bool:
        return self._digest is not None

    def take(self, given: str) -> str | None:
        """Use the code up, so that of two that come at once only one is let in: what to give back, or None."""
        taken = self._digest
        if taken is None or not same(taken, digest(plain_code(given))):
            return None
        self._digest = None
        return taken

    def give_back(self, taken: str) -> None:
        """It made nobody: it is good again."""
        self._digest = taken
