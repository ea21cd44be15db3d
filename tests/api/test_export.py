"""``api.export``: the journal as a file, for an audit."""

from __future__ import annotations

import csv
import io
import json
from urllib.parse import quote

import pytest

from roomlink import limits
from roomlink.api.export import COLUMNS, _cell
from roomlink.core import view
from tests.api.harness import Running


async def evening(service: Running) -> list[str]:
    """Three things that happen a minute apart; gives the times between them."""
    times = []
    for value in (-20, -21, -22):
        times.append(quote(view.rfc3339(service.writer.clock.stamp())))
        body = {"control": "volume", "do": "set", "value": value}
        await service.http.post("/zones/heron/actions", json=body)
        await service.advance(60.0)
    return times


async def rows(service: Running, query: str) -> list[dict[str, str]]:
    answer = await service.http.get(f"/events?format=csv{query}")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"] == 'attachment; filename="journal.csv"'
    return list(csv.DictReader(io.StringIO(answer.text)))


async def test_a_spreadsheet_has_who_did_what_when_and_from_where(service: Running) -> None:
    """A line an entry, oldest first; what was done as JSON in its cell."""
    await evening(service)
    found = await rows(service, "")
    assert tuple(found[0]) == COLUMNS
    assert [row["seq"] for row in found] == ["1", "2", "3", "4"]
    assert (found[1]["who"], found[1]["via"], found[1]["where"]) == ("http 127.0.0.1", "http", "127.0.0.1")
    assert json.loads(found[1]["did"])["value"] == -20
    assert json.loads(found[1]["events"])[0]["type"] == "control"


async def test_a_time_and_a_person_can_be_cut_out(service: Running) -> None:
    """From then on, before then, of one who acted."""
    _, second, third = await evening(service)
    assert [row["seq"] for row in await rows(service, f"&from={second}&to={third}")] == ["3"]
    assert [row["seq"] for row in await rows(service, "&who=service")] == ["1"]
    assert await rows(service, "&who=nobody") == []


async def test_json_lines_are_what_the_page_has(service: Running) -> None:
    """One entry a line."""
    await evening(service)
    lines = (await service.http.get("/events?format=jsonl")).text.splitlines()
    page = (await service.http.get("/events")).json()["events"]
    assert [json.loads(line) for line in lines] == page


async def test_all_of_it_comes_however_much_that_is(service: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    """In parts, whatever `limit` says."""
    await evening(service)
    monkeypatch.setattr(limits, "EVENTS_PAGE_MAX", 2)
    assert len(await rows(service, "&limit=1")) == 4


async def test_a_cell_that_a_spreadsheet_would_run_is_only_text(service: Running) -> None:
    """Names may be anybody's."""
    await service.http.put("/overflows/gala", json={"zones": ["heron", "tern"]})
    text = (await service.http.get("/events?format=csv")).text
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in csv.reader(io.StringIO(text)) for cell in row)
    assert _cell("=1+1") == "'=1+1"
    assert _cell("alex") == "alex"


async def test_another_format_is_told_which_there_are(service: Running) -> None:
    """422."""
    answer = await service.http.get("/events?format=pdf")
    assert (answer.status_code, answer.json()["allowed"]) == (422, ["csv", "jsonl"])
