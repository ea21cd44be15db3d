"""How late the event loop runs what is due: everything waits for it, so that this is how slow the service is."""

from __future__ import annotations

import structlog

from roomlink import limits
from roomlink.core.commands import SERVICE, ReportTrouble
from roomlink.runtime.clock import Timer
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

ALARM = "slow"


class Slowness:
    """Judges samples: what lasts for ``LAG_FOR_S`` counts, one way and the other."""

    def __init__(self) -> None:
        self._since: float | None = None
        self._slow = False
        """What the newest samples are, since ``_since``."""

    def sample(self, at: float, lag: float) -> bool | None:
        """Whether the loop has been slow (or not) for so long; None while that is not settled.

        ``at`` and ``lag`` in seconds: when it ran, and how much later than due. One very late sample stands for all
        the time in which nothing ran.
        """
        slow = lag > limits.LAG_S_MAX
        if self._since is None or slow != self._slow:
            self._since, self._slow = at - lag, slow
        return slow if at - self._since >= limits.LAG_FOR_S else None


class LoopLag:
    """Measures all the time, and reports trouble. Start it in the running event loop; stop it before the writer."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer
        self._slowness = Slowness()
        self._told: bool | None = None
        self._timer: Timer | None = None

    def start(self) -> None:
        due = self._writer.clock.stamp() + limits.LAG_SAMPLE_S
        self._timer = self._writer.clock.call_at(due, lambda: self._ran(due))

    def stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()

    def _ran(self, due: float) -> None:
        at = self._writer.clock.stamp()
        lag = max(0.0, at - due)
        self._writer.metrics.loop_lag_seconds.observe(lag)
        slow = self._slowness.sample(at, lag)
        if slow is not None and slow != self._told:
            self._told = slow
            self._report(lag if slow else None)
        self.start()

    def _report(self, lag: float | None) -> None:
        text = "" if lag is None else (
            f"the service is slow: what is due runs {lag:.1f} s late, for {limits.LAG_FOR_S:.0f} s and more; look at"
            " what else this machine does"
        )  # fmt: skip
        if text:
            log.warning("slow", lag_s=round(lag or 0.0, 3))
        self._writer.surely(ReportTrouble(SERVICE, ALARM, text))
