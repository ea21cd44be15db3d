"""A device that is called over HTTP: one request a value, and its reports read at intervals."""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

import httpx

from roomlink.drivers.http import wire
from roomlink.drivers.http.config import HttpConfig, HttpPoint
from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value, WireFault
from roomlink.drivers.secret import read_secret

TRIES = 3
"""How often a request is made that the device puts off."""
REJECTED = (401, 407)
LATER = (408, 429)


@dataclass(frozen=True, slots=True)
class _Answer:
    status: int
    data: bytes
    again_s: float


class HttpDevice:
    """``Device`` over HTTP/1.1. Redirects are not followed: a device's address is what the venue says it is."""

    detects_loss = True

    def __init__(self, config: HttpConfig, points: Mapping[str, HttpPoint]) -> None:
        self.rate_hz = config.rate
        self._config = config
        self._points = dict(points)
        self._reports = _grouped(points, config.poll)
        self._hear: Hear = lambda _point, _value: None
        self._marks = dict.fromkeys(points, 0)
        """By point, counted when a request to set it begins and when it ends: odd while one is on its way."""
        self._client: httpx.AsyncClient | None = None

    async def connect(self, hear: Hear) -> None:
        self._hear = hear
        await self._look()
        self._client = httpx.AsyncClient(
            headers=self._headers(),
            timeout=self._config.timeout,
            verify=self._trust(),
            follow_redirects=False,
            # The service's environment (proxies, netrc) is not the venue's configuration.
            trust_env=False,
            limits=httpx.Limits(max_connections=4, max_keepalive_connections=2, keepalive_expiry=4.0),
        )

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        for point, value in values.items():
            self._marks[point] += 1
            try:
                await self._send(point, value)
            finally:
                self._marks[point] += 1
        return set(values)

    async def serve(self) -> None:
        loops = [self._read(path, every, found) for (path, every), found in self._reports.items()] or [self._watch()]
        tasks = [asyncio.create_task(loop) for loop in loops]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def close(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            # A connection that breaks while it is closed is closed.
            with contextlib.suppress(httpx.HTTPError, OSError):
                await client.aclose()

    async def _send(self, name: str, value: Value) -> None:
        point = self._points[name]
        if point.path is None:
            raise PointFault(name, "it is only read; nothing can be sent to it")
        try:
            path = wire.path(point.path, value)
            content = None if point.body is None else wire.body(point.body, value)
        except WireFault as fault:
            raise PointFault(name, str(fault)) from fault
        for _ in range(TRIES):
            answer = await self._call(point.method, path, content)
            if answer.status not in LATER:
                break
            await asyncio.sleep(answer.again_s)
        status = answer.status
        if 200 <= status < 300:
            return
        if 300 <= status < 500 and status not in (*LATER, *REJECTED):
            raise PointFault(name, f"the device answers {wire.said(status)}")
        raise DeviceFault(f"the device answers {wire.said(status)}")

    async def _read(self, path: str, every: float, found: list[tuple[str, tuple[str, ...]]]) -> None:
        """Read one report again and again. A report that is not there ends the connection: an input must not be lost
        in silence."""
        while True:
            marks = dict(self._marks)
            answer = await self._call("GET", path, None)
            if 200 <= answer.status < 300:
                for point, way in found:
                    value = self._value(answer.data, way, path)
                    # What was read beside a request to set it may be older than that request.
                    if marks[point] == self._marks[point] and marks[point] % 2 == 0:
                        self._hear(point, value)
            elif answer.status not in LATER:
                raise DeviceFault(f"the device answers {wire.said(answer.status)} to the report {path}")
            await asyncio.sleep(every)

    @staticmethod
    def _value(data: bytes, way: tuple[str, ...], path: str) -> Value:
        try:
            return wire.member(data, way)
        except WireFault as fault:
            raise WireFault(f"the report {path}: {fault}") from fault

    async def _watch(self) -> None:
        """Where nothing is read, at least see whether the device is there."""
        while True:
            await asyncio.sleep(self._config.poll)
            await self._look()

    async def _look(self) -> None:
        """Raises DeviceFault where nobody listens at the device's address."""
        parts = urlsplit(self._config.base)
        port = parts.port or {"http": 80, "https": 443}[parts.scheme]
        try:
            async with asyncio.timeout(self._config.timeout):
                _, writer = await asyncio.open_connection(parts.hostname, port)
        except (OSError, TimeoutError) as error:
            raise DeviceFault(f"{parts.hostname}:{port} cannot be reached ({type(error).__name__})") from error
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()

    async def _call(self, method: str, path: str, content: bytes | None) -> _Answer:
        """One request and its whole answer; raises DeviceFault where there is none."""
        if self._client is None:
            raise DeviceFault("not connected")
        headers = {"Content-Type": "application/json"} if content is not None else {}
        try:
            # httpx counts its time-out anew for each piece; a device that drips must not hold us.
            async with (
                asyncio.timeout(self._config.timeout),
                self._client.stream(method, self._config.base + path, content=content, headers=headers) as response,
            ):
                data = await _bounded(response)
        except TimeoutError:
            raise DeviceFault(f"no answer within {self._config.timeout:g} s") from None
        except (httpx.HTTPError, httpx.InvalidURL, httpx.StreamError) as error:
            raise DeviceFault(f"the call failed ({type(error).__name__}: {error})") from error
        return _Answer(response.status_code, data, wire.again_after(response.headers.get("Retry-After")))

    def _headers(self) -> dict[str, str]:
        headers = {"Accept-Encoding": "identity", "Accept": "application/json", **self._config.headers}
        for name, file in self._config.secret_headers.items():
            headers[name] = read_secret(file)
            if not headers[name].isascii() or not headers[name].isprintable():
                raise DeviceFault(f"the first line of {file} holds characters that a header cannot")
        return headers

    def _trust(self) -> ssl.SSLContext | bool:
        if self._config.ca_file is None:
            return True
        try:
            return ssl.create_default_context(cafile=self._config.ca_file)
        except (OSError, ssl.SSLError) as error:
            raise DeviceFault(f"the certificates {self._config.ca_file} cannot be used: {error}") from error


async def _bounded(response: httpx.Response) -> bytes:
    """The answer's content as it came: unpacking it could make it any size."""
    data = bytearray()
    async for chunk in response.aiter_raw():
        data += chunk
        if len(data) > wire.ANSWER_BYTES_MAX:
            raise WireFault(f"the answer has more than {wire.ANSWER_BYTES_MAX} bytes")
    return bytes(data)


def _grouped(
    points: Mapping[str, HttpPoint], poll: float
) -> dict[tuple[str, float], list[tuple[str, tuple[str, ...]]]]:
    """(path, interval) to the points that it reports: one request reads them all."""
    groups: dict[tuple[str, float], list[tuple[str, tuple[str, ...]]]] = {}
    for name, point in points.items():
        if point.report is not None:
            groups.setdefault((point.report.path, point.report.every or poll), []).append((name, point.report.way))
    return groups
