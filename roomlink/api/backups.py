"""``/backup``: what ``roomlink backup`` writes, to be downloaded."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path

from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from roomlink.errors import Refused
from roomlink.journal import backup

MEDIA = "application/zip"


async def get_backup(request: Request) -> Response:
    """The file is made beside the journal first, so that it comes whole or not at all, and goes when it was sent."""
    data: Path | None = request.app.state.data
    if data is None:
        raise Refused("not-running", "nothing is kept here that could be backed up: start the service with --data")
    scratch = tempfile.TemporaryDirectory(prefix=backup.DOWNLOADS, dir=data)
    made = Path(scratch.name) / "backup.zip"
    try:
        manifest = await asyncio.to_thread(backup.make, data, made, request.app.state.folder)
    except BaseException:
        scratch.cleanup()
        raise
    name = f"roomlink-{manifest.venue}-{manifest.seq}.zip"
    # It holds the hashes of passwords: no browser is to keep it beside the place where it was saved.
    headers = {"Cache-Control": "no-store"}
    return FileResponse(made, 200, headers, MEDIA, BackgroundTask(scratch.cleanup), filename=name)
