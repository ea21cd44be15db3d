"""A device with an HTTP interface: a Starlette application in a real server on a free port."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from roomlink.drivers.port import Value
from tests.contracts.driver import until
from tests.drivers.ports import free_tcp

POINTS: list[dict[str, Any]] = [
    {
        "path": "/zones/heron/volume",
        "body": {"level": "{value}", "unit": "dB"},
        "report": {"path": "/zones", "member": "zones.0.volume"},
    },
    {"method": "GET", "path": "/cgi?mute={value}"},
]
VALUES: list[tuple[Value, Value]] = [(-20.5, -3.0), ("on & off", "off")]


class HttpPeer:
    """``Peer`` of the contract, with faults to switch on: ``status`` answers so to all that is set."""

    def __init__(self, **options: Any) -> None:
        self.port = free_tcp()
        self.calls: list[tuple[str, str, Any]] = []
        self.headers: list[dict[str, str]] = []
        self.reads = 0
        self.statuses: list[int] = []
        """What the next calls that set something are answered with, instead of 204."""
        self.again = ""
        self.report: Any = None
        """What ``/zones`` gives: JSON, or a response; what was set last if None."""
        self.delay_s = 0.0
        self._options = options
        self._server: uvicorn.Server | None = None
        self._task: asyncio.Task[None] | None = None

    @property
    def config(self) -> dict[str, Any]:
        return {"base": f"http://127.0.0.1:{self.port}", "poll": "500ms", "rate": 20}

    async def start(self) -> None:
        self.calls = []
        routes = [
            Route("/zones", self._zones),
            Route("/cgi", self._set, methods=["GET"]),
            Route("/zones/heron/{name}", self._set, methods=["PUT", "POST", "PATCH"]),
        ]
        config = uvicorn.Config(
            Starlette(routes=routes),
            host="127.0.0.1",
            port=self.port,
            log_level="error",
            lifespan="off",
            timeout_graceful_shutdown=1,
            **self._options,
        )
        self._server = uvicorn.Server(config)
        # The test runner keeps its own signal handlers.
        self._server.capture_signals = contextlib.nullcontext  # type: ignore[method-assign,assignment]
        self._task = asyncio.create_task(self._server.serve())
        assert await until(lambda: self._server is not None and self._server.started, 5)

    async def stop(self) -> None:
        server, self._server = self._server, None
        task, self._task = self._task, None
        if server is not None and task is not None:
            server.should_exit = server.force_exit = True
            await task

    def seen(self, point: int) -> list[Value]:
        if point == 0:
            return [body["level"] for method, path, body in self.calls if path == "/zones/heron/volume"]
        return [path.removeprefix("/cgi?mute=") for _, path, _ in self.calls if path.startswith("/cgi")]

    async def junk(self) -> None:
        """It speaks only when asked: the next report is nonsense."""
        self.report = Response(b"\xff{[", headers={"content-type": "application/json"})
        before = self.reads
        await until(lambda: self.reads > before, 2 if before else 0)
        self.report = None

    async def _set(self, request: Request) -> Response:
        body = await request.body()
        query = f"?mute={request.query_params['mute']}" if request.query_params else ""
        self.headers.append(dict(request.headers))
        self.calls.append((request.method, request.url.path + query, await request.json() if body else None))
        if self.delay_s:
            await asyncio.sleep(self.delay_s)
        status = self.statuses.pop(0) if self.statuses else 204
        return Response(status_code=status, headers={"retry-after": self.again} if self.again else {"location": "/x"})

    async def _zones(self, request: Request) -> Response:
        self.reads += 1
        if self.delay_s:
            await asyncio.sleep(self.delay_s)
        if isinstance(self.report, Response):
            return self.report
        if self.report is not None:
            return JSONResponse(self.report)
        levels = self.seen(0)
        return JSONResponse({"zones": [{"volume": levels[-1] if levels else -60.0}]})


def flood() -> StreamingResponse:
    """An answer without end."""

    async def chunks() -> Any:
        while True:
            yield b'"' + b"x" * 65_536
            await asyncio.sleep(0)

    return StreamingResponse(chunks())


def drip() -> StreamingResponse:
    """An answer that comes one byte at a time, each in time."""

    async def chunks() -> Any:
        while True:
            yield b" "
            await asyncio.sleep(0.02)

    return StreamingResponse(chunks())
