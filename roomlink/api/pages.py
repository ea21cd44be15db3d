"""Pages for people: the panel kit's files, the composed panels, the plan, the technician's page, the API described.

A venue may bring pages of its own in the folder ``panels`` beside its configuration: they are served at
``/panels/...``, and ``panels/{controller}.html`` takes the place of the composed panel of that controller.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from roomlink.api import identity, openapi, problems, signing
from roomlink.api.day import get_day
from roomlink.api.encoding import Json
from roomlink.api.guarding import Handler, guarded
from roomlink.api.identity import Rule
from roomlink.api.rest import writer
from roomlink.core import alarm_view

_HERE = Path(__file__).resolve().parent.parent
_PLACES = (_HERE / "web", _HERE.parent / "clients" / "web")


def folder() -> Path:
    """Where the kit lies: in the installed package, or beside it in a checkout."""
    return next(place for place in _PLACES if place.is_dir())


def own_page(request: Request, path: str) -> Path | None:
    """A file of the venue's own ``panels`` folder; None where there is none, or where ``path`` leads out of it."""
    venue: Path | None = getattr(request.app.state, "folder", None)
    if venue is None or "\0" in path:
        return None
    panels = (venue / "panels").resolve()
    found = (panels / path).resolve()
    return found if found.is_relative_to(panels) and found.is_file() else None


def _page(name: str) -> Handler:
    async def show(request: Request) -> Response:
        return FileResponse(folder() / f"{name}.html")

    return show


async def panel(request: Request) -> Response:
    """The venue's own page for this controller, or else the composed one."""
    controller = request.path_params["controller"]
    controllers = writer(request).state.spec.controllers
    if controller not in controllers:
        known = ", ".join(controllers)
        return PlainTextResponse(f"There is no controller of that name here; there is {known}.\n", 404)
    answer = FileResponse(own_page(request, f"{controller}.html") or folder() / "panel.html")
    signing.renew(request, answer)
    return answer


async def own(request: Request) -> Response:
    found = own_page(request, request.path_params["path"])
    if found is None:
        raise HTTPException(404)
    return FileResponse(found)


PAGES = ("/", "/plan", "/crew", "/technician", "/commissioning", "/docs")
"""What a panel keeps beside the kit's files, so that it starts without the service. ``/day`` is not among them: like
what the API tells it is of the day that it was asked on."""
KEPT = (".html", ".js", ".css", ".svg", ".png", ".webmanifest")
_NOT_KEPT = ("node_modules", "test", "images", "icons/make.js", "sw.js", "package.json", "tsconfig.json")


@cache
def kit() -> tuple[str, tuple[str, ...]]:
    """The digest of the kit's files, and their paths under ``/web/``. They do not change while the service runs."""
    digest = hashlib.sha256()
    paths = []
    for file in sorted(folder().rglob("*")):
        path = file.relative_to(folder()).as_posix()
        if file.suffix not in KEPT or path.startswith(_NOT_KEPT) or not file.is_file():
            continue
        paths.append(path)
        digest.update(path.encode() + b"\0" + file.read_bytes() + b"\0")
    digest.update((folder() / "sw.js").read_bytes())
    return digest.hexdigest()[:16], tuple(paths)


async def service_worker(request: Request) -> Response:
    """``/sw.js``: at the root, so that its scope is the whole site; another kit makes it another script."""
    digest, paths = kit()
    files = json.dumps([*PAGES, *(f"/web/{path}" for path in paths)])
    script = f'const DIGEST = "{digest}";\nconst FILES = {files};\n' + (folder() / "sw.js").read_text("utf-8")
    return Response(script, media_type="text/javascript")


async def manifest(request: Request) -> Response:
    """What makes a page installable; with ``?panel=`` an application that opens with that panel."""
    spec = writer(request).state.spec
    data = json.loads((folder() / "manifest.webmanifest").read_text("utf-8"))
    venue = spec.data["venue"]["name"]
    data["name"] = data["short_name"] = venue
    controller = request.query_params.get("panel", "")
    if controller in spec.controllers:
        name = spec.data["controllers"][controller]["name"] or controller
        start = f"/panel/{controller}"
        data.update(id=start, start_url=start, short_name=name, name=f"{name}, {venue}")
    return Response(json.dumps(data, ensure_ascii=False), media_type="application/manifest+json")


async def icon(request: Request) -> Response:
    """What browsers ask for by themselves where a page names no icon."""
    return FileResponse(folder() / "icons" / "icon-192.png")


async def description(request: Request) -> Response:
    return Json(openapi.document())


async def problem_kind(request: Request) -> Response:
    kind = request.path_params["kind"]
    if kind not in problems.KINDS:
        raise HTTPException(404)
    return PlainTextResponse(f"{kind}\n\n{problems.KINDS[kind]}\n")


async def healthz(request: Request) -> Response:
    return PlainTextResponse("alive\n")


async def readyz(request: Request) -> Response:
    """Ready while commands are taken and made durable, whatever devices do; why not is told to those who are known."""
    why = writer(request).unready
    if why is None:
        return PlainTextResponse("ready\n")
    known = identity.caller(request).kind != identity.NOBODY
    return PlainTextResponse(f"not ready: {why}\n" if known else "not ready\n", 503)


async def metrics(request: Request) -> Response:
    venue = writer(request)
    raised = alarm_view.raised(venue.state, venue.clock.stamp())
    venue.metrics.alarms(alarm_view.counts(venue.state), raised["times"])
    return Response(venue.metrics.text(), media_type="text/plain; version=0.0.4")


VIEW, EVERYBODY, A_PANEL_TOO = Rule("view"), Rule(None), Rule("view", panel=True)

TABLE: tuple[tuple[str, Handler, Rule], ...] = (
    ("/", _page("index"), VIEW),
    ("/panel/{controller}", panel, Rule("operate", panel=True)),
    ("/panels/{path:path}", own, A_PANEL_TOO),
    ("/plan", _page("plan"), VIEW),
    ("/crew", _page("crew"), VIEW),
    ("/day", get_day, VIEW),
    ("/technician", _page("technician"), VIEW),
    ("/venues", _page("venues"), VIEW),
    ("/commissioning", _page("commissioning"), VIEW),
    ("/docs", _page("docs"), VIEW),
    ("/sign-in", _page("sign-in"), EVERYBODY),
    ("/pair", _page("pair"), EVERYBODY),
    ("/favicon.ico", icon, EVERYBODY),
    ("/sw.js", service_worker, EVERYBODY),
    ("/manifest.webmanifest", manifest, A_PANEL_TOO),
    ("/openapi.json", description, VIEW),
    ("/problems/{kind}", problem_kind, EVERYBODY),
    ("/healthz", healthz, EVERYBODY),
    ("/readyz", readyz, EVERYBODY),
    ("/metrics", metrics, VIEW),
)
"""Every page and what machines ask for, and who may have it. The kit's own files tell nothing of the venue."""


def routes() -> list[BaseRoute]:
    pages = [Route(path, guarded(handler, rule, page=True), methods=["GET"]) for path, handler, rule in TABLE]
    return [*pages, Mount("/web", StaticFiles(directory=folder()))]
