"""``proof``: every arrangement and every moving wall, and faults planted in the engine that it must find."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from io import StringIO
from typing import Any

import pytest

from roomlink.core import (
    alarms,
    asking,
    combining,
    feedback,
    fences,
    homing,
    leading,
    links,
    orders,
    overrides,
    reference,
    sources,
    treating,
    walls,
)
from roomlink.core.commands import Act, ReportWall
from roomlink.core.events import ControlSet, WallSet
from roomlink.core.records import Choice, Level
from roomlink.errors import Refused
from roomlink.rehearsal import proof
from roomlink.rehearsal.commands import bar
from roomlink.rehearsal.proof import prove
from roomlink.rehearsal.trial import Trial
from roomlink.testing import venues

STEPS_MAX = 6
"""A planted fault is told in so many commands at most."""

CONTROLS = {
    "program": venues.choice("lectern", "laptop", "camera", gap=0.3, sources=True),
    "volume": venues.level(ceiling=-6.0, tolerance=0.5),
    "mute": venues.switch(start=True),
    "house": venues.level(scope="local"),
    "talkback": venues.momentary(),
}
FIRE = {"fire": {"kind": "life-safety", "values": {"mute": True, "house": 0.0}}}


def hall(others: str = "mirror", **members: Any) -> dict[str, Any]:
    """Four zones around one crossing, whose four walls make a loop."""
    rules = {
        "blend": 1.0,
        "on_combine": {"program": "lead", "volume": "quietest", "mute": "lead", "house": "loudest"},
        "on_separate": {"program": "none", "volume": "restore", "mute": "keep"},
    }
    combining = venues.lead_by_order("abcd", others=others, **rules)
    data = venues.ring(4, controls=CONTROLS, combining=combining, wall={"settle": 2.0}, overrides=FIRE, **members)
    data["partitions"]["a-d"]["combine"] = "ask"
    return data


@pytest.mark.parametrize("others", ["mirror", "lock", "own"])
def test_every_arrangement_and_every_move_of_a_sound_venue_is_proved(others: str) -> None:
    """16 arrangements of 4 walls, and each of the 4 moving from each of them."""
    found = prove(hall(others))
    assert found.failure is None, str(found)
    assert (found.arrangements, found.transitions, found.of) == (16, 64, 16)
    assert "all 16 arrangements of 4 walls" in str(found)


def test_a_venue_without_walls_or_combining_is_proved_too() -> None:
    """One arrangement, nothing to move; and groups alone where nothing combines."""
    assert prove(venues.venue("ab")).arrangements == 1
    found = prove(venues.row(3, combining=None))
    assert (found.arrangements, found.failure) == (4, None)


def test_processes_share_the_work_and_count_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Branches proved elsewhere add up to the same proof, and the progress is told on the way."""
    monkeypatch.setattr(proof, "ALONE_MAX", 0)
    monkeypatch.setattr(proof, "BRANCH_ARRANGEMENTS", 8)
    told: list[tuple[int, int]] = []
    found = prove(hall(), processes=2, progress=lambda done, of: told.append((done, of)))
    assert (found.arrangements, found.transitions, found.failure) == (16, 64, None)
    assert told == [(8, 16), (16, 16)]


def test_a_venue_with_too_many_arrangements_is_sampled_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was not proved is not claimed."""
    monkeypatch.setattr(proof, "ARRANGEMENTS_MAX", 8)
    monkeypatch.setattr(proof, "BRANCH_ARRANGEMENTS", 4)
    found = prove(hall())
    assert (found.arrangements, found.of) == (8, 16)
    assert "8 of 16 arrangements" in str(found)


def test_a_very_large_venue_is_sampled_within_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty walls make a million million arrangements: some are taken, in which every wall is open and closed."""
    branches = proof._branches(40, 1024)
    assert len(branches) == len(set(branches)) == 16
    assert {len(branch) for branch in branches} == {34}
    assert all(len({branch[wall] for branch in branches}) == 2 for wall in range(1, 34))
    assert proof._branches(3, 10_000) == [()]
    monkeypatch.setattr(proof, "WORK_MAX", 100)
    zones = venues.names(20)
    found = prove(venues.row(20, controls={"mute": venues.switch()}, combining=venues.lead_by_order(zones)))
    assert (found.arrangements, found.transitions, found.failure) == (1, 19, None)


# Faults, each planted in the engine that runs.

Plant = Callable[[pytest.MonkeyPatch], None]


def makes_before_it_breaks(patch: pytest.MonkeyPatch) -> None:
    def set_choice(draft: Any, zone: str, control: str, option: str | None, *, by: str) -> None:
        draft.emit(ControlSet(zone, control, Choice(option, by=by)))

    patch.setattr(orders, "set_choice", set_choice)


def cuts_the_gap_short(patch: pytest.MonkeyPatch) -> None:
    real = orders.set_choice

    def set_choice(draft: Any, zone: str, control: str, option: str | None, *, by: str) -> None:
        real(draft, zone, control, option, by=by)
        record = draft.controls[zone, control]
        if record.due is not None:
            draft.emit(ControlSet(zone, control, replace(record, due=draft.now + 0.1)))

    patch.setattr(orders, "set_choice", set_choice)


def forgets_to_restore(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(treating, "_separate", lambda draft, spec, zone: None)


def remembers_too_late(patch: pytest.MonkeyPatch) -> None:
    real = combining._remember
    patch.setattr(combining, "_remember", lambda draft, zones: real(draft, zones[1:]))


def forgets_a_flag(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(combining, "_flag", lambda draft, zones: None)


def drops_a_link(patch: pytest.MonkeyPatch) -> None:
    real = leading._settle_links
    patch.setattr(leading, "_settle_links", lambda draft, c, group: real(draft, c, group[:-1]))


def keeps_a_link(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(links, "drop_reason", lambda *given: None)


def lets_a_source_cross(patch: pytest.MonkeyPatch) -> None:
    real = sources.drop_lost

    def drop_lost(draft: Any, zones: Any, **said: Any) -> None:
        if said:  # an overflow ends; walls say nothing more
            real(draft, zones, **said)

    patch.setattr(sources, "drop_lost", drop_lost)


def jumps_a_level(patch: pytest.MonkeyPatch) -> None:
    real = orders.set_value

    def set_value(draft: Any, zone: str, control: str, value: Any, *, over: float, by: str) -> None:
        real(draft, zone, control, value, over=0.0 if by == "combining" else over, by=by)

    patch.setattr(orders, "set_value", set_value)


def passes_the_ceiling(patch: pytest.MonkeyPatch) -> None:
    def set_level(draft: Any, zone: str, control: str, value: float, *, over: float, by: str, **more: Any) -> None:
        draft.emit(ControlSet(zone, control, Level(0.0, 0.0, draft.now, 0.0, by)))

    patch.setattr(orders, "set_level", set_level)


def moves_house_lights(patch: pytest.MonkeyPatch) -> None:
    real = treating._combine

    def combine(draft: Any, spec: Any, group: tuple[str, ...], chosen: Any) -> None:
        real(draft, spec, group, chosen)
        orders.set_level(draft, group[-1], "house", -60.0, over=1.0, by="combining")

    patch.setattr(treating, "_combine", combine)


def unmutes_on_parting(patch: pytest.MonkeyPatch) -> None:
    real = treating._separate

    def separate(draft: Any, spec: Any, zone: str) -> None:
        real(draft, spec, zone)
        orders.set_switch(draft, zone, "mute", False, by="combining")

    patch.setattr(treating, "_separate", separate)


def picks_the_last_lead(patch: pytest.MonkeyPatch) -> None:
    def lead_of(state: Any, group: tuple[str, ...]) -> str | None:
        return f"{group[-1]}-panel"

    patch.setattr(leading, "lead_of", lead_of)


def counts_too_early(patch: pytest.MonkeyPatch) -> None:
    real = walls.reported

    def reported(spec: Any, wall: Any, position: str, now: float, by: Any) -> Any:
        return real(replace(spec, settle=spec.settle / 2.0), wall, position, now, by)

    patch.setattr(walls, "reported", reported)


def holds_on_after_the_link(patch: pytest.MonkeyPatch) -> None:
    def unlink(draft: Any, controller: str, zone: str, why: str) -> None:
        draft.emit(links.LinkEnded(controller, zone, why))

    patch.setattr(links, "unlink", unlink)


def joins_what_is_closed(patch: pytest.MonkeyPatch) -> None:
    real = walls.take

    def take(spec: Any, wall: Any, position: str, trust: str, now: float) -> Any:
        return replace(real(spec, wall, position, trust, now), joins=position != "moving")

    patch.setattr(walls, "take", take)


def does_not_snapshot_walls(patch: pytest.MonkeyPatch) -> None:
    from roomlink.core import snapshot

    real = snapshot.snapshot
    patch.setattr(snapshot, "snapshot", lambda state: (e for e in real(state) if not isinstance(e, WallSet)))


def takes_the_loudest(patch: pytest.MonkeyPatch) -> None:
    patch.setitem(treating._OF_GROUP, "quietest", max)


def carries_what_it_should_keep(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(treating, "treats", lambda draft, zone, control: (zone, control) in draft.controls)


def hides_disagreement(patch: pytest.MonkeyPatch) -> None:
    patch.setitem(feedback.LEVEL_POLICIES, "mismatch-flag", lambda votes, tolerance: (votes[0][1], True))


def forgets_a_mask(patch: pytest.MonkeyPatch) -> None:
    real = overrides._mask
    patch.setattr(overrides, "_mask", lambda draft, zones: real(draft, list(zones)[1:]))


def holds_on_under_an_override(patch: pytest.MonkeyPatch) -> None:
    real = orders.let_go

    def let_go(draft: Any, hold: str, at: float, why: str, zones: Any = None) -> None:
        if not why.endswith("override"):
            real(draft, hold, at, why, zones)

    patch.setattr(orders, "let_go", let_go)


def never_rests(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(orders, "matured", lambda record, now: replace(record, by="again"))


def stumbles(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(treating, "treat", lambda draft, spec, group, olds: {}["nothing"])


def restores_the_sound(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(treating, "quiet", lambda spec, control, now, value: value)


def adopts_the_lead(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(reference, "_used_last", lambda state, parts: parts)


def changes_more_than_the_newcomers(patch: pytest.MonkeyPatch) -> None:
    real = reference.choose

    def choose(state: Any, group: Any, parts: Any) -> Any:
        chosen = real(state, group, parts)
        return chosen and replace(chosen, part=(chosen.zone,), settled=())

    patch.setattr(reference, "choose", choose)


def forgets_who_used_it(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(reference, "note_use", lambda draft, command, zones: None)


def keeps_links_by_hand(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(homing, "end_parted", lambda draft, groups, old_of: None)


def combines_unasked(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(asking, "WAITS", {})


def lets_bookings_together(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(fences, "fence", lambda draft, opened: None)


def fences_in_silence(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(alarms, "raise_alarm", lambda draft, alarm, text: None)


def restores_what_is_old(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(treating, "_kept_for", lambda draft, spec, zone: draft.alone.get(zone, {}))


def refuses_what_it_offers(patch: pytest.MonkeyPatch) -> None:
    def set_choice(draft: Any, zone: str, control: str, option: str | None, *, by: str) -> None:
        if option is not None and "/" in option and by == "alex":
            raise Refused("locked", f"{option} is refused")

    patch.setattr(orders, "set_choice", set_choice)


FAULTS: list[tuple[Plant, set[str]]] = [
    (makes_before_it_breaks, {"gap"}),
    (cuts_the_gap_short, {"gap"}),
    (forgets_to_restore, {"restore", "quiet"}),
    (remembers_too_late, {"restore", "quiet"}),
    (forgets_a_flag, {"flags"}),
    (drops_a_link, {"links"}),
    (keeps_a_link, {"links"}),
    (lets_a_source_cross, {"sources"}),
    (jumps_a_level, {"jump"}),
    (passes_the_ceiling, {"range"}),
    (moves_house_lights, {"local"}),
    (unmutes_on_parting, {"quiet"}),
    (picks_the_last_lead, {"lead"}),
    (counts_too_early, {"settle"}),
    (holds_on_after_the_link, {"held"}),
    (joins_what_is_closed, {"settle"}),
    (does_not_snapshot_walls, {"replay"}),
    (takes_the_loudest, {"combine"}),
    (carries_what_it_should_keep, {"local", "combine"}),
    (hides_disagreement, {"feedback"}),
    (forgets_a_mask, {"override"}),
    (holds_on_under_an_override, {"override", "held"}),
    (never_rests, {"rest"}),
    (stumbles, {"whole"}),
    (refuses_what_it_offers, {"offered"}),
    (restores_the_sound, {"quiet", "restore"}),
    (adopts_the_lead, {"combine"}),
    (changes_more_than_the_newcomers, {"combine"}),
    (forgets_who_used_it, {"used"}),
    (keeps_links_by_hand, {"by hand"}),
    (combines_unasked, {"asked"}),
    (lets_bookings_together, {"fence"}),
    (fences_in_silence, {"fence"}),
    (restores_what_is_old, {"restore"}),
]


@pytest.mark.parametrize(("plant", "rules"), FAULTS, ids=lambda value: getattr(value, "__name__", ""))
def test_a_planted_fault_is_found_and_told_in_few_commands(
    plant: Plant, rules: set[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rule that it breaks, and the shortest list of commands that shows it."""
    plant(monkeypatch)
    found = prove(hall())
    assert found.failure is not None
    assert found.failure.rule in rules
    assert len(found.failure.steps) <= STEPS_MAX, str(found.failure)
    assert f"rule {found.failure.rule}" in str(found)


def test_a_counterexample_is_printed_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Step by step, and what came of it."""
    lets_a_source_cross(monkeypatch)
    told = str(prove(hall()).failure)
    assert "b-c reports open" in told
    assert "a-b reports closed" in told
    assert "sound and picture never cross a closed wall" in told


def test_an_arrangement_costs_the_same_however_many_walls_there_are() -> None:
    """The commands for one arrangement grow with the zones alone: branches are forked, not run again."""
    rates = []
    for count in (4, 6):
        zones = venues.names(count)
        found = prove(venues.row(count, controls={"volume": venues.level()}, combining=venues.lead_by_order(zones)))
        rates.append(found.commands / found.arrangements / count)
    assert rates[1] == pytest.approx(rates[0], rel=0.15)


def test_a_trial_can_be_forked_and_remembers_its_steps() -> None:
    """A fork goes its own way from the same past."""
    trial = Trial(hall())
    trial.begin()
    trial.do(Act(proof.circumstances.PERSON, "volume", "set", zone="a", value=-20.0))
    fork = trial.fork()
    fork.do(ReportWall(proof.circumstances.WALL, "a-b", "open"))
    assert [len(one.steps) for one in (trial, fork)] == [1, 2]
    assert trial.state.group_of["a"] == ("a",)
    assert fork.state.group_of["a"] == ("a", "b")


def test_progress_is_shown_on_a_terminal_and_nowhere_else() -> None:
    """One line that is written over, and ended when all is proved."""

    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    shown = Terminal()
    show = bar(shown)
    assert show is not None
    prove(hall(), progress=show)
    assert shown.getvalue().endswith("16 of 16 arrangements\n")
    assert bar(StringIO()) is None
