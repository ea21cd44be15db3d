"""Figures for Prometheus: what the service did and how it is."""

from __future__ import annotations

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest

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
        self.listeners = Gauge("roomlink_listeners", "Sockets that listen.", registry=self.registry)
        self.command_seconds = Histogram(
            "roomlink_command_seconds",
            "From taking a command to its being durable.",
            buckets=(0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 1.0),
            registry=self.registry,
        )

    def entry(self, entry: Entry) -> None:
        self._entries.labels(entry.via).inc()
        self.seq.set(entry.seq)

    def problem(self, kind: str) -> None:
        self._problems.labels(kind).inc()

    def journal_failed(self) -> None:
        self._failures.inc()

    def text(self) -> bytes:
        return generate_latest(self.registry)
