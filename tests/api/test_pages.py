"""``api.pages``: pages for people, and what machines ask of a service."""

from __future__ import annotations

import json
import re
from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest

from roomlink.api import pages
from roomlink.api.app import application
from tests.api.harness import Running


@pytest.fixture
async def site(service: Running, tmp_path: Path) -> AsyncIterator[httpx.AsyncClient]:
    """The pages of a venue whose folder is ``tmp_path``."""
    app = application(service.writer, service.simulated, folder=tmp_path)
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://localhost") as client:
        yield client


def bring(folder: Path, name: str, text: str) -> None:
    (folder / "panels" / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / "panels" / name).write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    "path", ["/", "/plan", "/crew", "/technician", "/docs", "/panel/heron-wall", "/web/panel.html"]
)
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


async def test_a_venue_s_own_page_takes_the_place_of_the_composed_panel(
    site: httpx.AsyncClient, tmp_path: Path
) -> None:
    """That of its controller only, with the same protection, and as soon as the file is there."""
    composed = (await site.get("/panel/heron-wall")).text
    bring(tmp_path, "heron-wall.html", "<p>ours</p>")
    own = await site.get("/panel/heron-wall")
    assert own.text == "<p>ours</p>"
    assert "default-src 'self'" in own.headers["content-security-policy"]
    assert (await site.get("/panel/plover-wall")).text == composed


async def test_a_venue_s_own_files_are_served_from_its_panels_folder(site: httpx.AsyncClient, tmp_path: Path) -> None:
    """With their media types; folders deeper too."""
    bring(tmp_path, "ours/bar.css", "p { margin: 0 }")
    answer = await site.get("/panels/ours/bar.css")
    assert (answer.status_code, answer.text) == (200, "p { margin: 0 }")
    assert answer.headers["content-type"].startswith("text/css")


@pytest.mark.parametrize(
    "path", ["../venue.yaml", "%2e%2e/venue.yaml", "ours/../../venue.yaml", "out.yaml", "", "ours", "%00"]
)
async def test_nothing_outside_the_panels_folder_is_served(site: httpx.AsyncClient, tmp_path: Path, path: str) -> None:
    """Not by dots, not by a link, not as a listing."""
    (tmp_path / "venue.yaml").write_text("secret", encoding="utf-8")
    bring(tmp_path, "ours/page.html", "")
    (tmp_path / "panels" / "out.yaml").symlink_to(tmp_path / "venue.yaml")
    answer = await site.get(f"/panels/{path}")
    assert answer.status_code == 404
    assert "secret" not in answer.text


async def test_a_service_without_a_folder_has_no_pages_of_its_own(service: Running) -> None:
    """404, and the composed panel."""
    assert (await service.http.get(service.url + "/panels/bar.css")).status_code == 404
    assert "rl-connection" in (await service.http.get(service.url + "/panel/heron-wall")).text


async def test_the_page_in_the_kit_s_handbook_works_as_it_stands(site: httpx.AsyncClient, tmp_path: Path) -> None:
    """It loads only what the kit has, from this service alone, and keeps the line about safety."""
    handbook = (pages.folder() / "README.md").read_text(encoding="utf-8")
    page = re.search(r"```html\n(.*?)```", handbook, re.DOTALL)
    assert page is not None
    assert len(page[1].splitlines()) <= 20
    bring(tmp_path, "heron-wall.html", page[1])
    text = (await site.get("/panel/heron-wall")).text
    assert "Not a safety function." in text
    for path in re.findall(r'(?:src|href)="([^"]+)"', text):
        assert (await site.get(path)).status_code == 200, path


async def test_the_service_worker_keeps_every_file_of_the_kit_and_nothing_of_the_api(site: httpx.AsyncClient) -> None:
    """From the root, so that its scope is the whole site."""
    answer = await site.get("/sw.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    found = re.search(r"const FILES = (.*);", answer.text)
    assert found is not None
    files = json.loads(found[1])
    assert {"/", "/plan", "/crew", "/technician"} <= set(files)
    assert {"/web/panel.html", "/web/roomlink.js", "/web/src/socket.js"} <= set(files)
    assert "/day" not in files
    assert not [path for path in files if path.startswith("/api/") or "node_modules" in path or "/test/" in path]
    for path in files:
        assert (await site.get(path)).status_code == 200, path


async def test_another_kit_is_another_service_worker(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """So that a new service replaces what a panel keeps."""
    (tmp_path / "sw.js").write_text("", encoding="utf-8")
    (tmp_path / "kit.js").write_text("one", encoding="utf-8")
    monkeypatch.setattr(pages, "folder", lambda: tmp_path)
    first = pages.kit.__wrapped__()
    (tmp_path / "kit.js").write_text("two", encoding="utf-8")
    second = pages.kit.__wrapped__()
    assert first[1] == second[1] == ("kit.js",)
    assert first[0] != second[0]


async def test_a_page_can_be_installed_and_a_panel_opens_with_itself(site: httpx.AsyncClient) -> None:
    """A manifest with the venue's name; with ``panel`` the panel's own."""
    answer = await site.get("/manifest.webmanifest")
    assert answer.headers["content-type"] == "application/manifest+json"
    whole = answer.json()
    assert (whole["name"], whole["start_url"], whole["scope"]) == ("Harbour Hall", "/", "/")
    for icon in whole["icons"]:
        assert (await site.get(icon["src"])).headers["content-type"] == icon["type"]
    panel = (await site.get("/manifest.webmanifest?panel=heron-wall")).json()
    assert panel["start_url"] == panel["id"] == "/panel/heron-wall"
    assert "Harbour Hall" in panel["name"]
    assert (await site.get("/manifest.webmanifest?panel=attic")).json()["start_url"] == "/"


async def test_a_page_without_an_icon_gets_the_kit_s(site: httpx.AsyncClient) -> None:
    """Browsers ask for it by themselves, and a missing one is an error in their log."""
    answer = await site.get("/favicon.ico")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/png")
