"""From a control's value to a device's and back. Pure.

A level is mapped from its range onto the device's through a curve; an option or a switch position through a table, or
as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from roomlink.drivers.port import Value


def _square(x: float) -> float:
    return x * x


def _square_inverse(y: float) -> float:
    return float(y**0.5)


# CIE 1976 lightness: L* = 116 (Y/Yn)^(1/3) − 16 above (6/29)^3, and (29/3)^3 Y/Yn below; here both from 0 to 1.
_KNEE = (6 / 29) ** 3


def _lightness(y: float) -> float:
    return (1.16 * y ** (1 / 3) - 0.16) if y > _KNEE else (29 / 3) ** 3 * y / 100


def _lightness_inverse(x: float) -> float:
    return float(((x + 0.16) / 1.16) ** 3) if x > 0.08 else 100 * x / (29 / 3) ** 3


def _same(x: float) -> float:
    return x


CURVES: dict[str, tuple[Callable[[float], float], Callable[[float], float]]] = {
    "linear": (_same, _same),
    "square": (_square, _square_inverse),
    "cie-lightness": (_lightness_inverse, _lightness),
}
"""Curve to (control's fraction to device's fraction, and back). ``cie-lightness`` makes equal steps look equal."""


def decibels_to_ratio(db: float) -> float:
    """Amplitude ratio of a level in dB: 10^(dB/20)."""
    return float(10.0 ** (db / 20.0))


def to_eight_bits(fraction: float) -> int:
    """0..1 to 0..255, half up (Python's round() would go half to even)."""
    return int(min(max(fraction, 0.0), 1.0) * 255 + 0.5)


def to_sixteen_bits(fraction: float) -> int:
    """0..1 to 0..65535, half up."""
    return int(min(max(fraction, 0.0), 1.0) * 65535 + 0.5)


@dataclass(frozen=True, slots=True)
class Scaling:
    """How one binding maps. ``onto`` None: a level goes in its own unit."""

    lo: float = 0.0
    hi: float = 1.0
    onto: tuple[float, float] | None = None
    curve: str = "linear"
    table: Mapping[str, Value] = field(default_factory=dict)
    """Option, ``on``, ``off`` or ``none`` to the device's value."""

    def out(self, value: Value) -> Value:
        """The device's value for a control's. A value that the table lacks goes as it is."""
        if isinstance(value, bool):
            return self.table.get("on" if value else "off", value)
        if value is None or isinstance(value, str):
            return self.table.get("none" if value is None else value, value)
        if self.onto is None:
            return value
        fraction = min(max((value - self.lo) / (self.hi - self.lo), 0.0), 1.0)
        a, b = self.onto
        return a + CURVES[self.curve][0](fraction) * (b - a)

    def back(self, value: Value, kind: str) -> Value:
        """The control's value for what a device reports; raises ValueError for what means nothing here."""
        if kind == "level":
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise ValueError(f"{value!r} is no number")
            if self.onto is None:
                return float(value)
            a, b = self.onto
            fraction = min(max((value - a) / (b - a), 0.0), 1.0)
            return self.lo + CURVES[self.curve][1](fraction) * (self.hi - self.lo)
        for name, theirs in self.table.items():
            if theirs == value and isinstance(theirs, bool) == isinstance(value, bool):
                return {"on": True, "off": False, "none": None}.get(name, name)
        if kind == "switch" and isinstance(value, bool | int):
            return bool(value)
        if kind == "choice" and (value is None or isinstance(value, str)) and not self.table:
            return value
        raise ValueError(f"{value!r} is not in the table of this binding")
