"""Two peers that are not our code: pymodbus's own server, and a socket that answers bytes with bytes."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from roomlink.drivers.port import Value

READ_COILS, READ_INPUTS, WRITES = 1, 2, {5: "coil", 6: "register", 15: "coil", 16: "register"}


class RelayBox:
    """pymodbus's server with 64 coils and inputs and 64 registers of both kinds."""

    def __init__(self, port: int, points: list[dict[str, Any]] | None = None) -> None:
        self.port, self.points = port, points or []
        self.requests: list[tuple[int, int, int]] = []
        """Function code, address and count of each request since the start."""
        self.writes: list[tuple[str, int, int]] = []
        self.refuse: dict[int, ExcCodes] = {}
        """Function code to the exception that it gets."""
        self._server: ModbusTcpServer | None = None

    async def _act(
        self, function: int, _start: int, address: int, count: int, _registers: list[int], values: Any
    ) -> ExcCodes | None:
        self.requests.append((function, address, count))
        if function in self.refuse:
            return self.refuse[function]
        if function in WRITES and values is not None:  # after a write it reads back with the same code
            self.writes += [(WRITES[function], address + i, int(value)) for i, value in enumerate(values)]
        return None

    async def start(self) -> None:
        self.requests.clear()
        self.writes.clear()
        bits = [[SimData(0, count=64, values=False, datatype=DataType.BITS)] for _ in range(2)]
        words = [[SimData(0, count=64, values=0, datatype=DataType.REGISTERS)] for _ in range(2)]
        device = SimDevice(1, simdata=(bits[0], bits[1], words[0], words[1]), action=self._act)
        self._server = ModbusTcpServer(device, address=("127.0.0.1", self.port))
        await self._server.serve_forever(background=True)

    async def stop(self) -> None:
        server, self._server = self._server, None
        if server is not None:
            await server.shutdown()
            await asyncio.sleep(0)

    async def set(self, function: int, address: int, value: int | bool) -> None:
        """What happens at the device's own side: a contact closes, somebody turns the relay by hand."""
        assert self._server is not None
        await self._server.async_setValues(1, function, address, [value])  # type: ignore[list-item]  # one of both

    async def coil(self, address: int) -> bool:
        assert self._server is not None
        return bool((await self._server.async_getValues(1, READ_COILS, address, 1))[0])

    def seen(self, point: int) -> list[Value]:
        kind, address = next(iter(self.points[point].items()))
        found = [value for k, a, value in self.writes if (k, a) == (kind, address)]
        return [bool(value) if kind == "coil" else value for value in found]

    async def junk(self) -> None:
        """Bytes that are no Modbus frame, in the middle of the conversation."""
        assert self._server is not None
        for connection in self._server.active_connections.values():
            connection.send(b"\xff\xff\xff\xff\xff\xff\xff\xff\xff")


class BytePeer:
    """Answers each request's PDU with the bytes that are written down for it; keeps what it was asked."""

    def __init__(self, answers: dict[bytes, bytes]) -> None:
        self.answers = answers
        self.asked: list[bytes] = []
        self.silent = False
        self.port = 0
        self._server: asyncio.Server | None = None
        self._talks: dict[asyncio.Task[None] | None, asyncio.StreamWriter] = {}

    async def __aenter__(self) -> BytePeer:
        self._server = await asyncio.start_server(self._talk, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._server is not None
        self._server.close()
        for writer in self._talks.values():
            writer.close()
        await asyncio.gather(*filter(None, self._talks))

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._talks[asyncio.current_task()] = writer
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                header = await reader.readexactly(7)
                pdu = await reader.readexactly(int.from_bytes(header[4:6], "big") - 1)
                self.asked.append(pdu)
                if self.silent:
                    continue
                answer = self.answers.get(pdu, bytes([pdu[0] | 0x80, 2]))
                writer.write(header[:4] + (len(answer) + 1).to_bytes(2, "big") + header[6:7] + answer)
                await writer.drain()
        writer.close()
