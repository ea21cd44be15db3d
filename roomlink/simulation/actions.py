"""What can happen: one table. An action is plain data: a run is a list that can be run again, or cut shorter."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random
from typing import Any

from roomlink.core.decide import describe
from roomlink.drivers.port import Value
from roomlink.simulation.commands import random_command
from roomlink.simulation.place import Place
from roomlink.simulation.world import FIRST_STAMP, World

TABS = ("tab-1", "tab-2", "tab-3", "tab-4", "tab-5")
KEYS = ("key-1", "key-2", "key-3")
CALM_S = 180.0
Args = Mapping[str, Any]


@dataclass(frozen=True)
class Action:
    """Something that happens, and the seconds that pass after it."""

    kind: str
    args: Args
    wait: float

    def __str__(self) -> str:
        text = KINDS[self.kind].words.format_map({k: _said(v) for k, v in self.args.items()})
        return f"{text}; {self.wait:g} s pass" if self.wait else text


@dataclass(frozen=True)
class Kind:
    """How often it comes up, how dice make its members, what it does, and how it is told."""

    weight: int
    make: Callable[[Random, Place, float], Args]
    do: Callable[[World, Args], None]
    words: str


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return " ".join([value["type"], *(f"{k} {v}" for k, v in value.items() if k not in ("type", "id"))])
    if hasattr(value, "by"):
        said = describe(value)
        name = said.pop("command")
        return f"{name}({', '.join(f'{k}={v}' for k, v in said.items())})"
    return f"{value:.3g}" if isinstance(value, float) else str(value)


def _command(dice: Random, place: Place, at: float) -> Args:
    return {"command": random_command(dice, place, at), "key": dice.choice([*KEYS, *[None] * 30])}


def _put(world: World, args: Args) -> None:
    world.put(args["command"], args["key"])


def _twice(world: World, args: Args) -> None:
    for _ in range(2):
        world.put(args["command"], args["key"])


def _message(dice: Random, place: Place, at: float) -> Args:
    kind = dice.choices(["act", "link", "unlink", "unlink-all", "recall"], [40, 8, 4, 1, 3])[0]
    message: dict[str, Any] = {"type": kind, "id": dice.randint(1, 999)}
    if kind in ("link", "unlink"):
        message["zone"] = place.zone(dice)
    elif kind == "recall":
        message |= {"scene": dice.choice([*place.scenes, "evening"]), "over": dice.choice([0.0, 2.0])}
    elif kind == "act":
        message |= _panel_act(dice, place)
    return {"tab": dice.choice(TABS), "message": message}


def _panel_act(dice: Random, place: Place) -> dict[str, Any]:
    control = place.control(dice)
    kind = place.controls.get(control, {"kind": "none"})["kind"]
    do = dice.choice({
        "choice": ["set", "set", "align"],
        "level": ["set", "set", "raise", "lower", "stop", "align"],
        "switch": ["set", "set", "align"],
        "momentary": ["press", "press", "release"],
        "motion": ["open", "close", "open", "close", "stop"],
    }.get(kind, ["set"]))  # fmt: skip
    value = {"value": place.value(dice, control)} if do == "set" or (do == "align" and dice.random() < 0.5) else {}
    return {"control": control, "do": do, **value}


def _say(world: World, args: Args) -> None:
    client = world.clients.get(args["tab"])
    if client is not None and client.line is not None:
        client.line.say(args["message"])


def _held_message(dice: Random, place: Place, at: float) -> Args:
    held = [name for name, spec in place.controls.items() if spec["kind"] in _HELD]
    control = dice.choice(held or list(place.controls))
    do = dice.choice(_HELD.get(place.controls[control]["kind"], ("set",)))
    return {"tab": dice.choice(TABS), "message": {"type": "act", "id": 1, "control": control, "do": do}}


_HELD = {"level": ("raise", "lower"), "momentary": ("press",), "motion": ("open", "close")}


def _say_and_vanish(world: World, args: Args) -> None:
    _say(world, args)
    world.vanish(args["tab"])


def _tab(dice: Random, place: Place, at: float) -> Args:
    return {"tab": dice.choice(TABS)}


def _connect(dice: Random, place: Place, at: float) -> dict[str, Any]:
    controller = dice.choice([None, *dice.sample(place.controllers, min(3, len(place.controllers)))])
    return {"tab": dice.choice(TABS), "controller": controller}


def _close(world: World, args: Args) -> None:
    client = world.clients.get(args["tab"])
    if client is not None and client.line is not None:
        client.line.close()


def _reads(yes: bool) -> Callable[[World, Args], None]:
    def do(world: World, args: Args) -> None:
        client = world.clients.get(args["tab"])
        if client is not None:
            client.reads = yes
            if yes and client.line is not None:
                client.line.read()

    return do


def _device(dice: Random, place: Place, at: float) -> Args:
    return {"device": dice.choice(place.devices)}


def _point(dice: Random, place: Place, at: float) -> Args:
    device, point = dice.choice(place.points)
    return {"device": device, "point": point}


def _input(dice: Random, place: Place, at: float) -> Args:
    device, point = dice.choice(place.inputs)
    return {"device": device, "point": point, "value": dice.random() < 0.6}


def _lie(dice: Random, place: Place, at: float) -> Args:
    values: list[Value] = [True, False, 0.0, 0.37, 1.0, -12.5, "laptop", "nonsense"]
    value = dice.choice(values)
    return {**_point(dice, place, at), "value": value}


def _turn(world: World, args: Args) -> None:
    if world.bench.device(args["device"]).connected:
        world.lies[args["device"], args["point"]] = world.now
        world.bench.device(args["device"]).turn(args["point"], args["value"])


def _walk(dice: Random, place: Place, at: float) -> Args:
    return {"wall": dice.choice(place.simulated), "to": dice.choice(["open", "closed"])}


def _run_wall(world: World, args: Args) -> None:
    spec = world.writer.state.spec
    if args["wall"] in spec.partitions and spec.data["partitions"][args["wall"]].get("simulated"):
        world.writer.surely(world.walls.leaving(spec, args["wall"], args["to"]))
        world.walls.run(args["wall"], args["to"])


def _unplug(world: World, args: Args) -> None:
    device = args["device"]
    if device in world.outputs.stand_ins and device not in world.unplugged:
        world.unplugged.add(device)
        world.outputs.stand_ins[device].unplug(power=args["power"])
        if args["power"]:
            world.eyes.power_lost(device)


def _plug(world: World, args: Args) -> None:
    if args["device"] in world.unplugged:
        world.eyes.back(args["device"])
    world.unplugged.discard(args["device"])
    if args["device"] in world.outputs.stand_ins:
        world.outputs.stand_ins[args["device"]].plug()


def _accept(world: World, args: Args) -> None:
    """What a device has refused is not tried again by itself: it is connected anew."""
    world.bench.device(args["device"]).refusals.clear()
    if args["device"] not in world.unplugged:
        _unplug(world, {"device": args["device"], "power": False})
        _plug(world, {"device": args["device"]})


def calm(world: World) -> None:
    """Everything works again, everybody reads, and nobody touches anything for a while."""
    world.disk.heal()
    for device in list(world.unplugged):
        _plug(world, {"device": device})
    for name in world.bench.names():
        stand = world.bench.device(name)
        stand.delay_s = 0.0
        if stand.refusals:
            _accept(world, {"device": name})
    for name, client in list(world.clients.items()):
        if not client.alive:
            _close(world, {"tab": name})
        _reads(True)(world, {"tab": name})
        world.resume(name)
        client.holds.clear()
    for device, point, _ in world.held_keys():
        stand = world.bench.device(device)
        stand.turn(point, not stand.values[point])
    world.pass_time(CALM_S)


def _slow_device(dice: Random, place: Place, at: float) -> Args:
    return {**_device(dice, place, at), "delay": dice.choice([0.0, 0.2, 2.0])}


KINDS: dict[str, Kind] = {
    "put": Kind(60, _command, _put, "over HTTP {command}"),
    "twice": Kind(3, lambda d, p, at: {"command": random_command(d, p, at), "key": f"twice-{d.randint(1, 10**9)}"},
                  _twice, "over HTTP, twice with one Idempotency-Key, {command}"),
    "connect": Kind(8, _connect, lambda w, a: w.connect(a["tab"], a["controller"]), "{tab} opens {controller}"),
    "say": Kind(60, _message, _say, "{tab} says {message}"),
    "close": Kind(2, _tab, _close, "{tab} closes"),
    "hold": Kind(10, _held_message, _say, "{tab} says {message}"),
    "hold and vanish": Kind(4, _held_message, _say_and_vanish, "{tab} says {message} and vanishes"),
    "vanish": Kind(3, _tab, lambda w, a: w.vanish(a["tab"]), "{tab} vanishes"),
    "resume": Kind(5, _tab, lambda w, a: w.resume(a["tab"]), "{tab} comes back"),
    "stall": Kind(3, _tab, _reads(False), "{tab} stops reading"),
    "read": Kind(3, _tab, _reads(True), "{tab} reads again"),
    "unplug": Kind(3, lambda d, p, at: {**_device(d, p, at), "power": d.random() < 0.4}, _unplug,
                   "{device} is lost, its power too: {power}"),
    "plug": Kind(4, _device, _plug, "{device} is back"),
    "slow device": Kind(2, _slow_device, lambda w, a: w.bench.device(a["device"]).slow(a["delay"]),
                        "{device} takes {delay} s for everything"),
    "refuse": Kind(1, _point, lambda w, a: w.bench.device(a["device"]).refuse(a["point"]), "{device} refuses {point}"),
    "accept": Kind(1, _device, _accept, "{device} takes everything again, and is connected anew"),
    "lie": Kind(4, _lie, _turn, "{device} says that {point} is {value}"),
    "contact": Kind(8, _input, _turn, "at {device} {point} is {value}"),
    "wall": Kind(6, _walk, _run_wall, "the simulated wall {wall} runs to {to}"),
    "disk refuses": Kind(2, lambda d, p, at: {"appends": d.choice([1, 2, 5])},
                         lambda w, a: w.disk.fail(a["appends"]), "the disk refuses {appends} appends"),
    "disk doubts": Kind(2, lambda d, p, at: {"written": [d.random() < 0.5, d.random() < 0.5]},
                        lambda w, a: w.disk.doubt(*a["written"]), "the disk fails with an unclear error: {written}"),
    "disk stalls": Kind(2, lambda d, p, at: {}, lambda w, a: setattr(w.disk, "slow", True), "the disk hangs"),
    "disk heals": Kind(6, lambda d, p, at: {}, lambda w, a: w.disk.heal(), "the disk works again"),
    "snapshot": Kind(2, lambda d, p, at: {}, lambda w, a: w.writer.save_snapshot(), "a snapshot is saved"),
    "reload": Kind(2, lambda d, p, at: {"variant": d.randrange(p.variants)},
                   lambda w, a: w.reload(a["variant"]), "reload configuration {variant}"),
    "clock": Kind(1, lambda d, p, at: {"by": d.choice([-7200.0, -5.0, 30.0, 3600.0])},
                  lambda w, a: w.jump(a["by"]), "the wall clock jumps by {by} s"),
    "restart": Kind(1, lambda d, p, at: {"down": d.choice([0.0, 5.0, 600.0])},
                    lambda w, a: w.stop(a["down"]), "restart in good order, away for {down} s"),
    "crash": Kind(3, lambda d, p, at: {"down": d.choice([0.0, 0.0, 5.0, 600.0]), "kept": d.choice([0.0, 0.5, 1.0])},
                  lambda w, a: w.crash(a["down"], a["kept"]), "crash, away for {down} s"),
    "wait": Kind(0, lambda d, p, at: {}, lambda w, a: None, "nothing happens"),
    "calm": Kind(1, lambda d, p, at: {}, lambda w, a: calm(w), "everything works again and nobody touches anything"),
}  # fmt: skip


def random_actions(dice: Random, place: Place, hours: float) -> list[Action]:
    """What happens in so many hours: bursts, and quiet between them."""
    found = [Action("connect", _connect(dice, place, FIRST_STAMP) | {"tab": tab}, 0.0) for tab in TABS]
    at, end = FIRST_STAMP, FIRST_STAMP + hours * 3600.0
    names = [n for n in KINDS if (n != "wall" or place.simulated) and (n != "contact" or place.inputs)]
    names = [n for n in names if place.points or n not in ("refuse", "accept", "lie")]
    names = [n for n in names if place.devices or n not in ("unplug", "plug", "slow device")]
    weights = [KINDS[name].weight for name in names]
    while at < end:
        kind = dice.choices(names, weights)[0]
        wait = _wait(dice)
        found.append(Action(kind, KINDS[kind].make(dice, place, at), wait))
        at += wait
    return found


def _wait(dice: Random) -> float:
    """Nothing, moments, seconds, and now and then minutes."""
    return round(dice.choices(
        [0.0, dice.uniform(0.0, 0.4), dice.uniform(0.4, 4.0), dice.uniform(4.0, 90.0), dice.uniform(90.0, 1500.0)],
        [30, 30, 24, 12, 4],
    )[0], 3)  # fmt: skip
