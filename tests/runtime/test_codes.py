"""``runtime.codes``: what people carry from one screen to another."""

from __future__ import annotations

import pytest

from roomlink import limits
from roomlink.errors import Refused
from roomlink.runtime.codes import EngineerCode, PairingCodes


def test_a_pairing_code_is_good_once() -> None:
    """For the panel that it was made for, however it is typed."""
    codes = PairingCodes()
    code, pairing = codes.make("heron-wall", "heron-wall-2", "alex", 0.0)
    assert (pairing.controller, pairing.name, pairing.by) == ("heron-wall", "heron-wall-2", "alex")
    assert codes.take(code.lower().replace("-", " "), 1.0) == pairing
    assert codes.take(code, 1.0) is None


def test_a_pairing_code_ends_after_ten_minutes() -> None:
    """To the second."""
    codes = PairingCodes()
    code, _ = codes.make("heron-wall", "heron-wall", "alex", 0.0)
    assert codes.names(599.0) == {"heron-wall"}
    assert codes.take(code, 600.0) is None
    assert codes.names(600.0) == set()


def test_a_new_code_for_a_panel_takes_the_place_of_the_old() -> None:
    """So that one that was seen by somebody else can be made worthless."""
    codes = PairingCodes()
    old, _ = codes.make("heron-wall", "heron-wall", "alex", 0.0)
    new, _ = codes.make("heron-wall", "heron-wall", "alex", 1.0)
    assert codes.take(old, 2.0) is None
    assert codes.take(new, 2.0) is not None


def test_there_are_so_many_open_codes() -> None:
    """Those that have ended make room."""
    codes = PairingCodes()
    for number in range(limits.PAIRING_CODES_MAX):
        codes.make("heron-wall", f"p{number}", "alex", 0.0)
    with pytest.raises(Refused):
        codes.make("heron-wall", "one-more", "alex", 599.0)
    codes.make("heron-wall", "one-more", "alex", 600.0)


def test_the_engineer_s_code_fits_until_it_is_used() -> None:
    """And no other does; where it made nobody it is good again."""
    assert not EngineerCode().is_open
    code = EngineerCode()
    assert code.take("") is None
    made = code.make()
    assert code.is_open
    assert code.take(made[:-1]) is None
    taken = code.take(made.lower())
    assert taken is not None
    assert code.take(made) is None
    code.give_back(taken)
    assert code.take(made) == taken
