"""What must be so whenever nothing is under way: one function a rule, named in ``broken.RULES``.

What must be so at every single entry is held by ``rehearsal.invariants.Watch``, what arrives at devices by ``bench``.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from itertools import pairwise
from typing import Any

from roomlink import limits
from roomlink.core import snapshot, sources, view
from roomlink.core.apply import apply
from roomlink.core.decide import next_deadline
from roomlink.core.records import Choice, Level, Motion
from roomlink.core.spec import ChoiceSpec, MotionSpec
from roomlink.core.state import State
from roomlink.drivers.outbox import alike
from roomlink.journal.recovery import fold
from roomlink.rehearsal.faces import check_faces
from roomlink.rehearsal.invariants import NEAR
from roomlink.runtime import wanted
from roomlink.runtime.wiring import Binding
from roomlink.simulation.broken import hold_to
from roomlink.simulation.clients import Client
from roomlink.simulation.world import World

Data = Mapping[str, Any]
LET_GO_S = 1.0


def check(world: World) -> None:
    """Hold the world to every rule of a moment in which the journal has all that was decided."""
    if not world.writer.at_rest or world.disk.slow:
        return
    for rule in MOMENTS:
        rule(world)


def picture(world: World) -> None:
    for client in world.clients.values():
        if client.picture is None or client.line is None or not client.line.up_to_date:
            continue
        state, now = world.writer.state, world.now
        if client.controller is None:
            shown = view.watched(state, world.writer.engine.seq, now)
            shown.pop("overflows")  # told at the welcome alone: groups say what it makes
        elif client.controller in state.spec.controllers:
            shown = view.panel(state, client.controller, now)
        else:
            continue
        _same_picture(client, state, now, shown)


def _same_picture(client: Client, state: State, now: float, shown: Data) -> None:
    assert client.picture is not None
    # Also what has come to its end while a failing disk has not taken that yet.
    moving = {k: one.arrival for k, one in state.controls.items() if isinstance(one, Level) and one.arrival is not None}
    late = {key for key, arrival in moving.items() if arrival <= now}
    for part, right in shown.items():
        if part in ("at", "seq"):
            continue
        left = client.picture.get(part)
        if part == "controller":
            left, right = ({client.controller: one} for one in (left, right))
        if part == "partitions" and client.controller is not None:
            left, right = _counting(left), _counting(right)
        elif part in ("zones", "controllers", "controller"):
            if part == "zones":
                left, right = _settled_zones(left, moving, late), _settled_zones(right, moving, late)
            else:
                left, right = _settled_faces(left, state, moving), _settled_faces(right, state, moving)
        if left != right:
            hold_to(
                "picture", False, f"{client.name} of {client.controller} has {_first_difference(part, left, right)}"
            )


def _counting(walls: Any) -> Data:
    """What is reported and does not count yet is news for those who watch alone."""
    return {name: {**wall, "reported": None} for name, wall in walls.items()}


def _settled_zones(zones: Any, moving: Collection[tuple[str, str]], late: Collection[tuple[str, str]]) -> Any:
    """Without the values of what is on its way: those a client works out for itself, and when it is there."""

    def settled(zone: str, controls: Data) -> Data:
        still = {c: {**one, "value": None} if (zone, c) in moving else one for c, one in controls.items()}
        return {c: {**one, "moving": None} if (zone, c) in late else one for c, one in still.items()}

    return {
        zone: {**content, "controls": settled(zone, content.get("controls", {}))} for zone, content in zones.items()
    }


def _settled_faces(faces: Any, state: State, moving: Collection[tuple[str, str]]) -> Any:
    found = {}
    for controller, face in faces.items():
        move = {c for zone, c in moving if zone in state.linked.get(controller, ())}
        found[controller] = {**face, "controls": {c: None if c in move else v for c, v in face["controls"].items()}}
    return found


def _first_difference(path: str, left: Any, right: Any) -> str:
    if isinstance(left, Mapping) and isinstance(right, Mapping):
        for name in [*right, *left]:
            if left.get(name) != right.get(name):
                return _first_difference(f"{path}.{name}", left.get(name), right.get(name))
    return f"{path} {left}, which is {right}"


def feedback(world: World) -> None:
    watch, place = world.writer.engine.watch, (world.restarts, world.writer.engine.seq)
    if watch is not None and world.felt != place:
        world.felt = place
        check_faces(watch.plan, world.writer.state, world.now)


def holder(world: World) -> None:
    signs = {client.holder: client for client in world.clients.values() if client.line is not None}
    keys = {holder for _, _, holder in world.held_keys(within_s=LET_GO_S)}
    for name, hold in world.writer.state.holds.items():
        if hold.until is not None:
            # What moves is stopped at the device then; that it is written down may have to wait for a failing disk.
            in_time = world.now <= hold.until + NEAR or world.writer.failure is not None
            bounded = in_time and hold.until - hold.start <= limits.HELD_OVER_HTTP_S_MAX + NEAR
            hold_to("holder", bounded, f"{name} stands {world.now - hold.start:.2f} s after it began")
            continue
        if hold.holder in keys:
            continue
        client = signs.get(hold.holder)
        hold_to("holder", client is not None, f"{name} is held by {hold.holder}, which is not connected")
        assert client is not None
        silent = 0.0 if client.alive else world.now - client.vanished
        hold_to("holder", silent <= LET_GO_S + NEAR, f"{name} is still held {silent:.2f} s after its holder vanished")


def deadline(world: World) -> None:
    due = next_deadline(world.writer.engine.ahead)
    if due is not None and world.writer.failure is None:
        hold_to("deadline", due > world.now, f"something was due {world.now - due:.3f} s ago")


def booked(world: World) -> None:
    taken: dict[str, list[tuple[float, float, str]]] = {}
    for (booking, key), one in world.writer.state.occurrences.items():
        if one.counts:
            for zone in one.zones:
                taken.setdefault(zone, []).append((one.begins, one.over, f"{booking} ({key})"))
    for zone, spans in taken.items():
        spans.sort()
        for (_, over, first), (begins, _, second) in pairwise(spans):
            hold_to("booked", over <= begins, f"{first} and {second} have {zone} at one time")
        busy = [(span.begins, span.over) for span in world.writer.state.busy.get(zone, ())]
        hold_to("booked", busy == [(b, o) for b, o, _ in spans], f"the index of {zone} does not hold what is booked")


def alarms(world: World) -> None:
    for name, stand_in in world.outputs.stand_ins.items():
        alarm = world.writer.state.alarms.get(f"device-lost/{name}")
        told = alarm is not None and alarm.real
        where = f"{name} is {'up' if stand_in.health.up else 'away'}, and its alarm {'stands' if told else 'does not'}"
        hold_to("alarms", told != stand_in.health.up, where)


def bounded(world: World) -> None:
    state = world.writer.state
    spec = state.spec
    known = {(zone, control) for zone, one in spec.zones.items() for control in one.controls}
    pairs = {(controller, zone) for controller in spec.controllers for zone in spec.zones}
    tables: dict[str, tuple[Iterable[Any], Any]] = {
        "controls": (state.controls, known),
        "links": (state.links, pairs),
        "linked": (state.linked, spec.controllers),
        "linked_by": (state.linked_by, spec.zones),
        "hands": ((controller for controller, _ in state.hands), spec.controllers),
        "held": (state.held, known),
        "walls": (state.walls, spec.partitions),
        "group_of": (state.group_of, spec.zones),
        "roles": (state.roles, spec.controllers),
        "alone": (state.alone, spec.zones),
        "leads": ((lead.controller for lead in state.leads.values()), spec.controllers),
        "absent": (state.absent, spec.controllers),
        "locks": ((lock.zone or lock.controller for lock in state.locks.values()), {*spec.zones, *spec.controllers}),
        "alone_since": (state.alone_since, spec.zones),
        "divisions": (state.divisions, spec.partitions),
        "used": (state.used, spec.zones),
        "masks": (state.masks, known),
        "overrides": (state.overrides, spec.overrides),
        "armed": (state.armed, {binding.name for binding in spec.bindings}),
        "in_use": (state.in_use, spec.zones),
        "wall_requests": (state.wall_requests, spec.partitions),
        "busy": ((zone for zone, spans in state.busy.items() if spans[-1].over > world.now), spec.zones),
        "deferred": (state.deferred, spec.routines),
        "overflows": ((zone for flow in state.one_ways.values() for zone in (flow.source, flow.to)), spec.zones),
        "microphones": (state.microphones, spec.travel.radios),
        "control deadlines": ((d[1:] for d in state.deadlines.standing() if d[0] == "control"), known),
        "hold deadlines": ((d[1] for d in state.deadlines.standing() if d[0] == "hold"), state.holds),
        "held holds": ((hold for holds in state.held.values() for hold in holds), state.holds),
    }
    for table, (names, there) in tables.items():
        gone = [name for name in names if name not in there]
        hold_to("bounded", not gone, f"{table} has {gone[:3]}")
    connected = sum(client.line is not None for client in world.clients.values())
    hold_to("bounded", len(world.writer.hub.everyone()) == connected, "listeners stay after their sockets")
    holding = {client.holder for client in world.clients.values() if client.line is not None}
    hold_to("bounded", world.sockets.holding.keys() <= holding, "sockets that are gone are remembered as holding")


def one_option(world: World) -> None:
    state = world.writer.state
    for (zone, control), record in state.controls.items():
        if isinstance(record, Choice):
            spec = state.spec.zones[zone].controls[control]
            assert isinstance(spec, ChoiceSpec)
            on = [option for option in (record.value, record.pending) if option is not None]
            hold_to("one option", len(on) <= 1, f"{control} in {zone} has {record.value} and {record.pending}")
            offered = set(sources.offered(state, zone, control))
            hold_to("one option", offered.issuperset(on), f"{control} in {zone} is {on}, of {sorted(offered)}")


def runs(world: World) -> None:
    state = world.writer.state
    for key, record in state.controls.items():
        if not isinstance(record, Motion) or record.running is None:
            continue
        spec, where = state.spec.zones[key[0]].controls[key[1]], f"{key[1]} in {key[0]} runs"
        assert isinstance(spec, MotionSpec)
        hold_to("runs", state.held.get(key) or not spec.hold, f"{where} and nobody holds it")
        # It is stopped at the device then, see below; that it is written down may have to wait for a failing disk.
        in_time = record.until is not None and (world.now <= record.until + NEAR or world.writer.failure is not None)
        hold_to("runs", in_time, f"{where} beyond its time")
    for name, wired in world.eyes.devices.items():
        stand = world.bench.device(name)
        if not stand.connected or stand.delay_s or stand.refusals:
            continue
        for binding in wired.bindings:
            if binding.cls == "motion":
                record = state.controls[binding.zone, binding.control]
                for way, point in binding.points.items():
                    on = stand.values.get(point) is True and (name, point) not in world.lies
                    assert isinstance(record, Motion)
                    until = record.until if record.running == way and record.until is not None else float("-inf")
                    right = not on or world.now <= until + NEAR
                    hold_to("runs", right, f"{point} of {name} is on though {binding.control} rests by now")


def replay(world: World) -> None:
    """Not at every moment: it reads the whole journal."""
    state, seq, _ = fold(world.disk, empty=State, apply=apply)
    engine = world.writer.engine
    hold_to("replay", seq == engine.seq, f"the journal ends with {seq}, the service with {engine.seq}")
    hold_to("replay", snapshot.same(state, engine.durable), f"at entry {seq} the journal gives another state")
    hold_to("replay", snapshot.same(engine.ahead, engine.durable), f"at entry {seq} what is decided differs")
    again = snapshot.restored(snapshot.snapshot(engine.durable))
    hold_to("replay", snapshot.same(again, engine.durable), f"a snapshot of entry {seq} restores another state")


def converged(world: World) -> None:
    """Only when everything works again and time has passed: see ``actions.calm``."""
    state, now = world.writer.state, world.now
    for name, wired in world.eyes.devices.items():
        hold_to("converged", world.outputs.stand_ins[name].health.up, f"{name} is not back")
        for binding in wired.bindings:
            if binding.cls == "signal":
                right, found = (
                    wanted.now_wanted(state, binding, now),
                    world.bench.device(name).values.get(binding.points[""]),
                )
                fine = alike(right, found) or _means_the_same(state, binding, found, now)
                hold_to("converged", fine, f"{binding.name} is {found!r} at {name}, and shall be {right!r}")
    hold_to("holder", not state.holds, f"{list(state.holds)} stand though nobody holds anything")
    for client in world.clients.values():
        fine = client.line is None or client.line.up_to_date
        hold_to("picture", fine, f"{client.name} has not got all that was told")


def _means_the_same(state: State, binding: Binding, found: Any, now: float) -> bool:
    """Whether a level that may be turned at its device is as near as its tolerance, or at the end of its range."""
    level = isinstance(found, int | float) and isinstance(state.controls[binding.zone, binding.control], Level)
    if not level or isinstance(found, bool) or not binding.follow:
        return False
    return wanted.is_so(state, binding, binding.scaling.back(found, "level"), now)


MOMENTS: tuple[Callable[[World], None], ...] = (
    picture, feedback, holder, deadline, booked, alarms, bounded, one_option, runs,
)  # fmt: skip
