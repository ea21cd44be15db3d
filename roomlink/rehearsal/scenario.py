"""A scenario: a file of a venue's ``rehearsals`` folder, read to steps with their stamps.

```yaml
rehearsal: {name: A fire at dinner, start: 2026-03-14 18:00}
steps:
  - {at: 18:05, do: {wall: heron-plover, position: open}}
  - {after: 3s, do: {set: heron-wall.volume, value: -20}, expect: {plover.volume: -20, groups: [[heron, plover]]}}
```

``at`` is a duration from the start or a clock time of the venue's, ``after`` a duration from the step before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path as FilePath
from typing import Any
from zoneinfo import ZoneInfo

from roomlink.core.spec import Spec
from roomlink.errors import VenueFault
from roomlink.rehearsal.expect import SECTIONS, Expectation, read_control
from roomlink.rehearsal.reading import CLOCK, Names, Reader, duration, read_file
from roomlink.rehearsal.steps import COMMON, VERBS, Do
from roomlink.venue.fields import shown
from roomlink.venue.findings import Path, Place, Report

START = "2026-01-01 12:00"
"""When a scenario begins that does not say, by the venue's clock."""


@dataclass(frozen=True, slots=True)
class ScenarioStep:
    """At the stamp ``at``: what is done, the kind of refusal expected (None: none), and what is expected then.

    ``shows`` names the rule that it is there for, if it is for one.
    """

    at: float
    dos: tuple[Do, ...]
    refused: str | None
    expectations: tuple[Expectation, ...]
    place: Place
    note: str = ""
    shows: str = ""


@dataclass(frozen=True, slots=True)
class Scenario:
    """``walls`` stand as given at first, all others are closed; ``begin`` is a file with a state to begin from."""

    path: FilePath
    name: str
    start: float
    walls: Mapping[str, str]
    begin: FilePath | None
    steps: tuple[ScenarioStep, ...]
    report: Report
    """Where everything was written."""

    def place(self, path: Path) -> Place:
        return self.report.places.of(path, key=True)


def load_scenario(path: FilePath, spec: Spec) -> Scenario:
    """Read one scenario. Raises ``VenueFault`` with every finding, by place."""
    reading = read_file(path)
    report = reading.report
    scenario = None if reading.unread else _Scenarios(path, spec, report).read(reading.tree)
    if errors := report.sorted("error"):
        raise VenueFault(errors)
    assert scenario is not None
    return scenario


def scenarios_of(folder: FilePath) -> list[FilePath]:
    """The scenario files of a venue's folder."""
    return sorted((folder / "rehearsals").glob("*.yaml"))


class _Scenarios:
    def __init__(self, path: FilePath, spec: Spec, report: Report) -> None:
        self.path, self.spec, self.report = path, spec, report
        self.reader = Reader(Names(spec), report)
        self.zone = ZoneInfo(spec.timezone)

    def read(self, tree: Mapping[str, Any]) -> Scenario:
        self.reader.keys(tree, ("rehearsal", "steps"), ())
        head = self.reader.mapping(tree.get("rehearsal", {}), ("rehearsal",))
        self.reader.keys(head, ("name", "about", "start", "walls", "begin"), ("rehearsal",))
        start = self._start(head.get("start", START))
        walls = self.reader.mapping(head.get("walls", {}), ("rehearsal", "walls"))
        begin = head.get("begin")
        listed = tree.get("steps")
        if not isinstance(listed, list) or not listed:
            self.report.add(("steps",), "there are no steps", "write steps: and a list of what happens when")
            listed = []
        return Scenario(
            path=self.path,
            name=str(head.get("name") or self.path.stem.replace("-", " ")),
            start=start,
            walls=self._walls(walls),
            begin=None if begin is None else self.path.parent / str(begin),
            steps=tuple(self._steps(listed, start)),
            report=self.report,
        )

    def _walls(self, given: Mapping[str, Any]) -> dict[str, str]:
        at: Path = ("rehearsal", "walls")
        known = [w for w in given if self.reader.name("wall", w, (*at, w)) is not None]
        return {w: self.reader.take("position", given[w], (*at, w)) for w in known}

    def _start(self, value: object) -> float:
        try:
            if isinstance(value, int | float) and not isinstance(value, bool):
                return float(value)
            said = datetime.fromisoformat(str(value))
        except ValueError:
            text = f"{shown(value)} is not a date and time"
            self.report.add(("rehearsal", "start"), text, "write it as 2026-03-14 18:00, by the venue's clock")
            return 0.0
        return (said if said.tzinfo else said.replace(tzinfo=self.zone)).timestamp()

    def _steps(self, listed: list[Any], start: float) -> list[ScenarioStep]:
        steps: list[ScenarioStep] = []
        now = start
        for place, raw in enumerate(listed):
            path: Path = ("steps", place)
            step = self.reader.mapping(raw, path)
            self.reader.keys(step, ("at", "after", "do", "expect", "note", "shows"), path)
            at = self._at(step, path, start, now)
            if at < now:
                self.report.add((*path, "at"), "this is before the step above it", "put the steps in order of time")
            now = max(now, at)
            steps.append(self._step(step, path, now))
        return steps

    def _at(self, step: Mapping[str, Any], path: Path, start: float, now: float) -> float:
        if "after" in step:
            if "at" in step:
                self.report.add((*path, "after"), "a step has at or after, not both", "leave one of them out")
            return now + (self.reader.take("duration", step["after"], (*path, "after")) or 0.0)
        value = step.get("at")
        if value is None:
            return now
        clock = CLOCK.fullmatch(value) if isinstance(value, str) else None
        if clock is None:
            try:
                return start + duration(value)
            except ValueError:
                text = f"{shown(value)} is neither a duration nor a clock time"
                self.report.add((*path, "at"), text, "write 90s or 5min from the start, or a time such as 18:05")
                return now
        local = datetime.fromtimestamp(now, UTC).astimezone(self.zone)
        that = local.replace(hour=int(clock[1]), minute=int(clock[2]), second=int(clock[3] or 0), microsecond=0, fold=0)
        # A clock time long before that of the step above is of the next day: evenings go past midnight.
        past_midnight = now - that.timestamp() > 43_200.0
        return (that + timedelta(days=1) if past_midnight else that).timestamp()

    def _step(self, step: Mapping[str, Any], path: Path, at: float) -> ScenarioStep:
        raw = step.get("do", [])
        listed = [(raw, (*path, "do"))] if not isinstance(raw, list) else []
        listed += [(one, (*path, "do", n)) for n, one in enumerate(raw)] if isinstance(raw, list) else []
        dos = [do for one, where in listed if (do := self._do(one, where)) is not None]
        expect = self.reader.mapping(step.get("expect", {}), (*path, "expect"))
        refused = None
        found: list[Expectation] = []
        for key, value in expect.items():
            where = (*path, "expect", key)
            if key == "refused":
                refused = self.reader.take("text", value, where)
            elif key in SECTIONS:
                found.append(Expectation(key, SECTIONS[key].read(self.reader, value, where), where))
            elif "." not in key:
                keys = ", ".join((*SECTIONS, "refused"))
                self.report.add(
                    where, f"unknown key {key!r}", f"write a control, such as zone.control, or {keys}", key=True
                )
            elif self.reader.control(key, where, key=True) is not None:
                found.append(Expectation(key, read_control(self.reader, value, where), where))
        if refused is not None and not dos:
            self.report.add((*path, "expect", "refused"), "nothing is done that could be refused", "write do: as well")
        place = self.report.places.of(path)
        note, shows = str(step.get("note", "")), str(step.get("shows", ""))
        return ScenarioStep(at, tuple(dos), refused, tuple(found), place, note, shows)

    def _do(self, raw: object, path: Path) -> Do | None:
        given = self.reader.mapping(raw, path)
        if not given:
            return None
        verb = next((key for key in given if key in VERBS), None)
        if verb is None:
            # The verb comes first; what follows it is looked at once it is known.
            self.reader.keys({next(iter(given)): None}, VERBS, path)
            return None
        spec = VERBS[verb]
        kinds = {verb: spec.object, **spec.keys, **COMMON}
        known = self.reader.keys(given, kinds, path)
        members = {key: self.reader.take(kinds[key], given[key], (*path, key)) for key in known}
        for key in spec.needs:
            if key not in given:
                self.report.add(path, f"{key!r} is missing", f"write {{{verb}: ..., {key}: ...}}")
        return Do(verb, members)
