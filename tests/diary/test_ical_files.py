"""Calendar files written after RFC 5545's own examples, whole and broken, each with the report that it must give."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.diary.desk import content, dates, harbour, read, send

FILES = sorted((Path(__file__).parent / "calendars").glob("*.ics"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
async def test_a_file_is_reported_component_by_component(path: Path, tmp_path: Path) -> None:
    """What became of each component, and why, and at which times the zones are held then."""
    expected = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    desk = harbour(tmp_path)
    report = await send(desk, content(path))
    assert (report.fault or None) is None if expected["fault"] is None else report.fault.startswith(expected["fault"])
    assert [(line.uid, line.outcome) for line in report.lines] == [(e["uid"], e["outcome"]) for e in expected["lines"]]
    for line, wanted in zip(report.lines, expected["lines"], strict=True):
        assert wanted["why"] in line.why
        assert line.why or line.outcome == "taken"
    for uid, found in expected["dates"].items():
        assert (len(dates(desk, uid)) if isinstance(found, int) else dates(desk, uid)) == found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
async def test_a_file_that_comes_again_changes_nothing(path: Path, tmp_path: Path) -> None:
    """What was taken is unchanged the second time, and nothing that was refused slips in."""
    desk = harbour(tmp_path)
    first = await send(desk, content(path))
    before = dict(desk.state.bookings)
    second = await send(desk, content(path))
    assert desk.state.bookings == before
    again = {"taken": "unchanged"}
    assert [line.outcome for line in second.lines] == [again.get(line.outcome, line.outcome) for line in first.lines]


@pytest.mark.parametrize("path", [f for f in FILES if not read(content(f)).fault], ids=lambda path: path.stem)
def test_a_file_cut_anywhere_is_never_taken_in_part(path: Path) -> None:
    """A file that was cut off in the middle is refused whole, wherever the cut is."""
    whole = content(path)
    for cut in range(0, len(whole) - len(b"END:VCALENDAR\r\n"), max(1, len(whole) // 40)):
        assert read(whole[:cut]).fault
