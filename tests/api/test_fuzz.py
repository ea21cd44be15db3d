"""The real service on what `/openapi.json` allows, and on what it does not: every answer is one that is described."""

from __future__ import annotations

import os
import shutil
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from roomlink.api.openapi import BASE, described
from roomlink.api.routes import ROUTES, Row
from tests.api.harness import Served

EXAMPLES = int(os.environ.get("ROOMLINK_FUZZ", "4"))
"""Requests an operation; more on request."""
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
VENUE = Path(__file__).resolve().parent.parent.parent / "config" / "tidewater"


@dataclass
class Hall:
    """A service that everybody may use, what it says of itself, and names that mean something to it."""

    schema: Any
    names: dict[str, list[str]]
    session: requests.Session


@pytest.fixture(scope="module")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hall]:
    folder = tmp_path_factory.mktemp("fuzz") / "tidewater"
    shutil.copytree(VENUE, folder)
    served = Served(folder, None, "--log", "error")
    try:
        venue = served.get("/venue")
        names = {
            "zone": list(venue["zones"]),
            "controller": list(venue["controllers"]),
            "partition": list(venue["partitions"]),
            "scene": list(venue["scenes"]),
            "control": sorted({name for zone in served.get("/state")["zones"].values() for name in zone["controls"]}),
            "device": list(served.get("/devices")["devices"]),
            "binding": list(served.get("/bindings")["bindings"]),
            "do": ["set", "press", "raise", "stop", "open", "align"],
        }
        with requests.Session() as session:
            yield Hall(schemathesis.openapi.from_url(served.url + "/openapi.json"), names, session)
    finally:
        served.stop()


def with_names(case: Any, hall: Hall, data: st.DataObject) -> None:
    """Put real names in the place of some made-up ones: else nearly everything would be unknown."""
    for part in (case.path_parameters, case.body):
        for name in part if isinstance(part, dict) else ():
            known = hall.names.get(name)
            if known and data.draw(st.integers(0, 3), label=f"a real {name}?"):
                part[name] = data.draw(st.sampled_from(known), label=name)


@pytest.mark.parametrize("row", ROUTES, ids=lambda row: f"{row.method} {row.path}")
def test_every_answer_is_described(row: Row, hall: Hall) -> None:
    """No 5xx, no status and no shape that the description does not have, however odd the request."""
    operation = hall.schema[BASE + described(row.path)][row.method]
    any_case = st.one_of(operation.as_strategy(), operation.as_strategy(generation_mode=GenerationMode.NEGATIVE))

    @settings(
        max_examples=EXAMPLES, deadline=None, derandomize=EXAMPLES < 50, database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(any_case, st.data())
    def ask(case: Any, data: st.DataObject) -> None:
        with_names(case, hall, data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of the tools, about what is odd in a request: that is the point
            case.call_and_validate(session=hall.session, checks=CHECKS, timeout=10.0)

    ask()
