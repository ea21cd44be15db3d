"""Counting tries of passwords and codes, by name and by address, so that guessing takes longer than it is worth."""

from __future__ import annotations

import ipaddress
import math
from collections import OrderedDict
from dataclasses import dataclass

from roomlink import limits
from roomlink.errors import TooMany

WAIT_S_MAX = {
    # A name is not shut for long: somebody else's guesses must not keep its owner out.
    "name": limits.TRY_WAIT_NAME_S_MAX,
    "address": limits.TRY_WAIT_ADDRESS_S_MAX,
    "codes": limits.TRY_WAIT_CODES_S_MAX,
}
"""What tries are counted by, and the longest wait for it."""

Subject = tuple[str, str]


@dataclass(slots=True)
class _Tries:
    count: int
    last: float


class Attempts:
    """Tries that were not right, in bounded memory. Times are stamps."""

    def __init__(self) -> None:
        self._tries: OrderedDict[Subject, _Tries] = OrderedDict()
        self._told: list[float] = []
        self._untold = 0

    def begin(self, now: float, *subjects: Subject) -> None:
        """Count a try, as wrong until ``right`` says otherwise: many at once must not count as one.

        Raises ``TooMany`` for a try that comes too early; it counts for nothing.
        """
        wait = max(self._wait(now, subject) for subject in subjects)
        if wait > 0.0:
            raise TooMany(f"too many attempts; try again in {math.ceil(wait)} s", wait)
        for subject in subjects:
            tries = self._tries.get(subject)
            if tries is None or now - tries.last > limits.TRIES_FORGOTTEN_S:
                tries = _Tries(0, now)
            tries.count, tries.last = tries.count + 1, now
            self._tries[subject] = tries
            self._tries.move_to_end(subject)
        while len(self._tries) > limits.TRIES_KEPT_MAX:
            self._tries.popitem(last=False)

    def right(self, *subjects: Subject) -> None:
        """The try was right: a name starts afresh. Of an address only this try is taken back, or else one right
        password would allow any number of guesses at others."""
        for subject in subjects:
            tries = self._tries.get(subject)
            if subject[0] == "name" or tries is None or tries.count <= 1:
                self._tries.pop(subject, None)
            else:
                tries.count -= 1

    def _wait(self, now: float, subject: Subject) -> float:
        tries = self._tries.get(subject)
        if tries is None or tries.count < limits.TRIES_FREE:
            return 0.0
        doubled = min(tries.count - limits.TRIES_FREE, 30)
        return tries.last + min(limits.TRY_WAIT_S * 2.0**doubled, WAIT_S_MAX[subject[0]]) - now

    def to_tell(self, now: float) -> int | None:
        """Whether a refusal is to be told by itself: how many were not before it; None if it is only counted."""
        self._told = [at for at in self._told if now - at < 3600.0]
        if len(self._told) >= limits.REFUSALS_TOLD_HOURLY_MAX:
            self._untold += 1
            return None
        self._told.append(now)
        untold, self._untold = self._untold, 0
        return untold


def network(address: str) -> str:
    """What an address is counted by: one household has as many of version 6 as it likes."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if found.version == 6 and found.ipv4_mapped is None:
        return str(ipaddress.ip_network(f"{address.partition('%')[0]}/64", strict=False))
    return address
