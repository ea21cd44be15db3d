"""Random commands about who may come in and about what was seen on site: the rest of the table of ``commands``."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from roomlink.core import access_commands as access
from roomlink.core import commands as cmd
from roomlink.core.access import INTEGRATION, PANEL, ROLES
from roomlink.core.bookings import key_of
from roomlink.core.commands import Actor, Command
from roomlink.simulation.place import Place

ENGINEER = Actor("robin", "http")
NAMES = ("robin", "ash", "rowan")
SESSIONS = ("one", "two", "three", "four")
KEYS = ("door", "desk", "calendar")
Make = Callable[[Random, Place, float], Command]


def _person(dice: Random, place: Place, at: float) -> Command:
    role, secret = dice.choice([None, *ROLES]), dice.choice([None, "a hash", "another hash"])
    return access.SetPerson(ENGINEER, dice.choice(NAMES), role, secret, dice.choice([None, *SESSIONS]))


def _session_end(dice: Random, place: Place, at: float) -> Command:
    if dice.random() < 0.7:
        return access.EndSession(ENGINEER, "signed out", session=dice.choice(SESSIONS))
    return access.EndSession(ENGINEER, "sent away", person=dice.choice(NAMES))


def _key(dice: Random, place: Place, at: float) -> Command:
    name, until = dice.choice(KEYS), dice.choice([None, at + 300.0, at + 3600.0])
    secret = f"digest {dice.randint(1, 10**9)}"
    if dice.random() < 0.5:
        return access.AddKey(ENGINEER, PANEL, name, "operate", secret, dice.choice(place.controllers), until)
    return access.AddKey(ENGINEER, INTEGRATION, name, dice.choice(ROLES), secret, None, until)


def _remove_key(dice: Random, place: Place, at: float) -> Command:
    return access.RemoveKey(ENGINEER, dice.choice([PANEL, INTEGRATION]), dice.choice(KEYS))


def _tick(dice: Random, place: Place, at: float) -> Command:
    key = key_of(at + dice.choice([60.0, 400.0, 900.0]))
    return cmd.TickMove(Actor("crew", "http"), dice.choice(place.walls), key, dice.random() < 0.7, "stands")


def _checked(dice: Random, place: Place, at: float) -> Command:
    item = f"wall/{dice.choice(place.walls)}/{dice.choice(['closed', 'open'])}"
    return cmd.RecordCheck(ENGINEER, item, dice.choice(["pass", "fail"]), "Kim, on site", note="seen")


def _extend(dice: Random, place: Place, at: float) -> Command:
    starts = tuple(at + 5400.0 * n for n in range(1, dice.randint(2, 5)))
    booking = f"{dice.choice(('gala', 'fair', 'supper'))}-{dice.randint(1, 9)}"
    return cmd.ExtendBooking(Actor("diary", "schedule"), booking, starts, dice.choice([None, at + 86400.0]))


def _told(dice: Random, place: Place, at: float) -> Command:
    return cmd.NoteTold(Actor("webhooks", "service"), "office", dice.choice([None, dice.randint(1, 500)]))


TRUST: dict[str, tuple[int, Make]] = {
    "SetPerson": (2, _person),
    "RemovePerson": (1, lambda d, p, at: access.RemovePerson(ENGINEER, d.choice(NAMES))),
    "BeginSession": (2, lambda d, p, at: access.BeginSession(ENGINEER, d.choice(NAMES), d.choice(SESSIONS))),
    "UseSession": (1, lambda d, p, at: access.UseSession(ENGINEER, d.choice(SESSIONS))),
    "EndSession": (1, _session_end),
    "NoteRefused": (1, lambda d, p, at: access.NoteRefused(ENGINEER, "password", d.choice(NAMES), d.randint(0, 9))),
    "AddKey": (2, _key),
    "UseKey": (1, lambda d, p, at: access.UseKey(ENGINEER, d.choice(KEYS))),
    "RemoveKey": (1, _remove_key),
    "TickMove": (2, _tick),
    "RecordCheck": (1, _checked),
    "ExtendBooking": (1, _extend),
    "NoteTold": (1, _told),
}
"""How often each kind comes up, and how one is made."""
