"""The journal as a file, for an audit: all entries of a time, as CSV for a spreadsheet or JSON lines for a program."""

from __future__ import annotations

import asyncio
import csv
import io
from collections.abc import AsyncIterator, Callable
from typing import Any

from starlette.responses import Response, StreamingResponse

from roomlink import limits
from roomlink.api.encoding import dumps
from roomlink.errors import BadValue

Shown = dict[str, Any]
COLUMNS = ("seq", "at", "who", "via", "where", "did", "events")

MEDIA = {"csv": "text/csv; charset=utf-8", "jsonl": "application/jsonl"}


def response(kind: str, between: Callable[[int, int], list[Shown]], after: int, upto: int) -> Response:
    """All entries with ``after < seq <= upto``, as they are read; ``between`` gives those of a part, and blocks."""
    if kind not in MEDIA:
        raise BadValue("format", f"{kind!r} is neither csv nor jsonl", allowed=list(MEDIA))
    headers = {"Content-Disposition": f'attachment; filename="journal.{kind}"'}
    return StreamingResponse(_parts(kind, between, after, upto), media_type=MEDIA[kind], headers=headers)


async def _parts(kind: str, between: Callable[[int, int], list[Shown]], after: int, upto: int) -> AsyncIterator[bytes]:
    if kind == "csv":
        yield _rows([COLUMNS])
    while after < upto:
        end = min(upto, after + limits.EVENTS_PAGE_MAX)
        entries = await asyncio.to_thread(between, after, end)
        if kind == "csv":
            yield _rows([tuple(_cell(entry[name]) for name in COLUMNS) for entry in entries])
        else:
            yield b"".join(dumps(entry) + b"\n" for entry in entries)
        after = end


def _cell(value: Any) -> str:
    text = value if isinstance(value, str) else dumps(value).decode()
    # A spreadsheet would run what begins like a formula; names here may be anybody's.
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def _rows(rows: list[tuple[str, ...]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue().encode()
