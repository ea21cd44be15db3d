"""The JSON Schema for editors."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from roomlink.venue.fields import DURATION_PATTERN, NAME_PATTERN
from roomlink.venue.schema import schema

WRITTEN = Path(__file__).parents[2] / "config" / "schema.json"


def test_the_committed_schema_is_what_the_models_give() -> None:
    """Write it anew when a model changes."""
    assert json.loads(WRITTEN.read_text(encoding="utf-8")) == schema()


def test_it_says_which_dialect_it_is_written_in() -> None:
    """JSON Schema 2020-12."""
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_every_section_is_there_and_nothing_else_is_allowed() -> None:
    """Any file may hold only some of them."""
    made = schema()
    assert {"venue", "zone_types", "zones", "partitions", "controllers", "combining"} <= made["properties"].keys()
    assert made["additionalProperties"] is False
    assert "required" not in made


def test_durations_are_texts_with_their_default_written_the_same_way() -> None:
    """An editor offers 2s, not 2.0."""
    settle: dict[str, Any] = schema()["$defs"]["Partition"]["properties"]["settle"]
    assert (settle["type"], settle["pattern"], settle["default"]) == ("string", DURATION_PATTERN, "2s")


@pytest.mark.parametrize("written", ["300ms", "3s", "2.5s", "2min", "1h"])
def test_the_pattern_of_durations_matches_them(written: str) -> None:
    """The same words as the loader takes."""
    assert re.search(DURATION_PATTERN, written)


def test_the_pattern_of_names_matches_them() -> None:
    """Lower case, and a letter first."""
    assert re.search(NAME_PATTERN, "east-2")
    assert not re.search(NAME_PATTERN, "2-east")
