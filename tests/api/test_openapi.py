"""``api.openapi``: the description is made from what routes and validates."""

from __future__ import annotations

import re
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError
from starlette.routing import Route

from roomlink.api.models import View
from roomlink.api.openapi import BASE, document
from roomlink.api.openapi import described as described_path
from roomlink.api.routes import ROUTES, routes
from roomlink.core.instants import rfc3339
from tests.api.harness import Running

DOCUMENT = document()


def fits(schema: dict[str, Any], value: Any) -> bool:
    """Whether a value fits a schema: the part of JSON Schema that the models make use of."""
    if "$ref" in schema:
        return fits(DOCUMENT["components"]["schemas"][schema["$ref"].rpartition("/")[2]], value)
    if "anyOf" in schema:
        return any(fits(one, value) for one in schema["anyOf"])
    if "enum" in schema:
        return value in schema["enum"]
    kind = schema.get("type")
    if kind == "object":
        if not isinstance(value, dict) or any(name not in value for name in schema.get("required", ())):
            return False
        known = schema.get("properties", {})
        others = schema.get("additionalProperties", True)
        return all(
            fits(known[name], member) if name in known else others is True or (bool(others) and fits(others, member))
            for name, member in value.items()
        )
    if kind == "array":
        return isinstance(value, list) and all(fits(schema["items"], one) for one in value)
    if kind == "string":
        return isinstance(value, str) and schema.get("minLength", 0) <= len(value) <= schema.get("maxLength", 10**6)
    if kind == "integer":
        return isinstance(value, int) and not isinstance(value, bool)
    if kind == "number":
        return isinstance(value, int | float) and not isinstance(value, bool)
    return {"boolean": isinstance(value, bool), "null": value is None, None: True}[kind]


def body_schema(method: str, path: str) -> dict[str, Any]:
    content = DOCUMENT["paths"][BASE + path][method]["requestBody"]["content"]
    schema: dict[str, Any] = content["application/json"]["schema"]
    return schema


def test_every_route_is_described() -> None:
    """And nothing is described that is not routed."""
    routed = {
        (described_path(route.path), method.lower())
        for route in routes(ROUTES, BASE)
        if isinstance(route, Route)
        for method in route.methods or ()
        if method != "HEAD"
    }
    described = {(path, method) for path, item in DOCUMENT["paths"].items() for method in item}
    assert described == routed


def test_operations_have_their_own_names_and_their_parameters() -> None:
    """Each variable of a path is a required parameter; every write to the journal can be tried dry."""
    names = [operation["operationId"] for item in DOCUMENT["paths"].values() for operation in item.values()]
    assert len(names) == len(set(names))
    for path, item in DOCUMENT["paths"].items():
        for operation in item.values():
            parameters = {(p["in"], p["name"]) for p in operation.get("parameters", ())}
            assert {("path", name) for name in re.findall(r"{(\w+)}", path)} <= parameters
            assert operation["summary"]
    for row in ROUTES:
        if row.writes:
            operation = DOCUMENT["paths"][BASE + described_path(row.path)][row.method.lower()]
            assert "dry_run" in {p["name"] for p in operation["parameters"]}


def test_every_reference_leads_somewhere() -> None:
    """All schemas that are named are there."""

    def references(value: Any) -> set[str]:
        if isinstance(value, dict):
            own = {value["$ref"]} if "$ref" in value else set()
            return own.union(*(references(member) for member in value.values()))
        return set().union(*(references(one) for one in value)) if isinstance(value, list) else set()

    known = {f"#/components/schemas/{name}" for name in DOCUMENT["components"]["schemas"]}
    assert references(DOCUMENT) <= known


ACTIONS = [
    ({"control": "volume", "do": "set", "value": -20}, True),
    ({"control": "volume", "do": "set", "value": -20.5, "over": 2}, True),
    ({"control": "mute", "do": "set", "value": True}, True),
    ({"control": "program", "do": "set", "value": None}, True),
    ({"control": "volume", "do": "raise", "for": 1.5}, True),
    ({"control": "volume", "do": "jump"}, False),
    ({"do": "set"}, False),
    ({"control": "", "do": "set"}, False),
    ({"control": "volume", "do": "set", "value": [1]}, False),
    ({"control": "volume", "do": "set", "loud": True}, False),
    ({"control": "volume", "do": "set", "over": "2s"}, False),
    ([], False),
]


@pytest.mark.parametrize(("body", "good"), ACTIONS, ids=lambda value: str(value)[:50])
def test_the_schema_of_an_action_takes_what_the_service_takes(body: Any, good: bool) -> None:
    """And refuses what it refuses: both come from one model."""
    path = "/zones/{zone}/actions"
    assert fits(body_schema("post", path), body) is good
    model = next(row.body for row in ROUTES if (row.method, row.path) == ("POST", path))
    assert model is not None
    assert accepted(model, body) is good


def accepted(model: type[BaseModel], body: Any) -> bool:
    try:
        model.model_validate(body)
    except ValidationError:
        return False
    return True


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("put", "/partitions/{partition}", {"position": "open", "pin": 60}),
        ("put", "/partitions/{partition}", {"contacts": {"closed": True, "stacked": None}}),
        ("put", "/overflows/{overflow}", {"zones": ["heron", "tern"]}),
        ("put", "/overflows/{overflow}", {"from": "heron", "to": "foyer", "carries": ["sound"]}),
        ("put", "/joins/{join}", {"zones": ["heron", "tern"]}),
        ("put", "/microphones/{microphone}", {"zone": "heron"}),
        ("put", "/partitions/{partition}/combining", {"combine": True}),
        ("put", "/arrangements/{arrangement}/pin", {"pin": 3600.0}),
        ("post", "/scenes/{scene}/recall", {"zones": ["heron"], "over": 2}),
        ("put", "/scenes/{scene}", {"type": "section", "values": {"volume": -38, "mute": False, "program": None}}),
        ("put", "/scenes/{scene}", {"capture": ["heron"]}),
        ("put", "/simulated/{partition}", {"position": "open"}),
    ],
)
def test_sample_bodies_fit(method: str, path: str, body: Any) -> None:
    """Those of the documentation."""
    assert fits(body_schema(method, path), body)
    assert not fits(body_schema(method, path), {**body, "surprise": 1})


async def test_the_service_serves_it(service: Running) -> None:
    """As OpenAPI 3.1, at the root."""
    answer = await service.http.get(service.url + "/openapi.json")
    assert answer.headers["content-type"] == "application/json"
    found = answer.json()
    assert found["openapi"] == "3.1.0"
    assert set(found["paths"]) == set(DOCUMENT["paths"])


async def test_answers_have_the_described_status(service: Running) -> None:
    """A refusal that can be had is described for its operation."""
    for method, path, name, status in (
        ("POST", "/zones/attic/actions", "/zones/{zone}/actions", 404),
        ("PUT", "/scenes/dinner", "/scenes/{scene}", 428),
        ("PUT", "/simulated/heron-plover", "/simulated/{partition}", 409),
    ):
        body = {"control": "volume", "do": "stop"} if method == "POST" else {"position": "open"}
        body = {"values": {"volume": -30}} if name == "/scenes/{scene}" else body
        answer = await service.http.request(method, path, json=body)
        assert answer.status_code == status
        assert str(status) in DOCUMENT["paths"][BASE + name][method.lower()]["responses"]


def test_what_is_no_json_is_described_as_what_it_is() -> None:
    """A calendar that is asked for, one that is sent, and an answer that is not the end of it."""
    paths = DOCUMENT["paths"]
    assert set(paths[BASE + "/calendar/{zone}.ics"]["get"]["responses"]["200"]["content"]) == {"text/calendar"}
    assert set(paths[BASE + "/free-busy.ics"]["get"]["responses"]["200"]["content"]) == {"text/calendar"}
    assert set(paths[BASE + "/calendar/import"]["post"]["requestBody"]["content"]) == {"text/calendar"}
    assert "202" in paths[BASE + "/calendar/feeds/{feed}/ask"]["post"]["responses"]
    for row in ROUTES:
        path = BASE + described_path(row.path)
        described = paths[path][row.method.lower()]["responses"][str(row.done)]["content"]
        assert set(described) == {row.media}


async def test_views_are_of_the_described_shape(service: Running) -> None:
    """Each view that has a shape, with something in every part of it."""
    start = service.writer.clock.stamp() + 1800.0
    body = {"title": "Gala", "zones": ["heron", "plover"], "start": rfc3339(start), "end": rfc3339(start + 3600.0)}
    booking = (await service.http.post("/bookings", json={**body, "set_up": 10})).json()["booking"]
    await service.http.put("/overflows/gala", json={"zones": ["plover", "tern"]})
    await service.advance(1300.0)
    await service.http.post("/zones/heron/actions", json={"control": "volume", "do": "set", "value": -12, "over": 60})
    names = {"zone": "heron", "controller": "heron-wall", "booking": booking}
    shaped = [row for row in ROUTES if row.gives is not View]
    assert len(shaped) > 8
    for row in shaped:
        answer = await service.http.get(row.path.format(**names))
        assert answer.status_code == 200, row.path
        data = answer.json()
        row.gives.model_validate_json(answer.content, strict=True)
        assert fits(DOCUMENT["components"]["schemas"][row.gives.__name__], data), row.path
