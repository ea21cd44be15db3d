"""Lines and bytes: lines from packets that may hold a part of one or several, and back. Pure."""

from __future__ import annotations

import re

from roomlink.drivers.port import WireFault

LINE_BYTES_MAX = 4096


def encode(line: str, encoding: str, ending: str) -> bytes:
    """The bytes of a line; raises WireFault for what the encoding lacks, or where the line would end within."""
    if any(mark in line for mark in {*"\r\n", *filter(None, [ending])}):
        raise WireFault("the line's ending stands within the line")
    try:
        data = (line + ending).encode(encoding)
    except UnicodeEncodeError as error:
        raise WireFault(f"{line[error.start]!r} cannot be written in {encoding}") from None
    if len(data) > LINE_BYTES_MAX:
        raise WireFault(f"the line is longer than {LINE_BYTES_MAX} bytes")
    return data


class LineDecoder:
    """Cuts what arrives into lines. Where the ending is of CR and LF, a line ends at either, so both may come alone.

    What cannot be a line (too long, or not of the encoding) is left out and counted in ``junk``; nothing is raised.
    """

    def __init__(self, ending: str, encoding: str) -> None:
        self.junk = 0
        self._encoding = encoding
        loose = not ending.strip("\r\n")
        self._break = re.compile(b"[\r\n]" if loose else re.escape(ending.encode(encoding)))
        self._overlap = 0 if loose else len(ending.encode(encoding)) - 1
        self._rest = bytearray()
        self._skips = False
        """Whether the present line is too long already, and is thrown away up to its end."""

    def feed(self, data: bytes) -> list[str]:
        """The lines that ``data`` completes, without their endings; empty lines are none."""
        lines: list[str] = []
        start = 0
        search = max(0, len(self._rest) - self._overlap)
        self._rest += data
        for found in self._break.finditer(self._rest, search):
            self._end(bytes(self._rest[start : found.start()]), lines)
            start = found.end()
        del self._rest[:start]
        if len(self._rest) > LINE_BYTES_MAX:
            # The tail stays: the ending may have begun in it.
            del self._rest[: len(self._rest) - self._overlap]
            self._skips = True
        return lines

    def flush(self) -> list[str]:
        """What is there so far counts as a line: a datagram ends one, also without an ending."""
        lines: list[str] = []
        self._end(bytes(self._rest), lines)
        self._rest.clear()
        return lines

    def prompt(self) -> str:
        """The line that has begun; a device that asks for a password does not end it. Stays until ``flush``."""
        return "" if self._skips else self._rest.decode(self._encoding, errors="replace")

    def _end(self, line: bytes, lines: list[str]) -> None:
        skips, self._skips = self._skips, False
        if not line.strip() and not skips:
            return
        if skips or len(line) > LINE_BYTES_MAX:
            self.junk += 1
            return
        try:
            lines.append(line.decode(self._encoding))
        except UnicodeDecodeError:
            self.junk += 1
