"""``api.backups``: the download where there is nothing to load down; the rest is in ``tests/test_service_disk.py``."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Awaitable, Callable
from contextlib import closing
from pathlib import Path
from zipfile import ZipFile

from roomlink.journal import backup
from roomlink.journal.sqlite import SqliteJournal
from tests.api.harness import WITHIN_S, Running


async def test_without_a_data_folder_there_is_nothing_to_back_up(service: Running) -> None:
    """Told with what to do."""
    answer = await service.http.get("/backup")
    assert answer.status_code == 409
    assert answer.json()["type"] == "/problems/not-running"
    assert "start the service with --data" in answer.json()["detail"]


async def test_a_download_is_whole_and_kept_by_nobody_on_the_way(
    start: Callable[..., Awaitable[Running]], folder: Path, tmp_path: Path
) -> None:
    """Neither by the browser nor by the service; what one that was killed left of it goes at the next start."""
    data = tmp_path / "data"
    with closing(SqliteJournal(data / "journal.db", "harbour")) as journal:
        service = await start(journal=journal, parts=lambda writer: {"data": data, "folder": folder})
        answer = await service.http.get("/backup")
        assert answer.headers["cache-control"] == "no-store"
        assert "configuration/venue.yaml" in ZipFile(io.BytesIO(answer.content)).namelist()
        async with asyncio.timeout(WITHIN_S):
            while list(data.glob(f"{backup.DOWNLOADS}*")):  # noqa: ASYNC110 - it goes once the answer was sent
                await asyncio.sleep(0.002)
        (data / f"{backup.DOWNLOADS}x").mkdir()
        (data / f"{backup.DOWNLOADS}x" / "backup.zip").write_bytes(b"half")
        backup.sweep(data)
        assert list(data.glob(f"{backup.DOWNLOADS}*")) == []
        await service.writer.stop()
