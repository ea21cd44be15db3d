"""Random commands of every kind that comes over HTTP, from a device or from a schedule: one table."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from roomlink.core import alarm_commands as alarm
from roomlink.core import commands as cmd
from roomlink.core.bookings import OneWish, Wish, key_of
from roomlink.core.commands import Actor, Command
from roomlink.simulation.place import Place
from roomlink.simulation.trust import TRUST

PEOPLE = (Actor("program", "http"), Actor("office", "http"), Actor("technician", "http"))
CONTACT = Actor("crew", "http")
SCHEDULE = Actor("service", "schedule")
OVERFLOWS = ("balcony", "balcony", "stream", "relay")
"""One of them is configured, and two are names of joins as well."""
BOOKINGS = ("gala", "fair", "supper", "course", "talk", "ball")
LOCKS = ("quiet", "closed")
Make = Callable[[Random, Place, float], Command]
"""Takes the stamp at which it is going to be carried out, more or less."""


def _by(dice: Random) -> Actor:
    return dice.choice(PEOPLE)


def _act(dice: Random, place: Place, at: float) -> Command:
    control = place.control(dice)
    kind = place.controls.get(control, {"kind": "none"})["kind"]
    do = dice.choice({
        "choice": ["set", "set", "align"],
        "level": ["set", "set", "step", "raise", "lower", "stop", "align"],
        "switch": ["set", "set", "toggle", "align"],
        "momentary": ["press", "release"],
        "motion": ["open", "close", "stop"],
    }.get(kind, ["set"]))  # fmt: skip
    through = dice.random() < 0.6
    bounded = do in ("raise", "lower", "press", "open", "close") and dice.random() < 0.95
    given = do == "set" or (do == "align" and dice.random() < 0.5)
    return cmd.Act(
        _by(dice),
        control,
        do,
        controller=dice.choice(place.controllers) if through else None,
        zone=None if through else place.zone(dice),
        value=dice.choice([-3.0, 1.5, 400.0]) if do == "step" else place.value(dice, control) if given else None,
        over=dice.choice([0.0, 0.0, 0.5, 3.0, 60.0]) if do == "set" else 0.0,
        for_s=dice.choice([0.2, 1.0, 5.0, 10.0]) if bounded else None,
        given=given,
    )


def _wall(dice: Random, place: Place, at: float) -> Command:
    wall = dice.choice(place.walls)
    if dice.random() < 0.2:
        contacts = (dice.choice([True, False, None]), dice.choice([True, False, None]))
        return cmd.ReportWall(CONTACT, wall, contacts=contacts)
    pin = dice.choice([None, None, None, 30.0, 600.0, 0.0])
    position = dice.choice(["open", "open", "closed", "closed", "moving", "unknown"])
    return cmd.ReportWall(CONTACT, wall, None if pin == 0.0 else position, pin=pin)


def _combine(dice: Random, place: Place, at: float) -> Command:
    controller = dice.choice([None, None, None, dice.choice(place.controllers)])
    return cmd.CombineWall(_by(dice), dice.choice(place.walls), dice.random() < 0.6, controller)


def _join(dice: Random, place: Place, at: float) -> Command:
    return cmd.JoinZones(_by(dice), dice.choice(["stream", "relay"]), dice.choice([(), place.some_zones(dice)]))


def _overflow(dice: Random, place: Place, at: float) -> Command:
    name = dice.choice(OVERFLOWS)
    if dice.random() < 0.3:
        return cmd.StartOverflow(_by(dice), name)
    carries: tuple[str, ...] | None = dice.choice([None, ("sound",), ("picture",), ("sound", "picture")])
    return cmd.StartOverflow(_by(dice), name, place.zone(dice), place.zone(dice), carries)


def _assign(dice: Random, place: Place, at: float) -> Command:
    return cmd.AssignMicrophone(_by(dice), dice.choice(place.microphones), place.zone(dice))


def _scene(dice: Random, place: Place, at: float) -> Command:
    where = dice.choice(["zones", "controller", "group", "own"])
    return cmd.RecallScene(
        _by(dice),
        dice.choice([*place.scenes, "evening"]),
        zones=place.some_zones(dice) if where == "zones" else None,
        controller=dice.choice(place.controllers) if where == "controller" else None,
        group=dice.choice(place.zones) if where == "group" else None,
        over=dice.choice([0.0, 2.0]),
    )


def _save(dice: Random, place: Place, at: float) -> Command:
    name = dice.choice([*place.scenes, "evening"])
    return cmd.SaveScene(_by(dice), name, capture=place.some_zones(dice), if_match=("*",))


def _wish(dice: Random, place: Place, at: float, name: str) -> Wish:
    start = at + dice.choice([60.0, 400.0, 900.0, 1800.0])
    length = dice.choice([120.0, 600.0, 1800.0])
    again = tuple(start + n * 5400.0 for n in range(3)) if dice.random() < 0.3 else ()
    return Wish(
        uid=f"{name}@simulation",
        title=name.capitalize(),
        start=start,
        end=start + length,
        zones=place.some_zones(dice),
        set_up=dice.choice([None, 0.0, 120.0]),
        clear_down=dice.choice([None, 0.0, 120.0]),
        attendance=dice.choice([None, 20, 90, 500]),
        scene=dice.choice([None, *place.scenes]),
        private=dice.random() < 0.3,
        rrule="FREQ=MINUTELY;INTERVAL=90;COUNT=3" if again else None,
        starts=again,
    )


def _book(dice: Random, place: Place, at: float) -> Command:
    # Two wishes under one name at once are as likely as clashes between names.
    name = f"{dice.choice(BOOKINGS)}-{dice.randint(1, 9)}"
    return cmd.CreateBooking(_by(dice), name, _wish(dice, place, at, name), dice.random() < 0.2)


def _change(dice: Random, place: Place, at: float) -> Command:
    name = f"{dice.choice(BOOKINGS)}-{dice.randint(1, 9)}"
    return cmd.ChangeBooking(_by(dice), name, _wish(dice, place, at, name), ("*",), dice.random() < 0.2)


def _change_one(dice: Random, place: Place, at: float) -> Command:
    name = f"{dice.choice(BOOKINGS)}-{dice.randint(1, 9)}"
    wish = OneWish(status="cancelled") if dice.random() < 0.3 else OneWish(zones=place.some_zones(dice))
    return cmd.ChangeOccurrence(_by(dice), name, key_of(at + dice.choice([60.0, 400.0])), wish, ("*",))


def _override(dice: Random, place: Place, at: float) -> Command:
    active = dice.random() < 0.4
    return cmd.ReportOverride(Actor("fire-panel", "device"), dice.choice(place.overrides), active, "simulated")


def _report(dice: Random, place: Place, at: float) -> Command:
    control = place.control(dice)
    return cmd.ReportControl(
        Actor(dice.choice(place.devices), "device"), place.zone(dice), control, place.value(dice, control)
    )


def _booking_name(dice: Random) -> str:
    return f"{dice.choice(BOOKINGS)}-{dice.randint(1, 9)}"


def _alarm(dice: Random, place: Place) -> str:
    """One that there may be; mostly it is normal, and what is asked is refused."""
    lost = [f"device-lost/{device}" for device in place.devices]
    return dice.choice(["calendar/office", *lost, *(f"wall-unknown/{wall}" for wall in place.walls)])


def _lock(dice: Random, place: Place, at: float) -> Command:
    controls = (place.control(dice),) if dice.random() < 0.5 else ()
    zone = place.zone(dice) if dice.random() < 0.7 else None
    controller = None if zone is not None else dice.choice(place.controllers)
    length = dice.choice([5.0, 60.0, 600.0])
    return cmd.SetLock(_by(dice), dice.choice(LOCKS), zone, controller, controls, length, dice.choice(["", "hash"]))


def _panel(dice: Random, place: Place, at: float) -> Command:
    there = tuple(dice.sample(place.controllers, dice.randint(0, len(place.controllers))))
    return cmd.ReportPanel(_by(dice), dice.choice(place.controllers), dice.random() < 0.6, there)


COMMANDS: dict[str, tuple[int, Make]] = {
    "Act": (30, _act),
    "LinkZone": (10, lambda d, p, at: cmd.LinkZone(_by(d), d.choice(p.controllers), p.zone(d))),
    "Unlink": (5, lambda d, p, at: cmd.Unlink(_by(d), d.choice(p.controllers), d.choice([None, d.choice(p.zones)]))),
    "ReportWall": (14, _wall),
    "CombineWall": (6, _combine),
    "StateArrangement": (2, lambda d, p, at: cmd.StateArrangement(_by(d), "banquet", d.choice([None, 0.0, 600.0]))),
    "JoinZones": (4, _join),
    "StartOverflow": (4, _overflow),
    "EndOverflow": (2, lambda d, p, at: cmd.EndOverflow(_by(d), d.choice(OVERFLOWS))),
    "AssignMicrophone": (2, _assign),
    "RecallScene": (5, _scene),
    "SaveScene": (2, _save),
    "RemoveScene": (1, lambda d, p, at: cmd.RemoveScene(_by(d), d.choice([*p.scenes, "evening"]), ("*",))),
    "ReportOverride": (2, _override),
    "ReportControl": (3, _report),
    "Arm": (5, lambda d, p, at: cmd.Arm(_by(d), d.choice(p.bindings), "Kim, on site")),
    "Disarm": (1, lambda d, p, at: cmd.Disarm(_by(d), d.choice(p.bindings))),
    "SetLock": (3, _lock),
    "ReleaseLock": (3, lambda d, p, at: cmd.ReleaseLock(_by(d), d.choice(LOCKS), d.random() < 0.7, "hash")),
    "TakeLead": (3, lambda d, p, at: cmd.TakeLead(_by(d), d.choice(p.controllers))),
    "ReportPanel": (3, _panel),
    "StopMotion": (1, lambda d, p, at: cmd.StopMotion(_by(d), "somebody asks")),
    "CreateBooking": (8, _book),
    "ChangeBooking": (3, _change),
    "CancelBooking": (2, lambda d, p, at: cmd.CancelBooking(_by(d), _booking_name(d), ("*",))),
    "ChangeOccurrence": (2, _change_one),
    "ForgetBookings": (1, lambda d, p, at: cmd.ForgetBookings(_by(d), at - 3600.0)),
    "RunRoutine": (2, lambda d, p, at: cmd.RunRoutine(Actor("service", "schedule"), d.choice(p.routines), at)),
    "ProlongDate": (3, lambda d, p, at: cmd.ProlongDate(_by(d), _booking_name(d), key_of(at), d.choice([60.0, 900.0]))),
    "AnnounceRoutine": (2, lambda d, p, at: cmd.AnnounceRoutine(SCHEDULE, d.choice(p.routines), at + 300.0)),
    "KeepOn": (2, lambda d, p, at: cmd.KeepOn(_by(d), d.choice(p.routines))),
    "ReportPresence": (2, lambda d, p, at: cmd.ReportPresence(_by(d), p.zone(d), d.random() < 0.5)),
    "ReportPaging": (3, lambda d, p, at: cmd.ReportPaging(_by(d), "desk", d.random() < 0.6)),
    "MarkWall": (2, lambda d, p, at: cmd.MarkWall(_by(d), d.choice(p.walls), "its track is bent")),
    "UnmarkWall": (2, lambda d, p, at: cmd.UnmarkWall(_by(d), d.choice(p.walls))),
    "ReportPassDoor": (2, lambda d, p, at: cmd.ReportPassDoor(CONTACT, d.choice(p.walls), d.random() < 0.5)),
    "ReportTrouble": (1, lambda d, p, at: cmd.ReportTrouble(_by(d), "calendar/office", d.choice(["", "it is away"]))),
    "AcknowledgeAlarm": (3, lambda d, p, at: alarm.AcknowledgeAlarm(_by(d), _alarm(d, p))),
    "ShelveAlarm": (2, lambda d, p, at: alarm.ShelveAlarm(_by(d), _alarm(d, p), d.choice([60.0, 900.0]), "known")),
    "UnshelveAlarm": (1, lambda d, p, at: alarm.UnshelveAlarm(_by(d), _alarm(d, p))),
    "TakeAlarmOut": (1, lambda d, p, at: alarm.TakeAlarmOut(_by(d), _alarm(d, p), "away")),
    "ReturnAlarm": (1, lambda d, p, at: alarm.ReturnAlarm(_by(d), _alarm(d, p))),
    **TRUST,
}
"""How often each kind comes up, and how one is made."""
_NEEDS = {
    "AssignMicrophone": "microphones",
    "ReportWall": "walls", "CombineWall": "walls", "ReportControl": "devices", "ReportOverride": "overrides",
    "RunRoutine": "routines", "AnnounceRoutine": "routines", "KeepOn": "routines",
    "MarkWall": "walls", "UnmarkWall": "walls", "ReportPassDoor": "walls", "TickMove": "walls", "RecordCheck": "walls",
    "Arm": "bindings", "Disarm": "bindings",
}  # fmt: skip


def random_command(dice: Random, place: Place, at: float) -> Command:
    """A command as it may come around the stamp ``at``."""
    known = [name for name in COMMANDS if name not in _NEEDS or getattr(place, _NEEDS[name])]
    name = dice.choices(known, [COMMANDS[one][0] for one in known])[0]
    return COMMANDS[name][1](dice, place, at)
