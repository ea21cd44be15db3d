"""Who of those that lead has a panel: where a lead's panel stays away, the core is told, and once more when it is back.

Nothing is asked over and over: for each lead whose panel is away one timer runs. What sockets do is not journalled;
only what follows from it is.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection

from roomlink.core.commands import SERVICE, ReportPanel
from roomlink.core.events import Configured, Entry, RoleSet
from roomlink.errors import RoomlinkError
from roomlink.limits import LEAD_GONE_S
from roomlink.runtime.clock import Timer
from roomlink.runtime.writer import Writer


class Lookout:
    """Sockets say ``came`` and ``left`` at any time. Between ``start`` and ``stop`` it watches over those who lead."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer
        self.elsewhere: Callable[[], Collection[str]] = tuple
        """The controllers that have a panel at another node of the venue."""
        self._here: dict[str, int] = {}
        """Controller to its panels' sockets."""
        self._left: dict[str, float] = {}
        """Controller to the last sign of life of its last panel, for those that had one and have none."""
        self._timers: dict[str, Timer] = {}
        self._began: float | None = None

    def start(self) -> None:
        """After the writer. Whoever is missed at a start is given as long as after being lost."""
        self._began = self._writer.clock.stamp()
        self._writer.hooks.append(self._heard)
        self._watch_all()

    def stop(self) -> None:
        """Does no harm when not started."""
        if self._began is not None:
            self._began = None
            self._writer.hooks.remove(self._heard)
            self._forget()

    def came(self, controller: str) -> None:
        """A panel of ``controller`` has connected."""
        self._here[controller] = self._here.get(controller, 0) + 1
        self._left.pop(controller, None)
        self._cancel(controller)
        state = self._writer.state
        if controller in state.absent:
            self._tell(ReportPanel(SERVICE, controller, True))
        for other in list(state.absent):
            # A lead that is away and found nobody to hand the lead to may have found somebody now.
            role = state.roles.get(other)
            if other != controller and role is not None and role.lead and self._began is not None:
                self._tell(ReportPanel(SERVICE, other, False, self._there()))

    def left(self, controller: str, last_sign: float) -> None:
        """A socket of ``controller`` is gone, of whose panel there was no sign since the stamp ``last_sign``."""
        rest = self._here.pop(controller, 1) - 1
        if rest > 0:
            self._here[controller] = rest
        else:
            self._left[controller] = last_sign
            self._watch(controller)

    def _there(self) -> tuple[str, ...]:
        return tuple(sorted({*self._here, *self.elsewhere()}))

    def _heard(self, entry: Entry) -> None:
        for event in entry.events:
            if isinstance(event, Configured):
                self._forget()
                self._watch_all()
            elif isinstance(event, RoleSet):
                self._watch(event.controller)

    def _watch_all(self) -> None:
        for controller in self._writer.state.spec.controllers:
            self._watch(controller)

    def _watch(self, controller: str) -> None:
        """Have a timer run where a lead's panel is away and would be missed."""
        self._cancel(controller)
        since = self._missed_since(controller)
        if since is not None:
            at = since + LEAD_GONE_S
            self._timers[controller] = self._writer.clock.call_at(at, lambda: self._due(controller))

    def _missed_since(self, controller: str) -> float | None:
        state = self._writer.state
        role, spec = state.roles.get(controller), state.spec.controllers.get(controller)
        leads = role is not None and role.lead and controller not in state.absent
        if self._began is None or not leads or spec is None or spec.panel == "none" or controller in self._here:
            return None
        # Before the start nobody could be here.
        last = self._left.get(controller, self._began if spec.panel == "expected" else None)
        return None if last is None else max(last, self._began)

    def _due(self, controller: str) -> None:
        self._timers.pop(controller, None)
        if self._missed_since(controller) is None:
            return
        if controller in self.elsewhere():
            self._left[controller] = self._writer.clock.stamp()
            self._watch(controller)
        else:
            self._tell(ReportPanel(SERVICE, controller, False, self._there()))

    def _tell(self, command: ReportPanel) -> None:
        if self._began is not None:
            self._writer.surely(command)
            return
        # This node does not write: whoever does is told.
        with contextlib.suppress(RoomlinkError):
            self._writer.put(command).add_done_callback(lambda done: done.exception())

    def _cancel(self, controller: str) -> None:
        if (timer := self._timers.pop(controller, None)) is not None:
            timer.cancel()

    def _forget(self) -> None:
        for controller in list(self._timers):
            self._cancel(controller)
