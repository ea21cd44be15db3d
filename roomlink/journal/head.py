"""How far a journal was acknowledged, put down beside it: so that a lost end of the write-ahead log is noticed.

SQLite takes the first broken frame of its log for the end of it, and forgets what lies behind without a word. The note
is written after each commit and never waits for the disk: after a power cut it may say less than there is, never more.
"""

from __future__ import annotations

import os
import struct
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path

from roomlink.journal.files import beside

_NOTE = struct.Struct(">32sq")
_SUM_BYTES = 8


class Head:
    """The note in the file ``.head`` beside ``path``. A note that is damaged, or of another journal, says nothing."""

    def __init__(self, path: Path) -> None:
        self._fd = os.open(beside(path, ".head"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)

    def last_seq(self, identity: str) -> int:
        """The newest entry of the journal ``identity`` that was acknowledged, as far as is known; 0: nothing is."""
        data = os.pread(self._fd, _NOTE.size + _SUM_BYTES, 0)
        note = data[: _NOTE.size]
        if len(note) < _NOTE.size or data[_NOTE.size :] != _sum(note):
            return 0
        name, seq = _NOTE.unpack(note)
        return int(seq) if name == identity.encode()[:32] else 0

    def write(self, identity: str, seq: int) -> None:
        note = _NOTE.pack(identity.encode(), seq)
        # It is only there to notice more: the entry itself is durable.
        with suppress(OSError):
            os.pwrite(self._fd, note + _sum(note), 0)

    def close(self) -> None:
        os.close(self._fd)


def _sum(note: bytes) -> bytes:
    return blake2b(note, digest_size=_SUM_BYTES).digest()
