"""Figures for Prometheus: what the service did and how it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector, generate_latest

from roomlink.core.events import Entry


class Metrics:
    """One registry a service, so that several can live in one process."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self._entries = Counter(
            "roomlink_entries", "Journal entries made durable, by what asked for them.", ["via"], registry=self.registry
        )
        self._problems = Counter(
            "roomlink_problems", "Requests and messages refused, by kind of problem.", ["kind"], registry=self.registry
        )
        self._failures = Counter(
            "roomlink_journal_failures", "Times that the journal did not take an entry.", registry=self.registry
        )
        self.seq = Gauge("roomlink_journal_seq", "Position of the newest durable entry.", registry=self.registry)
        self._alarms = Gauge(
            "roomlink_alarms", "Alarms by state and priority.", ["state", "priority"], registry=self.registry
        )
        self._raised = Gauge("roomlink_alarms_raised", "Alarms raised in the last ten minutes.", registry=self.registry)
        self.listeners = Gauge("roomlink_listeners", "Sockets that listen.", registry=self.registry)
        self.command_seconds = Histogram(
            "roomlink_command_seconds",
            "From taking a command to its being durable.",
            buckets=(0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 1.0),
            registry=self.registry,
        )
        self.ready = Gauge("roomlink_ready", "1 while commands are taken, 0 while not.", registry=self.registry)
        self._writes = Gauge(
            "roomlink_writes",
            "1 where this service decides for the venue and drives its devices, 0 where it follows another.",
            ["venue"],
            registry=self.registry,
        )
        self.loop_lag_seconds = Histogram(
            "roomlink_event_loop_lag_seconds",
            "How much later than due the event loop ran.",
            buckets=(0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 5.0),
            registry=self.registry,
        )
        # Memory, processor time, file descriptors: read when asked for.
        ProcessCollector(registry=self.registry)

    def writes(self, venue: str, asked: Callable[[], bool]) -> None:
        """``asked`` says at any time whether this service writes ``venue``: of all nodes of one it is one that does."""
        self._writes.labels(venue).set_function(lambda: float(asked()))

    def entry(self, entry: Entry) -> None:
        self._entries.labels(entry.via).inc()
        self.seq.set(entry.seq)

    def problem(self, kind: str) -> None:
        self._problems.labels(kind).inc()

    def journal_failed(self) -> None:
        self._failures.inc()

    def alarms(self, counts: Mapping[tuple[str, str], int], raised: int) -> None:
        """How many alarms there are, by state and priority, and how many were raised of late."""
        self._alarms.clear()
        for (state, priority), count in counts.items():
            self._alarms.labels(state, priority).set(count)
        self._raised.set(raised)

    def text(self) -> bytes:
        return generate_latest(self.registry)
