"""Pages for people: the panel kit's files, the composed panels, the plan, the description of the API."""

from __future__ import annotations

from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from roomlink.api import openapi, problems
from roomlink.api.encoding import Json
from roomlink.api.rest import writer

_HERE = Path(__file__).resolve().parent.parent
_PLACES = (_HERE / "web", _HERE.parent / "clients" / "web")


def folder() -> Path:
    """Where the kit lies: in the installed package, or beside it in a checkout."""
    return next(place for place in _PLACES if place.is_dir())


def _page(name: str, *, controller: bool = False) -> Route:
    path = "/panel/{controller}" if controller else "/" if name == "index" else f"/{name}"

    async def show(request: Request) -> Response:
        if controller and request.path_params["controller"] not in writer(request).state.spec.controllers:
            known = ", ".join(writer(request).state.spec.controllers)
            return PlainTextResponse(f"There is no controller of that name here; there is {known}.\n", 404)
        return FileResponse(folder() / f"{name}.html")

    return Route(path, show, methods=["GET"])


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
    """Ready while commands can be made durable."""
    failure = writer(request).failure
    return PlainTextResponse("ready\n") if failure is None else PlainTextResponse(f"not ready: {failure}\n", 503)


async def metrics(request: Request) -> Response:
    return Response(writer(request).metrics.text(), media_type="text/plain; version=0.0.4")


def routes() -> list[BaseRoute]:
    return [
        _page("index"),
        _page("panel", controller=True),
        _page("plan"),
        _page("docs"),
        Route("/openapi.json", description, methods=["GET"]),
        Route("/problems/{kind}", problem_kind, methods=["GET"]),
        Route("/healthz", healthz, methods=["GET"]),
        Route("/readyz", readyz, methods=["GET"]),
        Route("/metrics", metrics, methods=["GET"]),
        Mount("/web", StaticFiles(directory=folder())),
    ]
