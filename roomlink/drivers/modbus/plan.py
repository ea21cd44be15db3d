"""Which requests read and write a set of addresses, and what a register's count means. Pure.

The bytes themselves are pymodbus's business; this decides how few requests do.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from roomlink.drivers.port import Value

KINDS = ("coil", "discrete_input", "register", "input_register")
BITS = ("coil", "discrete_input")
WRITABLE = ("coil", "register")

# The standard's bounds of one request, in coils or registers.
READ_MAX = {"coil": 2000, "discrete_input": 2000, "register": 125, "input_register": 125}
WRITE_MAX = {"coil": 1968, "register": 123}
# One request over a small gap is cheaper than two requests; a device that refuses the gap is then read singly.
GAP_MAX = {"coil": 16, "discrete_input": 16, "register": 8, "input_register": 8}


@dataclass(frozen=True, slots=True)
class Place:
    """One address of one kind, as on the wire, and how a register's count is read."""

    kind: str
    address: int
    signed: bool = False
    step: float = 1.0


@dataclass(frozen=True, slots=True)
class Span:
    """Neighbouring addresses, read by one request."""

    kind: str
    start: int
    count: int


def reads(places: Iterable[Place]) -> list[Span]:
    """The fewest sensible requests that read all of these."""
    wanted: dict[str, set[int]] = {kind: set() for kind in KINDS}
    for place in places:
        wanted[place.kind].add(place.address)
    spans: list[Span] = []
    for kind, addresses in wanted.items():
        first = last = -1
        for address in sorted(addresses):
            if first >= 0 and address - last <= GAP_MAX[kind] and address - first < READ_MAX[kind]:
                last = address
                continue
            if first >= 0:
                spans.append(Span(kind, first, last - first + 1))
            first = last = address
        if first >= 0:
            spans.append(Span(kind, first, last - first + 1))
    return spans


def runs(counts: Mapping[int, int], most: int) -> list[tuple[int, list[int]]]:
    """Start and counts of each run of neighbours. Gaps are never written over."""
    found: list[tuple[int, list[int]]] = []
    for address in sorted(counts):
        if found:
            start, run = found[-1]
            if address == start + len(run) and len(run) < most:
                run.append(counts[address])
                continue
        found.append((address, [counts[address]]))
    return found


def to_count(place: Place, value: Value) -> int:
    """What to write for a value; raises ValueError with what would be right."""
    if place.kind not in WRITABLE:
        raise ValueError(f"a {place.kind.replace('_', ' ')} is only read; drive a coil or a register")
    if place.kind == "coil":
        if isinstance(value, bool):
            return int(value)
        raise ValueError(f"a coil takes on or off, not {value!r}")
    if isinstance(value, bool):
        value = int(value)
    if not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"a register takes a number, not {value!r}; give the binding values")
    lo, hi = (-32768, 32767) if place.signed else (0, 65535)
    # Half up: round() would go half to even.
    count = math.floor(value / place.step + 0.5)
    if not lo <= count <= hi:
        raise ValueError(f"{value:g} does not fit; the register holds {lo * place.step:g} to {hi * place.step:g}")
    return count & 0xFFFF


def to_value(place: Place, count: int) -> Value:
    """What a count that was read means."""
    if place.kind in BITS:
        return bool(count)
    if place.signed and count >= 0x8000:
        count -= 0x10000
    # Rounded, so that 3 tenths are 0.3 and not 0.30000000000000004.
    return count if place.step == 1.0 else round(count * place.step, 9)
