"""``runtime.cluster.codec``: what goes between nodes comes out as it went in."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

import orjson
import pytest

from roomlink.core.bookings import OneWish, Wish
from roomlink.core.commands import Act, Actor, ChangeOccurrence, CreateBooking, ReportWall, Wake
from roomlink.errors import BadRequest, BadValue, JournalFailed, Precondition, Refused
from roomlink.runtime.cluster.codec import KINDS, decode_command, decode_error, encode_command, encode_error

BY = Actor("heron-wall", "panel", "socket-1", "192.0.2.7")
WISH = Wish("u", "Supper", 10.0, 20.0, ("heron",), starts=(10.0, 30.0), ones=(("k", OneWish(start=11.0)),))


def over_the_wire(data: Any) -> Any:
    return orjson.loads(orjson.dumps(data))


@pytest.mark.parametrize(
    "command",
    [
        Act(BY, "volume", "set", "heron-wall", None, -20.0, 1.5),
        Act(BY, "mute", "set", None, "heron", True),
        Act(BY, "program", "set", None, "heron", "laptop", given=False),
        ReportWall(BY, "w", None, (True, None), lost=("stacked",)),
        CreateBooking(BY, "b", WISH, accept_free=True),
        ChangeOccurrence(BY, "b", "k", OneWish(zones=("heron", "plover")), ('"1"',)),
        Wake(),
    ],
    ids=lambda command: type(command).__name__,
)
def test_a_command_survives(command: Any) -> None:
    """With all its members, and each of its own type."""
    assert decode_command(over_the_wire(encode_command(command))) == command


@pytest.mark.parametrize("name", KINDS)
def test_every_command_can_be_sent(name: str) -> None:
    """Whatever kind of command is added, its members are ones that can be rebuilt."""
    values: dict[str, Any] = {"by": BY, "wish": WISH}
    plain = {"str": "x", "float": 1.5, "bool": True, "int": 3}
    kind = KINDS[name]
    for f in fields(kind):
        if f.default is MISSING and f.default_factory is MISSING and f.name not in values:
            values[f.name] = plain.get(
                str(f.type), () if "tuple" in str(f.type) else {} if "Mapping" in str(f.type) else None
            )
    if name == "ChangeOccurrence":
        values["wish"] = OneWish()
    command = kind(**{f.name: values[f.name] for f in fields(kind) if f.name in values})
    assert decode_command(over_the_wire(encode_command(command))) == command


STRANGE = [{}, {"kind": "Dance", "members": {}}, {"kind": "Act", "members": {"by": 3}}]
STRANGE.append({"kind": "Wake", "members": {"gently": True}})


def test_a_member_that_says_nothing_new_is_left_out() -> None:
    """So a node of an older version, which does not know it, can still be asked for all else."""
    members = encode_command(Act(BY, "mute", "set", None, "heron", True))["members"]
    assert {"over", "for_s"}.isdisjoint(members)
    assert members["value"] is True


@pytest.mark.parametrize("data", STRANGE)
def test_what_is_no_command_is_refused(data: dict[str, Any]) -> None:
    """A node of another version may ask for what is not known here."""
    with pytest.raises(BadRequest):
        decode_command(data)


@pytest.mark.parametrize(
    "error",
    [
        Refused("nothing-linked", "nothing is linked", controller="heron-wall"),
        BadValue("value", "too loud", maximum=-6.0),
        Precondition("precondition-failed", "changed meanwhile", status=412),
    ],
)
def test_a_refusal_becomes_the_same_problem_on_the_other_node(error: Any) -> None:
    """Kind, status, title, sentence and members."""
    found: Any = decode_error(over_the_wire(encode_error(error)))
    for name in ("kind", "detail", "status", "title", "members"):
        assert getattr(found, name) == getattr(error, name)


def test_a_fault_of_the_writer_is_one_here() -> None:
    """And an answer without either is none."""
    assert isinstance(decode_error(encode_error(JournalFailed("full"))), JournalFailed)
    assert decode_error({"seq": 3}) is None
