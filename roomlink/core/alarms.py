"""Alarms: what may follow what is ``TRANSITIONS``. Deciding only; the events carry the whole record.

A condition that was not acknowledged stays to be seen when it is over. One that comes and goes too often is held
standing, so that people hear of it once: it chatters until it has been quiet for a while.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import alarm_kinds
from roomlink.core.alarm_commands import (
    AcknowledgeAlarm,
    ReportTrouble,
    ReturnAlarm,
    ShelveAlarm,
    TakeAlarmOut,
    UnshelveAlarm,
)
from roomlink.core.alarm_kinds import (
    ACKNOWLEDGED,
    NORMAL,
    OUT_OF_SERVICE,
    RETURNED,
    SHELVED,
    SUPPRESSED,
    UNACKNOWLEDGED,
)
from roomlink.core.checks import require
from roomlink.core.events import AlarmCleared, AlarmSet, Configured, OverrideCleared, OverrideSet
from roomlink.core.records import Alarm
from roomlink.core.spec import Spec
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue, Refused

Data = dict[str, Any]

BACK = (UNACKNOWLEDGED, NORMAL)
"""Where an alarm goes that is let speak again: while its condition stands, and else."""

TRANSITIONS: dict[str, dict[str, str | tuple[str, str]]] = {
    NORMAL: {"raise": UNACKNOWLEDGED, "suppress": SUPPRESSED, "remove": OUT_OF_SERVICE},
    UNACKNOWLEDGED: {
        "clear": RETURNED,
        "acknowledge": ACKNOWLEDGED,
        "shelve": SHELVED,
        "suppress": SUPPRESSED,
        "remove": OUT_OF_SERVICE,
    },
    ACKNOWLEDGED: {
        "clear": NORMAL,
        "acknowledge": ACKNOWLEDGED,
        "shelve": SHELVED,
        "suppress": SUPPRESSED,
        "remove": OUT_OF_SERVICE,
    },
    RETURNED: {
        "raise": UNACKNOWLEDGED,
        "acknowledge": NORMAL,
        "shelve": SHELVED,
        "suppress": SUPPRESSED,
        "remove": OUT_OF_SERVICE,
    },
    SHELVED: {
        "raise": SHELVED,
        "clear": SHELVED,
        "shelve": SHELVED,
        "unshelve": BACK,
        "suppress": SUPPRESSED,
        "remove": OUT_OF_SERVICE,
    },
    SUPPRESSED: {"raise": SUPPRESSED, "clear": SUPPRESSED, "unsuppress": BACK, "remove": OUT_OF_SERVICE},
    OUT_OF_SERVICE: {"raise": OUT_OF_SERVICE, "clear": OUT_OF_SERVICE, "return": BACK},
}
"""State, cause, next state; two where it depends on whether the condition stands."""

BY_HAND = ("acknowledge", "shelve", "unshelve", "remove", "return")


def follow(state: str, cause: str, *, stands: bool) -> str:
    """The next state. Raises KeyError where nothing may follow."""
    after = TRANSITIONS[state][cause]
    return after if isinstance(after, str) else after[0 if stands else 1]


def stands(state: State, alarm: str) -> bool:
    """Whether the condition stands, whatever people have said of it."""
    record = state.alarms.get(alarm)
    return record is not None and record.stands


def standing(state: State) -> list[str]:
    """The alarms whose condition stands."""
    return [name for name in state.alarms.live() if state.alarms[name].stands]


# What happens by itself


def raise_alarm(draft: Draft, alarm: str, text: str) -> None:
    """The condition stands. Saying so again changes nothing."""
    old = draft.alarms.get(alarm) or Alarm(draft.now, text, NORMAL, stands=False, real=False, count=0)
    if old.real:
        return
    if old.quiet is not None:
        quiet = draft.now + limits.ALARM_QUIET_S
        draft.emit(AlarmSet(alarm, "toggle", replace(old, text=text, real=True, quiet=quiet)))
        return
    why, cause = _suppressed(draft, alarm), "raise"
    if why is not None and old.state not in (SUPPRESSED, OUT_OF_SERVICE):
        old, cause = replace(old, state=SUPPRESSED, why=why, by="", until=None), "suppress"
    state = follow(old.state, "raise", stands=True)
    now = replace(
        old,
        since=draft.now,
        text=text,
        state=state,
        stands=True,
        real=True,
        count=old.count + 1,
        priority=draft.spec.alarms.priority(alarm),
    )
    if state == UNACKNOWLEDGED:
        now = _speaks(replace(now, by="", why=""), draft.now)
    draft.emit(AlarmSet(alarm, cause, now))


def _speaks(record: Alarm, now: float) -> Alarm:
    """People are told of it once more: whether it is once too often."""
    kept = limits.ALARM_CHATTER_TIMES + 1
    raises = (*record.raises, now)[-kept:]
    chatters = len(raises) == kept and now - raises[0] <= limits.ALARM_CHATTER_S
    return replace(record, raises=raises, quiet=now + limits.ALARM_QUIET_S if chatters else None)


def clear_alarm(draft: Draft, alarm: str) -> None:
    """The condition is over, or is not known to stand."""
    old = draft.alarms.get(alarm)
    if old is None or not old.real:
        return
    if old.quiet is not None:
        quiet = draft.now + limits.ALARM_QUIET_S
        draft.emit(AlarmSet(alarm, "toggle", replace(old, real=False, quiet=quiet)))
    else:
        draft.emit(AlarmSet(alarm, "clear", _cleared(old)))


def _cleared(old: Alarm) -> Alarm:
    return replace(old, state=follow(old.state, "clear", stands=False), stands=False, real=False)


def report_trouble(draft: Draft, command: ReportTrouble) -> Data:
    """Raise the alarm, or clear it."""
    if command.text:
        raise_alarm(draft, command.alarm, command.text)
    else:
        clear_alarm(draft, command.alarm)
    return {"zones": []}


DEADLINES = ("shelved", "quiet")
"""What alarms wait for: the end of shelving, and having been quiet for long enough."""


def due(draft: Draft, what: str, alarm: str) -> None:
    old = draft.alarms.get(alarm)
    if old is None:
        return
    if what == "shelved" and old.until is not None and old.until <= draft.now:
        _back(draft, alarm, old, "unshelve")
    elif what == "quiet" and old.quiet is not None and old.quiet <= draft.now:
        calm = replace(old, quiet=None, raises=())
        draft.emit(AlarmSet(alarm, "quiet", calm) if old.real else AlarmSet(alarm, "clear", _cleared(calm)))


# What the configuration says


def _suppressed(state: State, alarm: str) -> str | None:
    """Why an alarm means nothing now, by design."""
    for one in state.spec.alarms.suppressed:
        if one.alarm in (alarm, alarm.partition("/")[0]) and (
            (one.override is None or one.override in state.overrides)
            and (one.other is None or (one.other != alarm and stands(state, one.other)))
        ):
            return one.why
    return None


_MATTERS = (AlarmSet, AlarmCleared, Configured, OverrideSet, OverrideCleared)


def suppress(draft: Draft) -> None:
    """At the end of a decision: suppress what means nothing now, and let speak what does again."""
    if not any(isinstance(event, _MATTERS) for event in draft.events):
        return
    for alarm in list(draft.alarms.live()):
        old = draft.alarms[alarm]
        why = _suppressed(draft, alarm)
        if why is None and old.state == SUPPRESSED:
            _back(draft, alarm, old, "unsuppress")
        elif why is not None and old.state not in (NORMAL, SUPPRESSED, OUT_OF_SERVICE):
            now = replace(old, state=follow(old.state, "suppress", stands=old.stands), by="", why=why, until=None)
            draft.emit(AlarmSet(alarm, "suppress", now))


def drop(draft: Draft, alarm: str) -> None:
    """What it was about is no more."""
    if alarm in draft.alarms:
        draft.emit(AlarmCleared(alarm))


def drop_gone(draft: Draft, new: Spec) -> None:
    """Alarms about what the new configuration does not have."""
    for alarm in list(draft.alarms.live()):
        section, name = alarm_kinds.about(alarm)
        if section and name not in alarm_kinds.named(new.data, section):
            drop(draft, alarm)


def renew(draft: Draft) -> None:
    """A new configuration counts: priorities are as it says."""
    for alarm in list(draft.alarms.live()):
        old = draft.alarms[alarm]
        priority = draft.spec.alarms.priority(alarm)
        if priority != old.priority:
            draft.emit(AlarmSet(alarm, "renew", replace(old, priority=priority)))


# What people do


def _asked(draft: Draft, alarm: str, cause: str) -> Alarm:
    """The alarm's record, if a person may do that to it now."""
    known = [*draft.alarms.live(), *(a for a in alarm_kinds.possible(draft.spec.data) if a not in draft.alarms)]
    require("alarm", alarm, known)
    record = draft.alarms.get(alarm) or Alarm(draft.now, "", NORMAL, stands=False, real=False, count=0)
    allowed = [one for one in BY_HAND if one in TRANSITIONS[record.state]]
    if cause not in allowed:
        words = {"remove": "be taken out of service", "return": "be put back into service"}
        text = f"{alarm} is {record.state} and cannot {words.get(cause, f'be {cause}d')} now"
        raise Refused("alarm-state", text, state=record.state, allowed=allowed)
    return record


def _because(why: str) -> str:
    why = why.strip()
    if not why or len(why) > limits.ALARM_WHY_CHARS_MAX:
        raise BadValue("why", f"say why, in at most {limits.ALARM_WHY_CHARS_MAX} characters")
    return why


def _put(draft: Draft, alarm: str, cause: str, record: Alarm) -> Data:
    state = follow(record.state, cause, stands=record.stands)
    if cause != "acknowledge" or record.state != ACKNOWLEDGED:
        draft.emit(AlarmSet(alarm, cause, replace(record, state=state)))
    return {"zones": [], "alarm": alarm, "state": state}


def _back(draft: Draft, alarm: str, record: Alarm, cause: str) -> Data:
    """It speaks again: what stands is to be acknowledged anew, so that nobody forgets it."""
    return _put(draft, alarm, cause, replace(record, by="", why="", until=None))


def acknowledge(draft: Draft, command: AcknowledgeAlarm) -> Data:
    """Somebody has seen it. Doing so again changes nothing."""
    record = _asked(draft, command.alarm, "acknowledge")
    by = record.by if record.state == ACKNOWLEDGED else command.by.who
    return _put(draft, command.alarm, "acknowledge", replace(record, by=by))


def shelve(draft: Draft, command: ShelveAlarm) -> Data:
    """Keep it off people's backs for a time; doing so again gives it another time."""
    least, most = limits.ALARM_SHELVE_S_MIN, limits.ALARM_SHELVE_S_MAX
    if not least <= command.seconds <= most:
        raise BadValue("for", f"shelve it for {least:g} to {most:g} s", minimum=least, maximum=most)
    record, why = _asked(draft, command.alarm, "shelve"), _because(command.why)
    now = replace(record, by=command.by.who, why=why, until=draft.now + command.seconds)
    return _put(draft, command.alarm, "shelve", now)


def unshelve(draft: Draft, command: UnshelveAlarm) -> Data:
    return _back(draft, command.alarm, _asked(draft, command.alarm, "unshelve"), "unshelve")


def take_out(draft: Draft, command: TakeAlarmOut) -> Data:
    """Out of service until somebody puts it back: also before it was ever raised."""
    record = _asked(draft, command.alarm, "remove")
    now = replace(record, by=command.by.who, why=_because(command.why), until=None)
    if not now.text:
        now = replace(now, priority=draft.spec.alarms.priority(command.alarm))
    return _put(draft, command.alarm, "remove", now)


def put_back(draft: Draft, command: ReturnAlarm) -> Data:
    return _back(draft, command.alarm, _asked(draft, command.alarm, "return"), "return")


DECIDE: dict[type[Any], Callable[[Draft, Any], Data]] = {
    ReportTrouble: report_trouble,
    AcknowledgeAlarm: acknowledge,
    ShelveAlarm: shelve,
    UnshelveAlarm: unshelve,
    TakeAlarmOut: take_out,
    ReturnAlarm: put_back,
}


# Applying


def _alarm_set(state: State, event: AlarmSet) -> None:
    state.alarms[event.alarm] = event.now
    state.deadlines.set(("shelved", event.alarm), event.now.until)
    state.deadlines.set(("quiet", event.alarm), event.now.quiet)


def _alarm_cleared(state: State, event: AlarmCleared) -> None:
    state.alarms.drop(event.alarm)
    for what in DEADLINES:
        state.deadlines.set((what, event.alarm), None)


APPLY: dict[type[Any], Callable[[State, Any], None]] = {AlarmSet: _alarm_set, AlarmCleared: _alarm_cleared}


def table() -> Iterable[str]:
    """``TRANSITIONS`` as lines of Markdown, a row a state and a column a cause."""
    causes = list(dict.fromkeys(cause for row in TRANSITIONS.values() for cause in row))
    yield f"| state | {' | '.join(causes)} |"
    yield "|---" * (len(causes) + 1) + "|"
    for state, row in TRANSITIONS.items():
        cells = [row.get(cause, "") for cause in causes]
        yield f"| **{state}** | {' | '.join(c if isinstance(c, str) else ' or '.join(c) for c in cells)} |"
