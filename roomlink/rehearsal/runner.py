"""Runs a scenario from its first step to its last on virtual time, and tells what was not as expected."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from roomlink.core.events import Event, decode
from roomlink.drivers.registry import Registry
from roomlink.errors import CallerFault, VenueFault
from roomlink.rehearsal.expect import Difference
from roomlink.rehearsal.invariants import RULES, Broken
from roomlink.rehearsal.scenario import Scenario, ScenarioStep, load_scenario, scenarios_of
from roomlink.rehearsal.stage import Stage
from roomlink.rehearsal.steps import Do
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue.findings import Finding, Place
from roomlink.venue.load import Loaded, load


@dataclass(frozen=True, slots=True)
class Failure:
    """At ``place`` in the scenario, ``clock`` by the venue's clock: what differs. ``shows`` names the step's rule."""

    place: Place
    clock: str
    done: str
    differences: tuple[Difference, ...]
    shows: str = ""

    def __str__(self) -> str:
        head = f"{self.place}: at {self.clock}" + (f", after: {self.done}" if self.done else "")
        head += f" (shows: {self.shows})" if self.shows else ""
        return "\n".join((head, *(f"  {difference}" for difference in self.differences)))


@dataclass(frozen=True, slots=True)
class Result:
    """One scenario as it went. ``seconds`` is the virtual time that it took; ``findings`` kept it from running."""

    path: Path
    name: str
    steps: int = 0
    expectations: int = 0
    entries: int = 0
    seconds: float = 0.0
    failures: tuple[Failure, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def passed(self) -> bool:
        return not self.failures and not self.findings

    def __str__(self) -> str:
        lasted = f"{self.seconds / 3600.0:.1f} h" if self.seconds >= 3600.0 else f"{self.seconds:.0f} s"
        head = f"{'ok  ' if self.passed else 'FAIL'} {self.name}: {self.steps} steps, {lasted}"
        return "\n".join((head, *map(str, self.findings), *map(str, self.failures)))

    def as_data(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            "scenario": str(self.path),
            "name": self.name,
            "passed": self.passed,
            "steps": self.steps,
            "expectations": self.expectations,
            "entries": self.entries,
            "seconds": round(self.seconds, 3),
            "failures": [
                {
                    "file": f.place.file,
                    "line": f.place.line,
                    "column": f.place.column,
                    "at": f.clock,
                    "after": f.done,
                    "shows": f.shows,
                    "differences": [d._asdict() for d in f.differences],
                }
                for f in self.failures
            ],
            "findings": [
                {"file": f.file, "line": f.line, "column": f.column, "key": f.key, "text": f.text, "right": f.right}
                for f in self.findings
            ],
        }


def rehearse(
    folder: Path, chosen: Sequence[Path] = (), told: Callable[[Result], object] = lambda result: None
) -> list[Result]:
    """Run the ``chosen`` scenarios of a venue, or all of its ``rehearsals`` folder; ``told`` gets each as it ends.

    Raises ``VenueFault`` for a venue that cannot be loaded; what is wrong with a scenario is in its result.
    """
    loaded = load(folder, DriverRules(Registry.of()))
    results = []
    for path in chosen or scenarios_of(folder):
        results.append(run_file(path, loaded))
        told(results[-1])
    return results


def run_file(path: Path, loaded: Loaded) -> Result:
    try:
        scenario = load_scenario(path, loaded.spec)
        return run(scenario, loaded)
    except VenueFault as fault:
        return Result(path, path.stem, findings=tuple(fault.findings))


def run(scenario: Scenario, loaded: Loaded) -> Result:
    """Run one scenario in a venue. Ends early where a rule is broken, as nothing can be expected after that."""
    begin = () if scenario.begin is None else _state_of(scenario.begin)
    return Performance(scenario, Stage(loaded.data, loaded.digest, scenario.start, begin)).run()


def _state_of(path: Path) -> tuple[Event, ...]:
    """The events of a state that a cut from the journal wrote. Raises ``VenueFault``."""
    try:
        return tuple(decode(event) for event in json.loads(path.read_text()))
    except (OSError, ValueError, KeyError, TypeError) as error:
        text = f"the state to begin from cannot be read: {error}"
        raise VenueFault([Finding(str(path), 0, 0, "", "error", text, "cut the scenario anew")]) from error


class Performance:
    """One run of one scenario."""

    def __init__(self, scenario: Scenario, stage: Stage) -> None:
        self.scenario = scenario
        self.stage = stage
        self.failures: list[Failure] = []
        self.zone = ZoneInfo(stage.state.spec.timezone)

    def run(self) -> Result:
        scenario = self.scenario
        step: ScenarioStep | None = None
        try:
            self.stage.open(scenario.walls)
            for step in scenario.steps:
                self._step(step)
        except Broken as broken:
            rule = Difference(f"rule {broken.rule}", RULES[broken.rule], broken.text)
            place = step.place if step is not None else scenario.place(("rehearsal",))
            self._failed(place, step.dos if step is not None else (), [rule], step.shows if step is not None else "")
        return Result(
            scenario.path,
            scenario.name,
            len(scenario.steps),
            sum(len(s.expectations) + (s.refused is not None) for s in scenario.steps),
            len(self.stage.entries),
            self.stage.now - scenario.start,
            tuple(self.failures),
        )

    def _step(self, step: ScenarioStep) -> None:
        self.stage.advance_to(step.at)
        refusal: CallerFault | None = None
        for do in step.dos:
            try:
                self._do(do)
            except CallerFault as fault:
                refusal = fault
        # What is due at this very stamp has happened when somebody looks.
        self.stage.advance_to(step.at)
        found = [d for one in step.expectations for d in one.differences(self.stage)]
        kind = refusal.kind if refusal is not None else None
        if kind != step.refused:
            why = f"{kind}: {refusal.detail}" if refusal is not None else "carried out"
            found.insert(0, Difference("refused", step.refused or "carried out", why))
        if found:
            self._failed(step.place, step.dos, found, step.shows)

    def _failed(self, place: Place, dos: Sequence[Do], found: list[Difference], shows: str) -> None:
        clock = datetime.fromtimestamp(self.stage.now, UTC).astimezone(self.zone)
        said = clock.strftime("%H:%M:%S.%f")[:-3]
        self.failures.append(Failure(place, said, "; ".join(map(str, dos)), tuple(found), shows))

    def _do(self, do: Do) -> None:
        command = do.command(self.stage.state.spec, self.stage.now, self.stage.state)
        if command is not None:
            self.stage.do(command)
        else:
            BESIDES[do.verb](self.stage, self.scenario, do.members)


# What is done to devices and to the service instead of the core.

Besides = Callable[[Stage, Scenario, Mapping[str, Any]], None]


def _run_wall(stage: Stage, scenario: Scenario, m: Mapping[str, Any]) -> None:
    stage.do(stage.walls.leaving(stage.state.spec, m["run"], m["to"]))
    stage.walls.run(m["run"], m["to"])


def _reload(stage: Stage, scenario: Scenario, m: Mapping[str, Any]) -> None:
    loaded = load(scenario.path.parent / m["reload"], DriverRules(Registry.of()))
    stage.reload(loaded.data, loaded.digest)


def _happened(stage: Stage, scenario: Scenario, m: Mapping[str, Any]) -> None:
    stage.happened(tuple(decode(event) for event in m["happened"]), m.get("by", "journal"))


def _on(call: Callable[[Stage, Mapping[str, Any]], None]) -> Besides:
    return lambda stage, scenario, m: call(stage, m)


BESIDES: dict[str, Besides] = {
    "run": _run_wall,
    "unplug": _on(lambda stage, m: stage.unplug(m["unplug"], power=bool(m.get("power")))),
    "plug": _on(lambda stage, m: stage.plug(m["plug"])),
    "turn": _on(lambda stage, m: stage.bench.device(m["turn"]).turn(m["point"], m["value"])),
    "slow": _on(lambda stage, m: stage.bench.device(m["slow"]).slow(m["delay"])),
    "refuse": _on(lambda stage, m: stage.bench.device(m["refuse"]).refuse(m["point"])),
    "accept": _on(lambda stage, m: stage.bench.device(m["accept"]).accept(m["point"])),
    "restart": _on(lambda stage, m: stage.restart(m["restart"])),
    "reload": _reload,
    "happened": _happened,
}
