"""The driver contract: the one port between roomlink and any device, and its rules.

A **driver** makes a ``Device`` from a device's configuration. A device is driven by a ``Runner`` (``runner.py``), which
owns everything that all devices need: the outbox where the latest wanted value wins, the rate limit, ramps sampled at
the device's rate, reconnecting with backoff and jitter, driving everything again after an outage, health. So a device
only knows how to talk:

    connect() ─▶ send(values) ... send(values) ─▶ (DeviceFault) ─▶ close() ─▶ connect() ...
             └▶ serve() runs beside it as long as the connection stands

Rules for implementers:

- ``connect`` returns when the device can be talked to, and raises ``DeviceFault`` (or OSError) when it cannot; it takes
  ``CONNECT_S_MAX`` at most. A connectionless protocol returns at once and finds out otherwise, or never: then it says
  so in ``detects_loss``.
- ``send`` gets values of points by their names; it returns when they are sent and, where the protocol answers, taken.
  A name in the returned set is *confirmed* by the device. It raises ``DeviceFault`` when the connection is lost, and
  ``PointFault`` when the device refuses one point for good: that point is reported and the others go on.
- ``serve`` runs until the connection is lost (then it raises ``DeviceFault``) or it is cancelled. It polls, keeps
  alive, and hands every value that the device reports to ``hear``. A device that only receives just waits.
- ``close`` never raises and may be called at any time, also twice. A device that must say good-bye does it here.
- Values are the device's own: what a ``Mapping`` makes of a control's value. Outputs are levels, not edges: sending the
  same value twice must do no harm; where it would (a toggle), the driver must not offer that point.
- Everything that is read from the network is bounded and decoded by a pure ``wire`` module that raises ``WireFault`` on
  anything that it does not understand, never another exception.
- Never log or raise a secret.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from pydantic import BaseModel

from roomlink.errors import RoomlinkError

CONNECT_S_MAX = 5.0

Value = float | int | bool | str | None
"""What a device takes or reports at a point."""


class DeviceFault(RoomlinkError):
    """The device's fault: it cannot be reached, or went away. The runner will try again."""


class PointFault(RoomlinkError):
    """The device refuses one point; ``point`` names it. Trying again with the same value is useless."""

    def __init__(self, point: str, text: str) -> None:
        super().__init__(f"{point}: {text}")
        self.point = point


class WireFault(RoomlinkError):
    """Bytes that the protocol does not allow. The connection they came over is given up where it has a state."""


Hear = Callable[[str, Value], None]
"""Takes a point's name and the value that the device reports there."""


class Device(Protocol):
    """One real device, talked to over its protocol."""

    rate_hz: float
    """Sends a second at most, and at how many samples a second a ramp is followed."""
    detects_loss: bool
    """Whether the protocol notices that the device is gone."""

    async def connect(self, hear: Hear) -> None: ...

    async def send(self, values: Mapping[str, Value]) -> set[str]: ...

    async def serve(self) -> None: ...

    async def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Driver:
    """What a driver registers, as the object that its entry point names."""

    name: str
    """The protocol's own name in lower case, as in ``driver: e131``."""
    config: type[BaseModel]
    """The device's keys beside ``driver``; unknown keys are errors."""
    point: type[BaseModel]
    """The keys of ``point`` in a binding or an input."""
    make: Callable[[Any, Mapping[str, Any]], Device]
    """(config, points by name) to a device; must not touch the network. Raises ValueError with what is wrong."""
    point_name: Callable[[Any, Any], str]
    """(config, point) to the point's name: one place of the device, one name. Equal names are the same place."""
    native: tuple[float, float] | None = None
    """The range onto which a level is always mapped (a dimmer's 0 to 1); None: values go in the control's unit."""
    overlaps: Callable[[Any, Any], bool] | None = None
    """Whether two different points overlap (a 16-bit channel covers two); None: never."""
    conformity: str = ""
    """One sentence on what of the standard it speaks, for documents."""
