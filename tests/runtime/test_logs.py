"""``runtime.logs``: one line an event, on standard error."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
import structlog

from roomlink.runtime import logs


@pytest.fixture(autouse=True)
def _as_before() -> Iterator[None]:
    """Put the configuration of the log back."""
    before = structlog.get_config()
    yield
    structlog.configure(**before)


def test_a_line_is_json_with_its_time_and_level(capsys: pytest.CaptureFixture[str]) -> None:
    """Where no terminal reads it; standard output stays free."""
    logs.configure("info")
    structlog.get_logger("roomlink").warning("noticed", seq=7)
    out, err = capsys.readouterr()
    line = json.loads(err)
    assert (line["event"], line["seq"], line["level"]) == ("noticed", 7, "warning")
    assert line["timestamp"].endswith("Z")
    assert out == ""


def test_what_lies_below_the_level_is_dropped(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is written of it."""
    logs.configure("error")
    structlog.get_logger("roomlink").warning("noticed")
    assert capsys.readouterr().err == ""


def test_a_terminal_gets_text(capsys: pytest.CaptureFixture[str]) -> None:
    """For people to read."""
    logs.configure("debug", json=False)
    structlog.get_logger("roomlink").debug("noticed", seq=7)
    assert "seq" in capsys.readouterr().err
