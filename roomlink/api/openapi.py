"""``/openapi.json``, made from the rows of ``ROUTES`` and the models that validate."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

import roomlink
from roomlink.api import models
from roomlink.api.routes import ROUTES, Row

BASE = "/api/v1"
ABOUT = (
    "A soft controller for divisible rooms. Errors are RFC 9457 problems with a stable `type`. `dry_run=true` on a"
    " write answers with the events that it would cause and changes nothing. Not a safety function: hard-wired"
    " protection, local codes and licensed practice come first."
)


def _ref(model: type[BaseModel]) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{model.__name__}"}


def _content(model: type[BaseModel], media: str) -> dict[str, Any]:
    return {media: {"schema": _ref(model)}}


def _parameters(row: Row) -> list[dict[str, Any]]:
    text = {"type": "string"}
    found = [
        {"name": name, "in": "path", "required": True, "schema": text} for name in re.findall(r"{(\w+)}", row.path)
    ]
    query = row.query + ((("dry_run", "true: tell what would happen, and do nothing"),) if row.writes else ())
    found += [{"name": name, "in": "query", "description": about, "schema": text} for name, about in query]
    return found + [{"name": name, "in": "header", "description": about, "schema": text} for name, about in row.headers]


def _operation(row: Row) -> dict[str, Any]:
    done = models.Done if row.method != "GET" else models.View
    responses: dict[str, Any] = {"200": {"description": "OK", "content": _content(done, "application/json")}}
    statuses = {*row.statuses, *((400, 413) if row.body else ()), *((403, 503) if row.writes else ())}
    for status in sorted(statuses):
        content = _content(models.Problem, "application/problem+json")
        responses[str(status)] = {"description": HTTPStatus(status).phrase, "content": content}
    name = row.method.lower() + "".join(part.strip("{}").capitalize() for part in row.path.split("/"))
    operation: dict[str, Any] = {"operationId": name, "summary": row.summary, "responses": responses}
    if parameters := _parameters(row):
        operation["parameters"] = parameters
    if row.body is not None:
        content = _content(row.body, "application/json")
        operation["requestBody"] = {"required": row.body is not models.Recall, "content": content}
    return operation


def document() -> dict[str, Any]:
    """The OpenAPI 3.1 description of everything under ``/api/v1``."""
    bodies = {row.body for row in ROUTES if row.body is not None}
    used: list[type[BaseModel]] = [*sorted(bodies, key=lambda m: m.__name__), models.Problem, models.Done, models.View]
    _, schemas = models_json_schema([(m, "validation") for m in used], ref_template="#/components/schemas/{model}")
    paths: dict[str, Any] = {}
    for row in ROUTES:
        paths.setdefault(BASE + row.path, {})[row.method.lower()] = _operation(row)
    return {
        "openapi": "3.1.0",
        "info": {"title": "roomlink", "version": roomlink.__version__, "description": ABOUT},
        "paths": paths,
        "components": {"schemas": schemas["$defs"]},
    }
