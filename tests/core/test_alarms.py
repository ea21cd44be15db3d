"""Alarms: what may follow what, as the table says and as people see it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from roomlink import limits
from roomlink.core import alarm_view, alarms
from roomlink.core.alarm_commands import AcknowledgeAlarm, ReturnAlarm, ShelveAlarm, TakeAlarmOut, UnshelveAlarm
from roomlink.core.alarm_kinds import KINDS, QUIET, STATES, possible
from roomlink.core.alarms import TRANSITIONS, follow
from roomlink.core.apply import apply
from roomlink.core.commands import Actor, Command, LinkZone, ReportDevice, ReportOverride, ReportTrouble
from roomlink.core.events import AlarmCleared, AlarmRaised, AlarmSet, decode
from roomlink.core.state import State
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver

ADA, BEN = Actor("ada"), Actor("ben")
RACK, GATE = "device-lost/rack", "device-lost/gate"


def hall(**section: Any) -> dict[str, Any]:
    return venues.row(
        2,
        controls=venues.section(),
        controllers=venues.panels("ab"),
        devices={"rack": {"driver": "modbus"}, "gate": {"driver": "modbus"}},
        bindings=[{"control": "a.volume", "device": "rack"}],
        overrides={"key": {"kind": "lockout", "zones": ["b"], "values": {}, "input": {"device": "gate"}}},
        **({"alarms": section} if section else {}),
    )


def rack(up: bool, device: str = "rack") -> ReportDevice:
    return ReportDevice(Actor(device, "device"), device, up, "" if up else "no answer")


def state_of(driver: Driver, alarm: str = RACK) -> str:
    record = driver.state.alarms.get(alarm)
    return "normal" if record is None else record.state


@pytest.fixture
def driver() -> Driver:
    return Driver(hall())


def test_an_alarm_is_seen_until_it_is_acknowledged_and_over(driver: Driver) -> None:
    """In either order; and whoever acknowledged it is on record."""
    driver.do(rack(False))
    assert state_of(driver) == "unacknowledged"
    driver.do(AcknowledgeAlarm(ADA, RACK))
    assert (state_of(driver), driver.state.alarms[RACK].by) == ("acknowledged", "ada")
    assert driver.do(AcknowledgeAlarm(BEN, RACK)).events == ()
    driver.do(rack(True))
    assert state_of(driver) == "normal"
    driver.do(rack(False))
    driver.do(rack(True))
    assert state_of(driver) == "returned"
    driver.advance(86400.0)
    assert state_of(driver) == "returned"
    driver.do(AcknowledgeAlarm(ADA, RACK))
    assert state_of(driver) == "normal"
    assert alarm_view.alarms(driver.state) == {}


def test_a_shelved_alarm_is_silent_for_its_time_and_speaks_again(driver: Driver) -> None:
    """What stands then is to be acknowledged anew; what does not is over."""
    driver.do(rack(False))
    driver.do(ShelveAlarm(ADA, RACK, 900.0, "a fitter is at it"))
    driver.advance(899.0)
    assert alarm_view.alarms(driver.state)[RACK] | {} == {
        **alarm_view.alarms(driver.state)[RACK],
        "state": "shelved",
        "by": "ada",
        "why": "a fitter is at it",
        "until": "1970-01-01T00:31:40.000Z",
    }
    driver.advance(1.0)
    assert (state_of(driver), driver.state.alarms[RACK].by) == ("unacknowledged", "")
    driver.do(ShelveAlarm(ADA, RACK, 900.0, "once more"))
    driver.do(rack(True))
    assert state_of(driver) == "shelved"
    driver.do(UnshelveAlarm(BEN, RACK))
    assert state_of(driver) == "normal"


@pytest.mark.parametrize(
    "command",
    [
        ShelveAlarm(ADA, RACK, 59.0, "x"),
        ShelveAlarm(ADA, RACK, limits.ALARM_SHELVE_S_MAX + 1.0, "x"),
        ShelveAlarm(ADA, RACK, float("nan"), "x"),
        ShelveAlarm(ADA, RACK, 900.0, "  "),
        TakeAlarmOut(ADA, RACK, ""),
        TakeAlarmOut(ADA, RACK, "x" * (limits.ALARM_WHY_CHARS_MAX + 1)),
    ],
)
def test_shelving_has_bounds_and_a_reason(driver: Driver, command: Command) -> None:
    """Nothing is kept from people for ever, or for no reason."""
    driver.do(rack(False))
    with pytest.raises(BadValue):
        driver.do(command)
    assert state_of(driver) == "unacknowledged"


def test_an_alarm_is_taken_out_of_service_before_it_is_raised(driver: Driver) -> None:
    """Such as that of a device that goes for repair; put back, what stands speaks."""
    driver.do(TakeAlarmOut(ADA, RACK, "away for repair"))
    driver.do(rack(False))
    assert (state_of(driver), driver.state.alarms[RACK].stands) == ("out-of-service", True)
    driver.do(ReturnAlarm(BEN, RACK))
    assert state_of(driver) == "unacknowledged"


def test_what_the_state_does_not_allow_is_refused_and_says_what_is_allowed(driver: Driver) -> None:
    """A name that no alarm can have is unknown."""
    with pytest.raises(Refused) as refusal:
        driver.do(AcknowledgeAlarm(ADA, RACK))
    assert (refusal.value.kind, refusal.value.members["state"]) == ("alarm-state", "normal")
    assert refusal.value.members["allowed"] == ["remove"]
    with pytest.raises(UnknownName):
        driver.do(AcknowledgeAlarm(ADA, "device-lost/other"))


def test_one_that_comes_and_goes_is_held_standing_until_it_keeps_still(driver: Driver) -> None:
    """It is raised so often and no oftener; then each change is one entry that nobody is told of."""
    for _ in range(limits.ALARM_CHATTER_TIMES + 10):
        driver.do(rack(False))
        driver.do(rack(True))
        driver.advance(5.0)
    told = [e.cause for e in driver.events if isinstance(e, AlarmSet)]
    assert told.count("raise") == limits.ALARM_CHATTER_TIMES + 1
    assert alarms.stands(driver.state, RACK)
    assert alarm_view.alarms(driver.state)[RACK]["chattering"] is True
    assert max(len(d.events) for d in driver.decisions[1:]) == 1
    driver.advance(limits.ALARM_QUIET_S)
    assert (state_of(driver), alarm_view.alarms(driver.state)[RACK]["chattering"]) == ("returned", False)
    driver.do(rack(False))
    assert state_of(driver) == "unacknowledged"


def test_one_that_chatters_and_stays_goes_on_standing(driver: Driver) -> None:
    """Quiet or not: it fails."""
    for _ in range(limits.ALARM_CHATTER_TIMES + 1):
        driver.do(rack(True))
        driver.do(rack(False))
    driver.do(AcknowledgeAlarm(ADA, RACK))
    driver.advance(limits.ALARM_QUIET_S)
    assert (state_of(driver), driver.state.alarms[RACK].quiet) == ("acknowledged", None)
    driver.do(rack(True))
    assert state_of(driver) == "normal"


def test_a_few_times_an_evening_are_no_chatter(driver: Driver) -> None:
    """It is how often in how long that counts."""
    for _ in range(4 * limits.ALARM_CHATTER_TIMES):
        driver.do(rack(False))
        driver.do(rack(True))
        driver.advance(limits.ALARM_CHATTER_S / limits.ALARM_CHATTER_TIMES + 1.0)
    assert state_of(driver) == "returned"


def test_an_alarm_is_suppressed_while_an_override_stands() -> None:
    """It is by design, and the reason is told; then it speaks."""
    driver = Driver(hall(suppressed=[{"alarm": RACK, "why": "the key is turned", "override": "key"}]))
    driver.do(rack(False))
    driver.do(ReportOverride(PLAIN, "key", True, "turned"))
    assert (state_of(driver), driver.state.alarms[RACK].why) == ("suppressed", "the key is turned")
    driver.do(rack(True))
    driver.do(rack(False))
    assert state_of(driver) == "suppressed"
    driver.do(ReportOverride(PLAIN, "key", False))
    assert (state_of(driver), driver.state.alarms[RACK].why) == ("unacknowledged", "")


def test_alarms_behind_a_lost_gateway_are_suppressed() -> None:
    """One cause, one alarm: whichever is noticed first."""
    section = {"suppressed": [{"alarm": RACK, "why": "it is behind the gateway", "other": GATE}]}
    for first, second in (("rack", "gate"), ("gate", "rack")):
        driver = Driver(hall(**section))
        driver.do(rack(False, first))
        driver.do(rack(False, second))
        assert (state_of(driver), state_of(driver, GATE)) == ("suppressed", "unacknowledged")
        driver.do(rack(True, "gate"))
        assert state_of(driver) == "unacknowledged"


def test_suppression_follows_the_configuration() -> None:
    """A kind that means nothing here is never raised; once it does, what stands speaks."""
    driver = Driver(hall(suppressed=[{"alarm": "device-lost", "why": "not fitted yet"}]))
    driver.do(rack(False))
    assert [e.cause for e in driver.events if isinstance(e, AlarmSet)] == ["suppress"]
    driver.configure(hall())
    assert state_of(driver) == "unacknowledged"
    driver.do(TakeAlarmOut(ADA, RACK, "away"))
    driver.configure(hall(suppressed=[{"alarm": RACK, "why": "not fitted"}]))
    assert state_of(driver) == "out-of-service"
    driver.do(ReturnAlarm(ADA, RACK))
    assert state_of(driver) == "suppressed"


def test_priorities_are_configured_by_alarm_and_by_kind() -> None:
    """The one alarm counts before its kind; a new configuration counts at once."""
    driver = Driver(hall(priorities={"device-lost": "low", GATE: "high"}))
    driver.do(rack(False))
    driver.do(rack(False, "gate"))
    assert [driver.state.alarms[one].priority for one in (RACK, GATE)] == ["low", "high"]
    driver.configure(hall())
    assert [driver.state.alarms[one].priority for one in (RACK, GATE)] == ["medium", "medium"]


def test_the_list_has_what_stands_first_then_the_most_urgent_then_the_oldest() -> None:
    """With what each concerns."""
    driver = Driver(hall(priorities={GATE: "high"}))
    driver.do(ReportTrouble(PLAIN, "feed/x", "it fails"))
    driver.do(rack(False))
    driver.advance(1.0)
    driver.do(rack(False, "gate"))
    driver.do(ReportTrouble(PLAIN, "journal", "it failed"))
    driver.do(ReportTrouble(PLAIN, "journal"))
    listed = alarm_view.listed(driver.state, driver.now)
    assert [one["alarm"] for one in listed["alarms"]] == [GATE, RACK, "feed/x", "journal"]
    about_rack = listed["alarms"][1]
    assert about_rack["count"] == 1
    assert (about_rack["zones"], about_rack["controllers"], about_rack["device"]) == (["a"], ["a-panel"], "rack")
    assert listed["raised"] == {"seconds": 600.0, "times": 4, "flood": False}


def test_more_than_people_can_follow_is_a_flood(driver: Driver) -> None:
    """More than ten in ten minutes; ten minutes later it is none."""
    for n in range(limits.ALARM_FLOOD + 1):
        driver.do(ReportTrouble(PLAIN, f"feed/{n}", "it fails"))
        assert alarm_view.raised(driver.state, driver.now)["flood"] is (n == limits.ALARM_FLOOD)
    driver.advance(limits.ALARM_FLOOD_S)
    assert alarm_view.raised(driver.state, driver.now)["times"] == 0


def test_a_panel_is_told_of_what_concerns_it_and_no_names() -> None:
    """Of low priority not even the kind; and only while it stands and nobody has put it aside."""
    driver = Driver(hall(priorities={"override-lost": "low"}))
    driver.do(rack(False))
    driver.do(ReportOverride(PLAIN, "key", True, "its input is lost", lost=True))
    since = "1970-01-01T00:16:40.000Z"
    rack_shown = {"kind": "device-lost", "priority": "medium", "zones": ["a"], "since": since}
    low = {"kind": "other", "priority": "low", "zones": ["b"], "since": since}
    assert alarm_view.on_panel(driver.state, "a-panel") == [rack_shown]
    assert alarm_view.on_panel(driver.state, "b-panel") == [low]
    driver.do(ReportOverride(PLAIN, "key", False))
    driver.do(LinkZone(FINGER, "b-panel", "a"))
    assert alarm_view.on_panel(driver.state, "b-panel") == [rack_shown]
    driver.do(ShelveAlarm(ADA, RACK, 900.0, "known"))
    assert alarm_view.on_panel(driver.state, "a-panel") == []


def test_a_lost_input_of_an_override_is_an_alarm_until_it_speaks(driver: Driver) -> None:
    """Also where the override stood already, or goes on standing."""
    driver.do(ReportOverride(PLAIN, "key", True, "turned"))
    driver.do(ReportOverride(PLAIN, "key", True, "its input is lost: no answer", lost=True))
    record = driver.state.alarms["override-lost/key"]
    assert (record.state, record.priority) == ("unacknowledged", "high")
    driver.do(ReportOverride(PLAIN, "key", True, "turned"))
    assert state_of(driver, "override-lost/key") == "returned"
    assert "key" in driver.state.overrides


def test_journals_of_before_alarms_had_states_are_read() -> None:
    """What stood is to be acknowledged; what was cleared is gone."""
    state = State()
    for data in (
        {"type": "alarm", "alarm": "wall-late/a-b", "since": 5.0, "text": "too long"},
        {"type": "alarm", "alarm": "feed/x", "since": 6.0, "text": "it fails"},
        {"type": "alarm-cleared", "alarm": "feed/x"},
    ):
        event = decode(data)
        assert isinstance(event, AlarmRaised | AlarmCleared)
        apply(state, event)
    assert alarms.standing(state) == ["wall-late/a-b"]
    assert state.alarms["wall-late/a-b"].state == "unacknowledged"


def test_every_state_is_in_the_table_and_can_be_left() -> None:
    """And every next state is one of them."""
    assert set(TRANSITIONS) == set(STATES)
    ends = {
        end
        for row in TRANSITIONS.values()
        for after in row.values()
        for end in (after if isinstance(after, tuple) else (after,))
    }
    assert ends == set(STATES)


def test_the_table_stands_in_developers_md_as_it_is() -> None:
    """Whoever changes the one changes the other."""
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
    assert "\n".join(alarms.table()) in text


def test_every_kind_has_its_alarms() -> None:
    """Of things that are configured one each, of the service itself one."""
    found = possible(hall())
    assert {RACK, GATE, "wall-unknown/a-b", "override-lost/key", "journal", "slow"} <= set(found)
    assert {name.partition("/")[0] for name in found} <= {kind.partition("/")[0] for kind in KINDS}


class Machine(RuleBasedStateMachine):
    """People and the world do what they like; a small model of its own says what must be so."""

    def __init__(self) -> None:
        super().__init__()
        section = {"suppressed": [{"alarm": RACK, "why": "the key is turned", "override": "key"}]}
        self.driver = Driver(hall(**section))
        self.real = self.acknowledged = self.key = False

    def _try(self, command: Command, cause: str) -> None:
        before = state_of(self.driver)
        stands = alarms.stands(self.driver.state, RACK)
        if cause not in TRANSITIONS[before]:
            with pytest.raises(Refused):
                self.driver.do(command)
            assert state_of(self.driver) == before
            return
        self.driver.do(command)
        after = follow(before, cause, stands=stands)
        suppressed = self.key and after not in ("normal", "out-of-service")
        assert state_of(self.driver) == ("suppressed" if suppressed else after)

    @rule(up=st.booleans())
    def report(self, up: bool) -> None:
        self.driver.do(rack(up))
        self.real = not up

    @rule(active=st.booleans())
    def turn(self, active: bool) -> None:
        self.driver.do(ReportOverride(PLAIN, "key", active, "turned"))
        self.key = active

    @rule()
    def acknowledge(self) -> None:
        self._try(AcknowledgeAlarm(ADA, RACK), "acknowledge")

    @rule(seconds=st.sampled_from([60.0, 900.0, 28800.0]))
    def shelve(self, seconds: float) -> None:
        self._try(ShelveAlarm(ADA, RACK, seconds, "known"), "shelve")

    @rule()
    def unshelve(self) -> None:
        self._try(UnshelveAlarm(ADA, RACK), "unshelve")

    @rule()
    def take_out(self) -> None:
        self._try(TakeAlarmOut(ADA, RACK, "away"), "remove")

    @rule()
    def put_back(self) -> None:
        self._try(ReturnAlarm(ADA, RACK), "return")

    @rule(seconds=st.sampled_from([1.0, 59.0, 600.0, 30000.0]))
    def wait(self, seconds: float) -> None:
        self.driver.advance(seconds)

    @invariant()
    def what_stands_is_never_lost(self) -> None:
        """A real condition is standing in the record, and speaks unless somebody or the design keeps it quiet."""
        record = self.driver.state.alarms.get(RACK)
        assert (record is not None and record.real) is self.real
        if record is None:
            return
        assert record.stands or not record.real
        assert record.stands == record.real or record.quiet is not None
        assert record.stands or record.state not in ("unacknowledged", "acknowledged")
        assert not record.stands or record.state not in ("normal", "returned")
        assert (record.until is not None) is (record.state == "shelved")
        assert record.state not in QUIET or record.why
        if self.key:
            assert record.state in ("suppressed", "out-of-service", "normal")
        assert len(record.raises) <= limits.ALARM_CHATTER_TIMES + 1


TestAlarms = Machine.TestCase
TestAlarms.settings = settings(max_examples=30, stateful_step_count=40, deadline=None)
