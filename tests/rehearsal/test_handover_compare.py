"""``rehearsal.handover_compare``: what changed between two configurations, and what that voids."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from roomlink.cli import main
from roomlink.rehearsal.handover_compare import Comparison, as_text, compare
from roomlink.venue.load import Loaded
from tests.api.harness import HARBOUR, write_venue
from tests.rehearsal.handovers import MILL, made, mill


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    return mill(tmp_path_factory.mktemp("before"))


def after(folder: Path, before: Loaded, *replaced: tuple[str, str]) -> Comparison:
    """The mill compared with itself after these replacements in its text."""
    text = MILL
    for old, new in replaced:
        assert old in text, old
        text = text.replace(old, new)
    return compare(before, mill(folder, text))


CASES = [
    (("name: North panel", "name: The north panel"), "controllers", "panel north-wall: name, North panel became The"),
    (("home: north,", "home: south,"), "controllers", "panel north-wall: home, north became south"),
    (("reach: [south]", "reach: [south, north]"), "controllers", "panel south-wall: reach, south became south, north"),
    (
        ("travel: 3s, start: -30", "travel: 4s, start: -30"),
        "zones",
        "volume of north and south: travel, 3 s became 4 s",
    ),
    (
        ("lamp: {kind: switch, min_off", "lamp: {kind: switch, start: on, min_off"),
        "zones",
        "lamp of south: start, off became on",
    ),
    (
        ("      program: {", "      chime: {kind: momentary}\\n      program: {"),
        "zones",
        "chime of north and south is new",
    ),
    (("discrete_input: 5", "discrete_input: 4"), "partitions", "wall north-south: contacts closed, "),
    (("others: mirror", "others: lock"), "combining", "rule others: mirror became lock"),
    (("volume: quietest", "volume: loudest"), "combining", "rule on_combine volume: quietest became loudest"),
    (
        ("[north-wall, south-wall]", "[south-wall, north-wall]"),
        "combining",
        "rule lead_order: north-wall, south-wall became",
    ),
    (("house: 35, volume", "house: 36, volume"), "scenes", "scene dinner: values house, 35 became 36"),
    (("name: A toast, ", ""), "scenes", "scene toast: name, A toast became Toast"),
    (("posted: 222", "posted: 223"), "occupancy", "occupancy north + south: posted, 222 became 223"),
    (("{zones: [north], posted: 111}, ", ""), "occupancy", "occupancy north is gone: posted 111"),
    (("host: 10.0.0.9", "host: 10.0.0.8"), "devices", "device contacts: host, 10.0.0.9 became 10.0.0.8"),
    (("stagger: 500ms", "stagger: 1s"), "supplies", "supply rack: stagger, 0.5 s became 1 s"),
    (("channel: 1", "channel: 2"), "bindings", "binding north.house: point channel, 1 became 2"),
    (("curve: square", "curve: linear"), "bindings", "binding north.house: curve, square became linear"),
    (("kind: life-safety", "kind: lockout"), "overrides", "override fire: kind, life-safety became lockout"),
    (("at: [6, 2]", "at: [6, 3]"), "microphones", "microphone north-lectern: at, 6, 2 became 6, 3"),
    (("at: [6, 22]", "at: [6, 23]"), "loudspeakers", "loudspeakers south-ceiling: at, 6, 22 became 6, 23"),
    (("Europe/Lisbon", "Europe/Paris"), "venue", "the venue: timezone, Europe/Lisbon became Europe/Paris"),
    (("microphones:", "sound: {temperature: 25}\\nmicrophones:"), "sound", "sound: temperature, 20 became 25"),
    (("  toast: {", "  last: {type: section, values: {house: 5}}\\n  toast: {"), "scenes", "scene last is new"),
]


@pytest.mark.parametrize(("replaced", "section", "text"), CASES, ids=lambda value: str(value)[:40])
def test_each_kind_of_change_is_told_in_words(
    tmp_path: Path, before: Loaded, replaced: tuple[str, str], section: str, text: str
) -> None:
    """One change, one sentence, of the right section."""
    old, new = (part.replace("\\n", "\n") for part in replaced)
    found = after(tmp_path, before, (old, new))
    assert any(change.section == section and change.text.startswith(text) for change in found.changes), [
        change.text for change in found.changes
    ]
    assert {change.section for change in found.changes} == {section}


def test_the_same_configuration_has_no_changes(tmp_path: Path, before: Loaded) -> None:
    """Nothing is void."""
    found = after(tmp_path, before)
    assert (found.changes, found.proofs, found.again, found.new, found.gone, found.disarmed) == ((), (), (), (), (), ())
    assert as_text(found).startswith("Nothing changed")


def test_a_zone_and_a_wall_that_come_or_go_are_told_both_ways(tmp_path: Path, before: Loaded) -> None:
    """With what they were between."""
    more = (
        "partitions:\n",
        "  attic: {type: section, outline: [[0, 30], [12, 30], [12, 40], [0, 40]]}\n"
        "partitions:\n  south-attic: {between: [south, attic]}\n",
    )
    newer = mill(tmp_path, MILL.replace(*more))
    there = [change.text for change in compare(before, newer).changes]
    assert there == ["zone attic is new", "wall south-attic is new: between south and attic"]
    back = compare(newer, before)
    assert [change.text for change in back.changes][:2] == [
        "zone attic is gone",
        "wall south-attic is gone: between south and attic",
    ]
    assert "wall/south-attic/open" in back.gone
    assert "wall/south-attic/open" in compare(before, newer).new


def test_the_order_of_a_section_counts(tmp_path: Path, before: Loaded) -> None:
    """Venue order has a meaning."""
    a = "  north-wall: {home: north, name: North panel}\n"
    b = "  south-wall: {home: south, feedback: majority, reach: [south]}\n"
    found = after(tmp_path, before, (a + b, b + a))
    assert [change.text for change in found.changes] == [
        "the order of the panels is now south-wall and north-wall",
    ]


def test_a_changed_binding_voids_its_check_and_its_arming(tmp_path: Path, before: Loaded) -> None:
    """And nothing of the other bindings; arrangements stay proved."""
    found = after(tmp_path, before, ("open: {name: down}", "open: {name: lower}"))
    assert found.again == ("binding/big-screen/moves", "binding/big-screen/loss")
    assert found.disarmed == ("big-screen",)
    assert [text for text in found.proofs if "arrangements" in text] == []


def test_a_changed_rule_voids_the_proof_of_arrangements(tmp_path: Path, before: Loaded) -> None:
    """But no check on site."""
    found = after(tmp_path, before, ("others: mirror", "others: lock"))
    assert any("proof of all arrangements" in text for text in found.proofs)
    assert found.again == ()


def test_every_section_of_a_configuration_is_compared(before: Loaded) -> None:
    """A section that nobody thought of would be a change that nobody hears of."""
    for section in before.data:
        other = replace(before, data={**before.data, section: {"set_up": 5.0} if section == "bookings" else {}})
        if before.data[section]:
            assert {change.section for change in compare(before, other).changes} == {section}


def test_changes_are_a_section_of_the_handover(tmp_path: Path, before: Loaded) -> None:
    """Where it is asked for."""
    newer = mill(tmp_path, MILL.replace("posted: 222", "posted: 223"))
    page = made(newer, changes=compare(before, newer))["index.html"]
    assert "posted, 222 became 223" in page
    assert "posted, 222 became 223" not in made(newer)["index.html"]


def test_the_command_compares(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From the other folder to this one: status 1 where they differ, 0 where not; as JSON too."""
    old = write_venue(tmp_path / "old")
    new = write_venue(tmp_path / "new", HARBOUR.replace("settle: 2s", "settle: 3s"))
    assert main(["handover", str(new), "--compare", str(old)]) == 1
    out = capsys.readouterr().out
    assert "wall heron-plover: settle, 2 s became 3 s." in out
    assert "wall/heron-plover/open" in out
    assert main(["handover", str(new), "--compare", str(old), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)["comparison"]
    assert told["changes"][0]["section"] == "partitions"
    assert told["again"] == ["wall/heron-plover/closed", "wall/heron-plover/open"]
    assert main(["handover", str(old), "--compare", str(old)]) == 0
