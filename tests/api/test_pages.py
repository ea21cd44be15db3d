"""``api.pages``: pages for people, and what machines ask of a service."""

from __future__ import annotations

import pytest

from tests.api.harness import Running


@pytest.mark.parametrize("path", ["/", "/plan", "/docs", "/panel/heron-wall", "/web/panel.html"])
async def test_pages_are_served_with_what_protects_them(service: Running, path: str) -> None:
    """As HTML that may load from this service alone and may not be framed by another site."""
    answer = await service.http.get(service.url + path)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert "frame-ancestors 'self'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "server" not in answer.headers


async def test_the_page_of_an_unknown_controller_says_which_there_are(service: Running) -> None:
    """404, in words."""
    answer = await service.http.get(service.url + "/panel/attic-wall")
    assert answer.status_code == 404
    assert "heron-wall" in answer.text


@pytest.mark.parametrize("path", ["/attic", "/web/attic.js", "/web/../roomlink/cli.py", "/web/%2e%2e/%2e%2e/Makefile"])
async def test_nothing_else_is_served(service: Running, path: str) -> None:
    """A problem, and no file from outside the kit."""
    answer = await service.http.get(service.url + path)
    assert answer.status_code == 404
    assert answer.json()["type"] == "/problems/not-found"


async def test_it_is_alive_and_ready(service: Running) -> None:
    """For those who watch over services."""
    for path, text in (("/healthz", "alive\n"), ("/readyz", "ready\n")):
        answer = await service.http.get(service.url + path)
        assert (answer.status_code, answer.text) == (200, text)


async def test_metrics_can_be_scraped(service: Running) -> None:
    """In Prometheus' text format, with who listens."""
    async with service.panel(), service.watch():
        answer = await service.http.get(service.url + "/metrics")
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    assert "roomlink_listeners 2.0" in answer.text
    assert "roomlink_journal_seq 1.0" in answer.text
