"""Deciding: nothing is changed, a refusal decides nothing, a repeated request is answered as before."""

from __future__ import annotations

import pytest

from roomlink.core.commands import Act, ReportWall, Wake
from roomlink.core.decide import Request, decide, describe, next_deadline
from roomlink.errors import BadValue, CallerFault, Refused
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver


@pytest.fixture
def driver() -> Driver:
    return Driver(venues.row(3, combining=venues.lead_by_order("abc", others="lock", on_combine={"volume": "lead"})))


def test_deciding_changes_nothing(driver: Driver) -> None:
    """The same command can be decided twice, with the same outcome: a dry run is free."""
    command = ReportWall(PLAIN, "a-b", "open")
    first = decide(driver.state, command, driver.now)
    second = decide(driver.state, command, driver.now)
    assert first == second
    assert first.events
    assert driver.groups() == [["a"], ["b"], ["c"]]


def test_a_refused_command_decides_nothing(driver: Driver) -> None:
    """Whatever it had begun with; the driver compares the whole state."""
    driver.wall("a-b", "open")
    for attempt in (
        lambda: driver.set("b-panel", "volume", -10.0),
        lambda: driver.set("a-panel", "volume", 99.0),
        lambda: driver.align("a-panel", "program", "gramophone"),
        lambda: driver.act("a-panel", "volume", "raise", by=PLAIN),
        lambda: driver.join("x", "a", "nowhere"),
    ):
        with pytest.raises(CallerFault):
            attempt()


def test_the_same_key_gives_the_same_reply_and_no_events(driver: Driver) -> None:
    """The request is carried out once."""
    command = Act(PLAIN, "volume", "set", zone="a", value=-10.0)
    first = driver.do(command, Request("key-1", "digest", 7))
    driver.set("a", "volume", -50.0)
    again = driver.do(command, Request("key-1", "digest", 9))
    assert again.events == ()
    assert dict(again.reply) == {"seq": 7, **first.reply}
    assert driver.value("a", "volume") == -50.0


def test_the_same_key_with_another_payload_is_refused(driver: Driver) -> None:
    """422, and nothing happens."""
    driver.do(Act(PLAIN, "volume", "set", zone="a", value=-10.0), Request("key-1", "digest", 7))
    with pytest.raises(BadValue, match="Idempotency-Key") as caught:
        driver.do(Act(PLAIN, "volume", "set", zone="a", value=-20.0), Request("key-1", "other", 8))
    assert caught.value.status == 422
    assert driver.value("a", "volume") == -10.0


def test_a_refused_request_leaves_its_key_unused(driver: Driver) -> None:
    """The client may mend it and send it again."""
    driver.unlink("a-panel")
    command = Act(PLAIN, "volume", "set", controller="a-panel", value=-10.0)
    with pytest.raises(Refused):
        driver.do(command, Request("key-1", "digest", 7))
    driver.link("a-panel", "a")
    assert driver.do(command, Request("key-1", "digest", 8)).events


def test_only_so_many_keys_are_kept_the_oldest_go_first(driver: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bound is a limit of the service."""
    monkeypatch.setattr("roomlink.limits.IDEMPOTENCY_KEYS_MAX", 2)
    for number in range(3):
        driver.do(Act(PLAIN, "volume", "set", zone="a", value=-10.0 - number), Request(f"key-{number}", "d", number))
    assert list(driver.state.answers) == ["key-1", "key-2"]


def test_nothing_is_due_while_nothing_will_happen_by_itself(driver: Driver) -> None:
    """No ticks."""
    assert next_deadline(driver.state) is None
    assert driver.do(Wake()).events == ()


def test_the_first_deadline_is_the_earliest(driver: Driver) -> None:
    """Ramps, holds, pins: each has one."""
    driver.set("a", "volume", -10.0, over=5.0)
    driver.act("b", "talkback", "press", by=PLAIN, for_s=3.0)
    driver.wall("b-c", "open", pin=4.0)
    start = driver.now
    seen = []
    while (due := next_deadline(driver.state)) is not None:
        seen.append(due - start)
        driver.advance_to(due)
    assert seen == [3.0, 4.0, 5.0]


def test_a_deadline_that_is_overtaken_wakes_nobody(driver: Driver) -> None:
    """A retargeted ramp has one arrival."""
    driver.set("a", "volume", -10.0, over=5.0)
    driver.set("a", "volume", -20.0, over=9.0)
    driver.set("a", "volume", -10.0, over=5.0)
    before = len(driver.decisions)
    driver.advance(60.0)
    assert len(driver.decisions) == before + 1


def test_a_command_is_described_in_short_for_the_journal() -> None:
    """Without who, and without what was left at its default."""
    said = describe(Act(FINGER, "volume", "set", controller="a-panel", value=-10.0))
    assert said == {"command": "Act", "control": "volume", "do": "set", "controller": "a-panel", "value": -10.0}
