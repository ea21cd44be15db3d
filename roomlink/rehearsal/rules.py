"""The rules by name, and what is raised where one does not hold."""

from __future__ import annotations

NEAR = 1e-6
"""Values and times nearer than this are the same: what is worked out another way rounds another way."""

RULES = {
    "groups": "groups are the zones that open walls and overflows connect",
    "settle": "a wall counts once its report has been steady for its settle time, and not before",
    "flags": "a closed wall within a joined group is flagged, and no other",
    "lead": "the first of the lead order that is at home in a group leads it; others are locked only as configured",
    "links": "the lead's links by combining, and those of its mirrors, are exactly its group",
    "sources": "sound and picture never cross a closed wall",
    "venue": "what belongs to the venue is there whatever the walls, for choices that take what it carries",
    "overflow": "an overflow brings one zone what is in another, and what came over it ends with it and its booking",
    "microphones": "a microphone is heard in its own group and where an overflow carries it, and no wall lets one out",
    "range": "a level stays within its range and below its ceiling",
    "jump": "no level jumps when zones join or part",
    "gap": "a choice breaks before it makes, and the gap passes in between",
    "local": "joining and parting leave local controls alone",
    "combine": "zones that join get what on_combine says, the others keep what they had",
    "restore": "a zone that parts gets what on_separate says",
    "quiet": "parting makes nothing louder and unmutes nothing unless the configuration says so",
    "asked": "a wall that opens combines as it is configured to, and what people say of it stands until it closes",
    "fence": "a wall that opens between live bookings combines nothing, and raises its alarm",
    "by hand": "links by hand end when the wall between closes, unless their controller keeps them",
    "used": "what is used by hand is put down as used",
    "held": "nothing stays held once its holder let go, lost its link or was locked out",
    "override": "while an override stands its masks lie over every zone it covers, and nothing there is held or moves",
    "lock": "what a lock covers is set by no hand, no booking and no wall until it is released",
    "handover": "while the lead's panel is gone the next that is there leads, and goes on when that panel is back",
    "ending": "guests that are on are told of their end in time, and of no other",
    "closing": "a routine that waits for people to go tells them before it comes",
    "paging": "paging ends by itself",
    "late": "a wall that is not moved when its guests come has its alarm, and no other has",
    "feedback": "a controller shows what its linked zones say, by its policy",
    "replay": "a snapshot and a replay of the journal give the same state",
    "rest": "the venue comes to rest",
    "offered": "what is on offer is not refused",
    "whole": "the engine decides every command without failing",
}
"""Every rule by its name."""


class Broken(Exception):
    """A rule does not hold; ``text`` says where and how."""

    def __init__(self, rule: str, text: str) -> None:
        super().__init__(f"{RULES[rule]}: {text}")
        self.rule = rule
        self.text = text


def hold_to(rule: str, holds: object, text: str) -> None:
    if not holds:
        raise Broken(rule, text)
