"""What an evening brings beside a wall that moves: hands, questions, bookings, and time that goes by.

Each is given the trial and a wall beside which it happens, and carries it out; where it cannot happen it does nothing.
"""

from __future__ import annotations

from collections.abc import Callable

from roomlink.core.bookings import Wish
from roomlink.core.commands import Act, CombineWall, CreateBooking, LinkZone
from roomlink.core.groups import shares_group
from roomlink.core.spec import ChoiceSpec, LevelSpec, SwitchSpec
from roomlink.errors import CallerFault
from roomlink.rehearsal import hands
from roomlink.rehearsal.circumstances import PERSON, moved, opened
from roomlink.rehearsal.plan import Plan
from roomlink.rehearsal.trial import FIRST_STAMP, Trial

BOOKED_S = 20 * 3600.0


def kept_apart(plan: Plan, trial: Trial, wall: str) -> None:
    """People keep the open wall as a division, and then combine it after all."""
    if trial.state.walls[wall].joins:
        trial.do(CombineWall(PERSON, wall, False))
        trial.do(CombineWall(PERSON, wall, True))


def left_unanswered(plan: Plan, trial: Trial, wall: str) -> None:
    """The wall opens and nobody says anything."""
    if not trial.state.walls[wall].joins:
        trial.do(moved(wall, "open"))


def used_before(plan: Plan, trial: Trial, wall: str) -> None:
    """Somebody uses the zone on one side, and then the wall opens."""
    zone = plan.walls[wall][1]
    if trial.state.walls[wall].joins:
        return
    for control, spec in plan.spec.zones[zone].controls.items():
        if control in plan.spec.travel.roaming:
            continue  # a radio microphone is in one zone at a time
        if isinstance(spec, LevelSpec) and spec.scope != "local":
            trial.do(Act(PERSON, control, "set", zone=zone, value=(spec.lo + spec.top) / 2.0), 0.0)
        elif isinstance(spec, ChoiceSpec) and spec.scope != "local":
            trial.do(Act(PERSON, control, "set", zone=zone, value=spec.options[-1]), 0.0)
        elif isinstance(spec, SwitchSpec) and spec.scope != "local":
            trial.do(Act(PERSON, control, "set", zone=zone, value=not spec.start), 0.0)
    trial.do(moved(wall, "closed"), 2.0)
    for command in opened(plan, wall):
        trial.do(command)


def linked_by_hand(plan: Plan, trial: Trial, wall: str) -> None:
    """A panel on each side is linked to the other side by hand, and the wall closes."""
    a, b = plan.walls[wall]
    if not trial.state.walls[wall].joins:
        return
    for controller, home in plan.homes.items():
        role, reach = trial.state.roles.get(controller), plan.spec.controllers[controller].reach
        zone = b if home == a else a if home == b else None
        if zone is not None and (role is None or role.locked is None) and (reach is None or zone in reach):
            trial.do(LinkZone(PERSON, controller, zone))
    trial.do(moved(wall, "closed"))


def long_after(plan: Plan, trial: Trial, wall: str) -> None:
    """The wall closes so late that nobody remembers what was before."""
    if trial.state.walls[wall].joins and plan.combining is not None:
        trial.do(moved(wall, "open"), plan.combining.restore_for + 60.0)
        trial.do(moved(wall, "closed"))


def between_bookings(plan: Plan, trial: Trial, wall: str) -> None:
    """The wall opens between two live bookings; people combine them after all; it closes."""
    a, b = plan.walls[wall]
    if trial.state.walls[wall].joins or shares_group(trial.state, a, b):
        return
    # From before everything, so that a counterexample stays one when it is cut shorter.
    begins, ends = FIRST_STAMP, FIRST_STAMP + BOOKED_S
    try:
        for zone in (a, b):
            wish = Wish(f"rehearsed-{zone}", "Rehearsed", begins, ends, (zone,), set_up=0.0, clear_down=0.0)
            trial.do(CreateBooking(PERSON, f"rehearsed-{zone}", wish), 1.0)
    except CallerFault:
        return  # a venue may refuse such bookings, for the crews that could not move its walls in time
    trial.do(moved(wall, "open"), plan.spec.partitions[wall].settle + 1.0)
    trial.do(CombineWall(PERSON, wall, True), 5.0)
    trial.do(moved(wall, "closed"), plan.spec.partitions[wall].settle + 5.0)


EVENINGS: tuple[Callable[[Plan, Trial, str], None], ...] = (
    kept_apart, left_unanswered, used_before, linked_by_hand, long_after, between_bookings, hands.locked,
    hands.led_by_others,
)  # fmt: skip
"""All of them in the first arrangements of a branch, and then one in turn."""
