"""Writes scenarios: a counterexample of the proof, or an evening cut from the journal that runs green as it is."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, replace
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

from roomlink.core import commands, snapshot, view, wall_view
from roomlink.core import events as ev
from roomlink.core.access import AccessEvent
from roomlink.core.alarm_events import AlarmEvent
from roomlink.core.alarms import standing
from roomlink.core.apply import apply
from roomlink.core.commands import Act, Actor, Command
from roomlink.core.events import Entry, encode
from roomlink.core.records import Level
from roomlink.core.state import State
from roomlink.errors import BadValue
from roomlink.journal.port import Journal
from roomlink.journal.recovery import fold
from roomlink.rehearsal.invariants import said
from roomlink.rehearsal.shrink import Counterexample
from roomlink.rehearsal.steps import HELD, Do, as_written

LATE_S = 0.25
"""By so much a service under load may have been late at a deadline; a rehearsal never is."""
BEGIN_S = 10.0
"""When a counterexample's first command comes: by then the walls have settled."""
REST_S = 30.0
"""Written between the commands of a counterexample where it waits for rest."""
_BARE = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*(\.[a-z0-9-]+)?|[0-9]+(\.[0-9]+)?s")
"""Words, controls and durations, which YAML reads as text without quotes."""

Tree = dict[str, Any]


def flow(value: Any) -> str:
    """A value in YAML's flow style, which people can read and ``reading`` reads back equal."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{flow(str(k))}: {flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(one) for one in value) + "]"
    if isinstance(value, str) and _BARE.fullmatch(value) and value not in ("null", "true", "false", "y", "n"):
        return value
    return json.dumps(value).removesuffix(".0") if isinstance(value, float) else json.dumps(value)


def written(head: Tree, steps: Iterable[Tree], about: str) -> str:
    """A scenario's text."""
    lines = [f"# {line}" for line in about.splitlines()]
    lines += ["", f"rehearsal: {flow(head)}", "", "steps:"]
    lines += [f"  - {flow(step)}" for step in steps]
    return "\n".join(lines) + "\n"


def seconds(value: float) -> str:
    """A duration, exact to the last digit that a stamp has."""
    return f"{value:.9f}".rstrip("0").rstrip(".") + "s"


def _said(do: Do) -> Tree:
    """A do as it is written: durations with their unit."""
    durations = {"over", "for", "delay", "restart", "start", "end", "set_up", "clear_down"}
    return {k: seconds(v) if k in durations and isinstance(v, float | int) else v for k, v in do.members.items()}


# A counterexample


def of_counterexample(found: Counterexample, venue: str) -> str:
    """The scenario that shows a counterexample; it ends at the broken rule until that is mended."""
    steps: list[Tree] = []
    at = BEGIN_S
    for step in found.steps:
        steps.append({"at": seconds(at), "do": _said(as_written(step.command))})
        at += REST_S if step.wait is None else step.wait
    steps.append({"at": seconds(at)})
    name = f"Broken rule {found.rule} in {venue}"
    return written({"name": name}, steps, str(found))


# A cut from the journal


def cut(journal: Journal, start: float, end: float, out: Path) -> int:
    """Write what happened after ``start`` up to ``end`` as the scenario ``out``; gives how many entries it holds.

    The state to begin from goes beside it, as ``.state.json``. Raises ``BadValue`` where nothing was recorded,
    ``JournalDamaged`` where it cannot be read.
    """
    state, seq, _ = fold(journal, start, empty=State, apply=apply)
    if not state.digest:
        raise BadValue("START", f"nothing was recorded yet at {view.rfc3339(start)}; choose a later start")
    # Who may come in is none of a rehearsal's business, and a scenario is passed around.
    entries = [_without_access(entry) for entry in journal.entries(seq, journal.seq_at(end))]
    entries = [entry for entry in entries if entry.events]
    if not entries:
        raise BadValue("END", f"nothing happened from {view.rfc3339(start)} to {view.rfc3339(end)}")
    beside = out.with_suffix(".state.json")
    begun = (event for event in snapshot.snapshot(state) if not isinstance(event, AccessEvent))
    beside.write_text(json.dumps([encode(event) for event in begun]))
    head = {"name": f"{state.spec.name}, from {view.rfc3339(start)}", "start": start, "begin": beside.name}
    about = f"Cut from the journal of {state.spec.name}: {view.rfc3339(start)} to {view.rfc3339(end)}, UTC."
    out.write_text(written(head, _steps(state, start, entries), about))
    return len(entries)


def _without_access(entry: Entry) -> Entry:
    return replace(entry, events=tuple(event for event in entry.events if not isinstance(event, AccessEvent)))


def stamp_of(text: str, zone: Any) -> float:
    """A time as people give it, RFC 3339 or by the venue's clock. Raises ``BadValue``."""
    try:
        said = datetime.fromisoformat(text)
    except ValueError:
        raise BadValue("time", f"{text!r} is not a time; write 2026-03-14T18:00 or add +00:00 to it") from None
    return (said if said.tzinfo else said.replace(tzinfo=zone)).astimezone(UTC).timestamp()


def _steps(state: State, start: float, entries: list[Entry]) -> Iterator[Tree]:
    """One step for each stamp at which anything happened."""
    for at, group in groupby(entries, key=lambda entry: entry.at):
        dos: list[Tree] = []
        touched: dict[str, None] = {}
        slack: dict[str, float] = {}
        for entry in group:
            if entry.did.get("command") == "Recover":
                # Said as of when the service stopped, it is a step of its own before this one.
                last = float(entry.did["last"])
                yield {"at": seconds(last - start), "do": {"restart": seconds(at - last)}}
            elif entry.did.get("command") != "Wake":
                dos.append(_do(state, entry))
            for event in entry.events:
                slack.update(_slack(state, event, at, woken=entry.did.get("command") == "Wake"))
                apply(state, event)
                touched.update(dict.fromkeys(_touched(event)))
        step: Tree = {"at": seconds(at - start)}
        if dos:
            step["do"] = dos[0] if len(dos) == 1 else dos
        if expect := {what: seen for what in touched if (seen := _seen(state, what, at, slack)) is not None}:
            step["expect"] = {**{k: v for k, v in expect.items() if k != "links"}, **_links(state, touched)}
        yield step


def _do(state: State, entry: Entry) -> Tree:
    try:
        return _said(as_written(_command(state, entry)))
    except (KeyError, TypeError, AttributeError):
        # No verb says this: it stands as the journal has it.
        return {"happened": [encode(event) for event in entry.events], "by": entry.who}


def _command(state: State, entry: Entry) -> Command:
    """The command behind an entry. Raises KeyError or TypeError for one that its entry does not tell whole."""
    kind = getattr(commands, entry.did["command"])
    names = {f.name for f in fields(kind)}
    members = {k: tuple(v) if isinstance(v, list) else v for k, v in entry.did.items() if k in names}
    by = Actor(entry.who, entry.via, _holder(state, entry))
    if kind is commands.LetGo:
        members["as_of"] = entry.at
    command: Command = kind(by=by, **members)
    if isinstance(command, Act) and command.do == "align" and "value" not in members:
        return Act(by, command.control, "align", command.controller, command.zone, None, command.over, given=False)
    return command


def _holder(state: State, entry: Entry) -> str | None:
    """Whose finger it was, from what began or ended to be held."""
    if entry.did.get("do") not in HELD:
        return None
    for event in entry.events:
        holder = None
        if isinstance(event, ev.HoldBegan):
            holder = event.now.holder
        elif isinstance(event, ev.HoldEnded) and event.hold in state.holds:
            hold = state.holds[event.hold]
            surface = hold.controller or hold.zones[0]
            same = surface in (entry.did.get("controller"), entry.did.get("zone"))
            holder = hold.holder if same and hold.control == entry.did.get("control") else None
        if holder is not None:
            # Who cannot be seen to hold goes by their own name, and has given a time instead.
            return None if entry.did.get("for_s") is not None and holder == entry.who else holder
    return None


def _slack(state: State, event: ev.Event, at: float, *, woken: bool) -> dict[str, float]:
    """How far a level may lie off, as the service may have been late when it set off at a deadline."""
    if not isinstance(event, ev.ControlSet) or not isinstance(event.now, Level):
        return {}
    old, new = state.controls.get((event.zone, event.control)), event.now
    stopped = isinstance(old, Level) and (old.arrival or at) > at
    moves = [r for r, counts in ((old, stopped), (new, woken)) if counts and isinstance(r, Level) and r.seconds > 0.0]
    rates = [abs(r.to - r.origin) / r.seconds for r in moves]
    return {f"{event.zone}.{event.control}": round(max(rates) * LATE_S, 4)} if rates else {}


def _touched(event: ev.Event) -> Iterator[str]:
    if isinstance(event, ev.ControlSet | ev.Masked | ev.Unmasked):
        yield f"{event.zone}.{event.control}"
    elif isinstance(event, ev.LinkSet | ev.LinkEnded):
        yield f"links {event.controller}"
    elif isinstance(event, ev.WallSet):
        yield f"walls {event.partition}"
    elif isinstance(event, ev.Regrouped):
        yield "groups"
    elif isinstance(event, AlarmEvent):
        yield "alarms"
    elif isinstance(event, ev.OverrideSet | ev.OverrideCleared):
        yield "overrides"


def _seen(state: State, what: str, at: float, slack: Mapping[str, float]) -> Any:
    if what == "groups":
        return [group for group in wall_view.groups(state) if len(group) > 1]
    if what == "alarms":
        return sorted(standing(state))
    if what == "overrides":
        return sorted(state.overrides)
    zone, _, control = what.rpartition(".")
    if (zone, control) not in state.controls:
        return None
    face = view.control(state, zone, control, at)
    value = face["value"]
    value = "none" if value is None else said(value) if isinstance(value, bool) else value
    found: Tree = {"value": value}
    if face.get("pending") is not None:
        found["pending"] = face["pending"]
    if face.get("overridden"):
        found["overridden"] = face["overridden"]
    if what in slack:
        found["within"] = slack[what]
    return found if len(found) > 1 else value


def _links(state: State, touched: Iterable[str]) -> Tree:
    """Links and walls, which are told together."""
    links = {c: list(state.linked.get(c, ())) for k, _, c in (t.partition(" ") for t in touched) if k == "links" and c}
    walls = {w: state.walls[w] for k, _, w in (t.partition(" ") for t in touched) if k == "walls" and w in state.walls}
    told: Tree = {}
    if links:
        told["links"] = links
    if walls:
        told["walls"] = {w: {"position": wall.position, "flagged": wall.flagged} for w, wall in walls.items()}
    return told
