"""Decodes datagrams with ``tshark``, whose dissectors nobody here wrote."""

from __future__ import annotations

import shutil
import struct
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

needs_tshark = pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed")


def pcap(datagrams: Sequence[tuple[float, bytes]], port: int) -> bytes:
    """A capture file of UDP datagrams, each with its time, to ``port``: Ethernet, IPv4, UDP."""
    parts = [struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 1)]
    for at, data in datagrams:
        udp = struct.pack("!HHHH", 40_000, port, 8 + len(data), 0) + data
        ip = struct.pack("!BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0, b"\x7f\0\0\1", b"\x7f\0\0\1")
        frame = bytes(12) + b"\x08\0" + ip + udp
        parts.append(struct.pack("<IIII", int(at), int(at % 1 * 1e6), len(frame), len(frame)) + frame)
    return b"".join(parts)


def dissect(
    folder: Path, datagrams: Sequence[tuple[float, bytes]], port: int, heuristic: str, fields: Sequence[str]
) -> list[dict[str, str]]:
    """For each datagram the named fields as ``tshark`` prints them; several values of one field joined by a comma."""
    path = folder / "capture.pcap"
    path.write_bytes(pcap(datagrams, port))
    wanted = [part for field in fields for part in ("-e", field)]
    # "-n": no names are looked up.
    options = ["-o", "acn.dmx_enable:TRUE", "--enable-heuristic", heuristic, "-T", "fields"]
    done = subprocess.run(
        ["tshark", "-n", "-r", str(path), *options, *wanted], capture_output=True, text=True, check=True, timeout=20
    )
    rows = [line.split("\t") for line in done.stdout.splitlines()]
    return [dict(zip(fields, row, strict=True)) for row in rows]
