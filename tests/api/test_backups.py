"""``api.backups``: the download where there is nothing to load down; the rest is in ``tests/test_service_disk.py``."""

from __future__ import annotations

from tests.api.harness import Running


async def test_without_a_data_folder_there_is_nothing_to_back_up(service: Running) -> None:
    """Told with what to do."""
    answer = await service.http.get("/backup")
    assert answer.status_code == 409
    assert answer.json()["type"] == "/problems/not-running"
    assert "start the service with --data" in answer.json()["detail"]
