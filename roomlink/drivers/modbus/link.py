"""The connection to a Modbus TCP device: polls, writes, keeps its watchdog content."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from roomlink.drivers.modbus.plan import BITS, WRITE_MAX, Place, Span, reads, runs, to_count, to_value
from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value, WireFault

_log = logging.getLogger(__name__)
# The library logs each failed attempt; the runner tells an outage once.
logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)

EXCEPTIONS = {
    1: "does not know this function",
    2: "has no such address",
    3: "does not allow this value",
    4: "failed while doing it",
    5: "needs longer for it",
    6: "is busy",
    8: "has a memory fault",
    10: "sits behind a gateway without a path to it",
    11: "does not answer its gateway",
}
AWAY = {5, 6, 10, 11}
"""Exceptions that may be over in a moment: the connection is begun again, and everything driven again."""


class Refusal(Exception):
    """The device answered a request with an exception code."""

    def __init__(self, code: int) -> None:
        super().__init__(f"the device {EXCEPTIONS.get(code, 'refuses')} (exception {code:02X})")
        self.code = code


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the device is, and how often it is asked."""

    host: str
    port: int
    unit: int
    timeout_s: float
    poll_s: float
    heartbeat_register: int | None
    heartbeat_s: float


@dataclass(slots=True)
class _Job:
    due: float
    every_s: float
    run: Callable[[], Awaitable[None]]


def _echoed(answer: ModbusPDU, address: int) -> None:
    """A write is confirmed by a response that names the same address."""
    if answer.address != address:
        raise WireFault(f"wrote at {address}, and the device confirms {answer.address}")


class ModbusDevice:
    """``port.Device``. A write is confirmed by its response; what is polled is reported when it changes."""

    rate_hz = 20.0
    detects_loss = True

    def __init__(self, settings: Settings, places: Mapping[str, Place]) -> None:
        self._settings, self._places = settings, dict(places)
        self._names = {(place.kind, place.address): name for name, place in places.items()}
        self._client: AsyncModbusTcpClient | None = None
        self._lost = asyncio.Event()
        self._hear: Hear = lambda _point, _value: None
        self._beats = 0
        self._begin()

    def _begin(self) -> None:
        """Forget what was only known of the connection before."""
        self._lost.clear()
        self._spans = reads(self._places.values())
        self._seen: dict[str, int] = {}
        self._sent: dict[str, tuple[int, Value]] = {}
        self._singly: set[str] = set()

    async def connect(self, hear: Hear) -> None:
        """Reads everything once: a device that takes connections but does not answer is not up."""
        s = self._settings
        self._hear = hear
        self._begin()
        self._client = AsyncModbusTcpClient(
            s.host, port=s.port, timeout=s.timeout_s, retries=0, reconnect_delay=0, trace_connect=self._traced
        )
        if not await self._client.connect():
            raise DeviceFault(f"{s.host} port {s.port} does not take a connection")
        await self._poll()

    def _traced(self, connected: bool) -> None:
        if not connected:
            self._lost.set()

    async def serve(self) -> None:
        """Poll and beat, each in its own time, until the connection is lost."""
        s = self._settings
        now = asyncio.get_running_loop().time
        jobs = [_Job(now() + s.poll_s, s.poll_s, self._poll)]
        if s.heartbeat_register is not None:
            jobs.append(_Job(now(), s.heartbeat_s, self._beat))
        while True:
            job = min(jobs, key=lambda job: job.due)
            await self._pause(job.due - now())
            await job.run()
            # A slow device is asked less often, not in bursts.
            job.due = max(job.due + job.every_s, now())

    async def _pause(self, seconds: float) -> None:
        """Sleep, but wake at once when the connection goes."""
        try:
            await asyncio.wait_for(self._lost.wait(), max(seconds, 0.0))
        except TimeoutError:
            return
        raise DeviceFault("the device closed the connection")

    async def _poll(self) -> None:
        for span in list(self._spans):
            try:
                counts = await self._read(span)
            except Refusal as refusal:
                self._narrow(span, refusal)
                continue
            for offset, count in enumerate(counts):
                name = self._names.get((span.kind, span.start + offset))
                if name is not None and self._seen.get(name) != count:
                    self._seen[name] = count
                    sent, value = self._sent.get(name, (None, None))
                    # A register that reads what was written holds the value that was sent, not its rounding.
                    self._hear(name, value if sent == count else to_value(self._places[name], count))

    def _narrow(self, span: Span, refusal: Refusal) -> None:
        """A span was refused: read its points singly from now on; give up one that is refused alone."""
        self._spans.remove(span)
        if span.count == 1:
            name = self._names[span.kind, span.start]
            _log.warning("%s port %d: %s is not read: %s", self._settings.host, self._settings.port, name, refusal)
            return
        for place in self._places.values():
            if place.kind == span.kind and span.start <= place.address < span.start + span.count:
                self._spans.append(Span(span.kind, place.address, 1))

    async def _read(self, span: Span) -> list[int]:
        function = {
            "coil": "read_coils",
            "discrete_input": "read_discrete_inputs",
            "register": "read_holding_registers",
            "input_register": "read_input_registers",
        }[span.kind]
        answer = await self._ask(function, span.start, count=span.count)
        # Bits come in whole bytes, the last one filled up.
        counts, size = (answer.bits, -(-span.count // 8) * 8) if span.kind in BITS else (answer.registers, span.count)
        if len(counts) != size:
            raise WireFault(f"asked for {span.count} values, got {len(counts)}")
        return [int(count) for count in counts[: span.count]]

    async def _beat(self) -> None:
        register = self._settings.heartbeat_register
        self._beats = (self._beats + 1) % 0x10000
        try:
            await self._ask("write_register", register, self._beats)
        except Refusal as refusal:
            # Without it the device drops its outputs: that is no detail of one point.
            raise DeviceFault(f"heartbeat in register {register}: {refusal}") from refusal

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        """Neighbours go in one request; all are confirmed by the responses."""
        counts: dict[str, dict[int, int]] = {"coil": {}, "register": {}}
        for name, value in values.items():
            place = self._places[name]
            try:
                counts[place.kind][place.address] = to_count(place, value)
            except ValueError as error:
                raise PointFault(name, str(error)) from None
        for kind, wanted in counts.items():
            for start, run in runs(wanted, WRITE_MAX[kind]):
                await self._write(kind, start, run)
        for name, value in values.items():
            place = self._places[name]
            self._sent[name] = (counts[place.kind][place.address], value)
            # The next poll reports this point whatever it reads: a device may take a value and not keep it.
            self._seen.pop(name, None)
        return set(values)

    async def _write(self, kind: str, start: int, run: list[int]) -> None:
        one, many = ("write_coil", "write_coils") if kind == "coil" else ("write_register", "write_registers")
        typed: list[Any] = [bool(count) for count in run] if kind == "coil" else list(run)
        if len(run) > 1 and kind not in self._singly:
            try:
                _echoed(await self._ask(many, start, typed), start)
                return
            except Refusal as refusal:
                # The response does not say which one: the single writes will.
                if refusal.code == 1:
                    self._singly.add(kind)
        for offset, count in enumerate(typed):
            try:
                _echoed(await self._ask(one, start + offset, count), start + offset)
            except Refusal as refusal:
                raise PointFault(self._names[kind, start + offset], str(refusal)) from refusal

    async def _ask(self, function: str, *args: Any, **named: Any) -> ModbusPDU:
        """One request and its response; raises Refusal or DeviceFault."""
        if self._client is None:
            raise DeviceFault("not connected")
        try:
            answer: ModbusPDU = await getattr(self._client, function)(*args, device_id=self._settings.unit, **named)
        except ModbusException as error:
            raise DeviceFault(f"no answer in {self._settings.timeout_s:g} s, or the connection is lost") from error
        if answer.isError():
            code = int(answer.exception_code)
            if code in AWAY:
                raise DeviceFault(str(Refusal(code)))
            raise Refusal(code)
        return answer

    async def close(self) -> None:
        """The heartbeat ends here: a device with a watchdog goes to its own fail state."""
        client, self._client = self._client, None
        if client is not None:
            client.close()
