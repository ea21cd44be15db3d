"""What a check says, as text and as data."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any, get_type_hints

import pytest

from roomlink.drivers.registry import Registry
from roomlink.rehearsal import report
from roomlink.rehearsal.findings import arrangement_findings
from roomlink.rehearsal.survey import Survey, survey
from roomlink.runtime.device_rules import DriverRules
from roomlink.testing import venues
from roomlink.venue import Finding, Loaded, load
from tests.rehearsal.test_arrangements_survey import loaded as made

CONFIG = Path(__file__).parents[2] / "config"


@pytest.fixture(scope="module")
def tidewater() -> tuple[Loaded, Survey]:
    """The demo."""
    loaded = load(CONFIG / "tidewater", DriverRules(Registry.of(plugins=[])))
    return loaded, survey(loaded)


def lines(data: dict[str, Any]) -> list[str]:
    loaded = made(data)
    return list(report.text([], loaded, survey(loaded)))


def rows(told: list[str], head: str) -> list[list[str]]:
    """The cells of the table whose first head this is."""
    start = next(n for n, line in enumerate(told) if line.strip().startswith(f"{head}  "))
    end = next((n for n, line in enumerate(told[start:], start) if not line), len(told))
    return [[cell.strip() for cell in line.strip().split("  ") if cell.strip()] for line in told[start:end]]


def test_the_text_begins_with_how_many_arrangements_there_are(tidewater: tuple[Loaded, Survey]) -> None:
    """And that all of them were looked at."""
    first = next(report.text([], *tidewater))
    assert first == "Tidewater Hall: 5 zones, 4 walls, 16 arrangements, 12 distinct groupings; all accounted for."


def test_rooms_are_listed_with_lead_those_who_act_and_people(tidewater: tuple[Loaded, Survey]) -> None:
    """Each room that open walls make once; a number that is not posted is said to be missing."""
    found = rows(list(report.text([], *tidewater)), "room")
    assert found[0] == ["room", "in groupings", "lead", "also act", "people"]
    assert ["heron + plover", "2", "heron-wall", "plover-wall", "330"] in found
    assert ["heron + plover + tern", "1", "heron-wall", "plover-wall, tern-wall", "none posted"] in found
    assert len(found) == 1 + 13


def test_groupings_are_listed_with_their_arrangements_leads_and_people(tidewater: tuple[Loaded, Survey]) -> None:
    """Each distinct one once, those of many groups first."""
    found = rows(list(report.text([], *tidewater)), "grouping")
    assert found[1][0] == "heron | plover | tern | curlew"
    assert ["heron + plover | tern + curlew", "1", "heron-wall | tern-wall", "330 | 330"] in found
    assert found[-1] == ["heron + plover + tern + curlew", "5", "heron-wall", "680"]
    assert len(found) == 1 + 12


def test_zones_that_no_wall_joins_are_listed_apart(tidewater: tuple[Loaded, Survey]) -> None:
    """With those who act there."""
    assert rows(list(report.text([], *tidewater)), "zone")[1] == ["foyer", "foyer-wall, steward", "120"]


def test_talk_is_listed_with_gains_and_delays(tidewater: tuple[Loaded, Survey]) -> None:
    """And that a person tunes the rooms."""
    told = list(report.text([], *tidewater))
    cells = next(line for line in told if "heron-lectern" in line and "heron + plover  " in line).split()
    assert cells[3:] == ["heron-lectern", "-3.0,", "-9.0", "heron-ceiling", "17.5,", "plover-ceiling", "39.1"]
    assert any("a person with ears" in line for line in told)


def test_the_cautions_come_last(tidewater: tuple[Loaded, Survey]) -> None:
    """What a check cannot know stays a person's business."""
    told = list(report.text([], *tidewater))
    at = next(n for n, line in enumerate(told) if "not a safety function" in line)
    assert told[at - 2 : at] == ["nothing found to correct.", ""]
    assert any("stays disarmed" in line for line in told[at:])


def test_locked_controllers_are_said_to_be_locked() -> None:
    """They act on nothing while another one leads."""
    combining = {**venues.lead_by_order("ab"), "others": "lock"}
    assert ["a + b", "1", "a-panel", "(b-panel locked)", "none posted"] in rows(
        lines(venues.row(2, combining=combining)), "room"
    )


def test_a_table_stays_readable_however_many_groupings_there_are() -> None:
    """4,096 groupings are not 4,096 lines: the rest is counted."""
    told = lines(venues.row(13))
    assert len(told) < 3 * report.LINES_MAX
    assert f"  ... and {4096 - report.LINES_MAX:,} more: --json has all" in told


def test_a_room_that_was_sampled_says_so() -> None:
    """With the seed, and without a number of groupings that nobody has counted."""
    told = lines(venues.row(25))
    assert told[0] == "Trial: 25 zones, 24 walls, 2^24 arrangements, groupings as found; not all looked at."
    assert "2^24 arrangements, 4" in told[2]
    assert told[2].endswith("at random, seed 0.")


def test_a_venue_without_walls_is_told_in_one_line() -> None:
    """There is nothing to arrange."""
    assert lines(venues.venue("a"))[0] == "Trial: 1 zone, no walls that open."


FINDINGS = [
    Finding("v.yaml", 3, 5, "zones.a", "error", "it is wrong", "right it"),
    Finding("v.yaml", 4, 1, "zones.b", "note", "it is so"),
    Finding("v.yaml", 5, 1, "zones.c", "note", "it is so too"),
]


def test_each_finding_is_a_line_that_editors_can_follow() -> None:
    """File, line and column, then how grave it is; the last line counts them."""
    assert list(report.text(FINDINGS, None, None)) == [
        "v.yaml:3:5: error: zones.a: it is wrong; right it",
        "v.yaml:4:1: note: zones.b: it is so",
        "v.yaml:5:1: note: zones.c: it is so too",
        "1 error, 2 notes.",
    ]


def test_notes_alone_are_nothing_to_correct() -> None:
    """All is well."""
    assert list(report.text(FINDINGS[1:], None, None))[-1] == "nothing found to correct; 2 notes."
    assert report.ok(FINDINGS[1:])
    assert not report.ok(FINDINGS)


SHAPES = {
    "rooms": report.RoomData,
    "groups": report.GroupData,
}


def test_the_data_has_the_documented_shape(tidewater: tuple[Loaded, Survey]) -> None:
    """Every member that is documented, and no other; all of it plain JSON."""
    loaded, found = tidewater
    told = json.loads(json.dumps(report.data(arrangement_findings(loaded, found), loaded, found)))
    assert set(told) == set(get_type_hints(report.CheckData))
    for member, shape in SHAPES.items():
        assert all(set(entry) == set(get_type_hints(shape)) for entry in told[member])
    (room,) = told["rooms"]
    assert all(set(grouping) == set(get_type_hints(report.GroupingData)) for grouping in room["groupings"])
    assert all(set(loop) == set(get_type_hints(report.LoopData)) for loop in room["loops"].values())
    assert all(set(g["sound"]) == set(get_type_hints(report.SoundData)) for g in told["groups"] if g["sound"])
    assert set(told["findings"][0]) == {"file", "line", "column", "key", "severity", "text", "right"}
    assert told["counts"] == {"error": 0, "warning": 0, "note": 5}


def test_the_data_tells_what_each_arrangement_makes(tidewater: tuple[Loaded, Survey]) -> None:
    """Bit ``n`` of an arrangement's place is wall ``n``; the loops list those in which a wall parts nothing."""
    (room,) = report.data([], *tidewater)["rooms"]
    assert room["walls"] == ["heron-plover", "plover-tern", "tern-curlew", "curlew-heron"]
    assert room["made"] is not None
    assert room["groupings"][room["made"][0b0101]]["groups"] == [["heron", "plover"], ["tern", "curlew"]]
    assert room["loops"]["heron-plover"] == {
        "arrangements": 1,
        "open": [["plover-tern", "tern-curlew", "curlew-heron"]],
    }


def test_the_data_of_a_group_says_who_acts_on_what(tidewater: tuple[Loaded, Survey]) -> None:
    """By controller; the plan of gains and delays is with it."""
    groups = {tuple(group["zones"]): group for group in report.data([], *tidewater)["groups"]}
    pair = groups["heron", "plover"]
    assert (pair["lead"], pair["posted"]) == ("heron-wall", 330)
    assert pair["acts"] == {"heron-wall": ["heron", "plover"], "plover-wall": ["heron", "plover"]}
    assert pair["sound"] is not None
    assert pair["sound"]["talker"] == "heron-lectern"


def test_a_venue_that_was_refused_has_the_same_shape() -> None:
    """With its findings, and nothing else."""
    told = report.data(FINDINGS, None, None)
    assert set(told) == set(get_type_hints(report.CheckData))
    assert (told["ok"], told["venue"], told["rooms"], told["groups"]) == (False, None, [], [])
    assert told["counts"] == {"error": 1, "warning": 0, "note": 2}


def test_more_arrangements_than_json_has_digits_for_are_left_out() -> None:
    """Numbers stay exact for every reader."""
    loaded = made(venues.row(60))
    (room,) = report.data([], loaded, survey(loaded))["rooms"]
    assert (room["possible"], room["every"], room["made"]) == (None, False, None)


def test_progress_is_one_line_that_goes_when_all_is_done() -> None:
    """On a terminal; a percent is told once."""
    out = io.StringIO()
    tell = report.progress(out)
    for done in range(1001):
        tell("pictures", done, 1000)
    said = out.getvalue().split("\r\x1b[K")
    assert said[1] == "pictures: 0 of 1,000"
    assert said[-1] == ""
    assert len(said) == 1 + 101
