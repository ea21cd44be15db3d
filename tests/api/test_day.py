"""``api.day``: the day's drawing over HTTP."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from tests.api.harness import Running

TITLE = "{http://www.w3.org/2000/svg}title"


async def test_a_day_is_served_as_a_drawing_and_without_one_it_is_today(service: Running) -> None:
    """SVG that may load from this service alone."""
    answer = await service.http.get(service.url + "/day?day=2026-05-01")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert str(ET.fromstring(answer.text).findtext(TITLE)).endswith(", Friday 1 May 2026")
    today = ET.fromstring((await service.http.get(service.url + "/day")).text)
    assert "now" in "".join(today.itertext())


@pytest.mark.parametrize("day", ["tomorrow", "2026-02-30", "20260501", "1969-12-31", "3000-01-01", "2026-05-01T00:00"])
async def test_what_is_no_day_is_refused_with_what_would_be_right(service: Running, day: str) -> None:
    """422, as a problem."""
    answer = await service.http.get(service.url + f"/day?day={day}")
    assert answer.status_code == 422
    assert answer.json()["field"] == "day"
    assert "2026-05-01" in answer.json()["detail"]
