"""Commands, replies and refusals as they go from a node to the writer and back: plain JSON, without loss."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from typing import Any, get_args

import orjson
from pydantic import TypeAdapter, ValidationError

from roomlink.core.commands import Command
from roomlink.errors import BadRequest, CallerFault, JournalFailed, OurFault, RoomlinkError

KINDS: dict[str, type[Any]] = {kind.__name__: kind for kind in get_args(Command)}


@cache
def _adapter(name: str) -> TypeAdapter[Any]:
    return TypeAdapter(KINDS[name])


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        # What is left as it is when nobody says otherwise is not said: a node of an older version may not know it.
        given = ((f, getattr(value, f.name)) for f in fields(value))
        return {f.name: _plain(v) for f, v in given if f.default is MISSING or v != f.default}
    if isinstance(value, Mapping):
        return {name: _plain(part) for name, part in value.items()}
    return [_plain(part) for part in value] if isinstance(value, tuple | list) else value


def encode_command(command: Command) -> dict[str, Any]:
    return {"kind": type(command).__name__, "members": _plain(command)}


def decode_command(data: Mapping[str, Any]) -> Command:
    """The command that ``encode_command`` made ``data`` from. Raises BadRequest for anything else."""
    try:
        kind, members = KINDS[str(data["kind"])], data["members"]
        if unknown := sorted(set(members) - {f.name for f in fields(kind)}):
            raise KeyError(*unknown)  # to leave it out would be to do something else
        found: Command = _adapter(kind.__name__).validate_python(members)
    except (KeyError, TypeError, ValidationError) as error:
        raise BadRequest("bad-request", f"another node asks for what this one does not know: {error}") from error
    return found


def encode_error(error: RoomlinkError) -> dict[str, Any]:
    if not isinstance(error, CallerFault):
        return {"fault": str(error)}
    said = {"kind": error.kind, "detail": error.detail, "status": error.status, "title": error.title}
    return {"refusal": said, "more": orjson.loads(orjson.dumps(error.members))}


def decode_error(data: Mapping[str, Any]) -> RoomlinkError | None:
    """The error that an answer carries, so that it becomes the same problem here; None if it carries none."""
    if "fault" in data:
        return JournalFailed(data["fault"])
    if "refusal" not in data:
        return None
    said = data["refusal"]
    error = CallerFault(said["kind"], said["detail"], **data["more"])
    error.status, error.title = said["status"], said["title"]
    return error


class NotTaken(OurFault):
    """The node that was asked is not the writer (any more): nothing was carried out, and another may be asked."""
