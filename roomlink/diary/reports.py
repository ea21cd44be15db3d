"""What became of a calendar, component by component: for the person who sent it, and for the state of a feed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.diary.ical_read import CalendarFile, Finding

Data = dict[str, Any]

OUTCOMES = ("taken", "changed", "unchanged", "cancelled", "ignored", "refused")


@dataclass(frozen=True, slots=True)
class Line:
    """One component: ``line`` is where it begins in the file, 0 for what is no longer in it.

    ``why`` is for a person and never empty where it was ignored or refused; ``clashes`` name what has the zones.
    """

    line: int
    uid: str
    summary: str
    outcome: str
    why: str = ""
    component: str = "VEVENT"
    booking: str = ""
    clashes: tuple[Mapping[str, Any], ...] = ()

    def data(self) -> Data:
        return {
            "line": self.line,
            "component": self.component,
            "uid": self.uid,
            "summary": self.summary,
            "outcome": self.outcome,
            "why": self.why,
            "booking": self.booking or None,
            "clashes": list(self.clashes),
        }


@dataclass(frozen=True, slots=True)
class Report:
    """All lines of one file, by place. ``fault`` says why nothing of it could be used."""

    lines: tuple[Line, ...] = ()
    fault: str = ""

    def counts(self) -> dict[str, int]:
        found = dict.fromkeys(OUTCOMES, 0)
        for line in self.lines:
            found[line.outcome] += 1
        return found

    def data(self) -> Data:
        return {"counts": self.counts(), "lines": [line.data() for line in self.lines], "fault": self.fault or None}


def report(file: CalendarFile, lines: Iterable[Line]) -> Report:
    """The report on a file of which ``lines`` became so."""
    return Report(tuple(sorted((*lines, *map(_line, file.findings)), key=lambda one: one.line)), file.fault)


def _line(finding: Finding) -> Line:
    return Line(finding.line, finding.uid, finding.summary, finding.outcome, finding.why, finding.component)
