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

SECURITY = {
    "token": {"type": "http", "scheme": "bearer", "description": "an integration's token"},
    "session": {"type": "apiKey", "in": "cookie", "name": "roomlink-session", "description": "a person, signed in"},
    "panel": {"type": "apiKey", "in": "cookie", "name": "roomlink-panel", "description": "a paired panel"},
}
"""By what the service knows who asks; over TLS the names of the cookies begin with ``__Host-``."""


def _ref(model: type[BaseModel]) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{model.__name__}"}


def _content(model: type[BaseModel], media: str) -> dict[str, Any]:
    return {media: {"schema": _ref(model)}}


def described(path: str) -> str:
    """A path as OpenAPI writes it, which has no word for a name that may hold slashes."""
    return path.replace(":path}", "}")


def _parameters(row: Row) -> list[dict[str, Any]]:
    text = {"type": "string"}
    names = re.findall(r"{(\w+)}", described(row.path))
    found = [{"name": name, "in": "path", "required": True, "schema": text} for name in names]
    query = row.query + ((("dry_run", "true: tell what would happen, and do nothing"),) if row.writes else ())
    found += [{"name": name, "in": "query", "description": about, "schema": text} for name, about in query]
    return found + [{"name": name, "in": "header", "description": about, "schema": text} for name, about in row.headers]


def _operation(row: Row) -> dict[str, Any]:
    done = _content(models.Done if row.method != "GET" else row.gives, row.media)
    if row.media != "application/json":
        done = {row.media: {"schema": {"type": "string"}}}
    responses: dict[str, Any] = {str(row.done): {"description": HTTPStatus(row.done).phrase, "content": done}}
    # A body that is no JSON, too large or not of its model; a `dry_run` that is neither true nor false.
    statuses = {*row.statuses, *((400, 413, 422) if row.body else ()), *((403, 422, 503) if row.writes else ())}
    statuses |= {403} if row.method != "GET" else set()
    statuses |= {401, 403} if row.role is not None else set()
    for status in sorted(statuses):
        content = _content(models.Problem, "application/problem+json")
        responses[str(status)] = {"description": HTTPStatus(status).phrase, "content": content}
    name = row.method.lower() + "".join(part.strip("{}").capitalize() for part in described(row.path).split("/"))
    operation: dict[str, Any] = {"operationId": name, "summary": row.summary, "responses": responses}
    if row.role is None:
        operation["security"] = []
    else:
        operation["description"] = f"Needs the role {row.role}{' or a paired panel' if row.panel else ''}."
    if parameters := _parameters(row):
        operation["parameters"] = parameters
    if row.body is not None:
        content = _content(row.body, "application/json")
        operation["requestBody"] = {"required": row.body is not models.Recall, "content": content}
    elif row.takes:
        operation["requestBody"] = {"required": True, "content": {row.takes: {"schema": {"type": "string"}}}}
    return operation


def document() -> dict[str, Any]:
    """The OpenAPI 3.1 description of everything under ``/api/v1``."""
    bodies = {row.body for row in ROUTES if row.body is not None}
    known: set[type[BaseModel]] = {*bodies, *(row.gives for row in ROUTES), models.Problem, models.Done}
    used = sorted(known, key=lambda model: model.__name__)
    _, schemas = models_json_schema([(m, "validation") for m in used], ref_template="#/components/schemas/{model}")
    paths: dict[str, Any] = {}
    for row in ROUTES:
        paths.setdefault(BASE + described(row.path), {})[row.method.lower()] = _operation(row)
    return {
        "openapi": "3.1.0",
        "info": {"title": "roomlink", "version": roomlink.__version__, "description": ABOUT},
        "paths": paths,
        "components": {"schemas": schemas["$defs"], "securitySchemes": SECURITY},
        "security": [{name: []} for name in SECURITY],
    }
