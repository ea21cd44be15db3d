"""The rules by their names, each with the sentence about how the service behaves that it holds."""

from __future__ import annotations

from roomlink.rehearsal import invariants

RULES = {
    **invariants.RULES,
    "picture": "what a client was told, welcome and changes merged, is what there is to see",
    "holder": "whatever is held is let go when its holder is gone for a second, or its time is over",
    "deadline": "nothing that was due lies in the past",
    "booked": "no zone is booked twice at one time, set-up and clear-down included",
    "alarms": "a device that is away has its alarm, and no other has",
    "bounded": "of what is gone nothing is kept",
    "acknowledged": "no acknowledged command is lost, whatever crashes",
    "once": "a request that comes again with its Idempotency-Key is carried out once and answered alike",
    "one option": "at most one option of a choice is on, and one that is offered",
    "one direction": "a motion's two directions are never on together",
    "dead time": "a motion rests for its dead time before it reverses",
    "armed": "nothing is sent to power or motion while its binding is disarmed",
    "runs": "a motion runs only while it may: held, if it is held to run, in time, and never by itself",
    "converged": "once everything works again, every device is what its control says",
}
"""Every rule by its name."""


class Broken(invariants.Broken):
    """A rule does not hold; ``text`` says where and how."""

    def __init__(self, rule: str, text: str) -> None:
        Exception.__init__(self, f"{RULES[rule]}: {text}")
        self.rule = rule
        self.text = text


def hold_to(rule: str, holds: object, text: str) -> None:
    if not holds:
        raise Broken(rule, text)
