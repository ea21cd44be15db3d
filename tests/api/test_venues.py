"""``/venues`` on a single machine; what several nodes tell is in ``tests/test_nodes.py``."""

from __future__ import annotations

from pathlib import Path

from tests.api.harness import running, write_venue


async def test_a_single_machine_tells_of_itself(tmp_path: Path) -> None:
    """One node that writes and is ready, under the address by which it was asked; its page is there, too."""
    async with running(write_venue(tmp_path)) as service:
        told = (await service.http.get("/venues")).json()["venues"]["harbour"]
        assert told["name"] == "Harbour Hall"
        node = told["nodes"]["this"]
        assert (node["writes"], node["ready"], node["address"]) == (True, True, service.url)
        assert node["seq"] == service.writer.engine.seq
        page = await service.http.get(f"{service.url}/venues")
        assert page.headers["content-type"].startswith("text/html")
