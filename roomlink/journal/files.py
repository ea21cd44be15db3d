"""The files around a journal: whose it is, who holds it, and replacing one without losing it."""

from __future__ import annotations

import fcntl
import os
import shutil
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from roomlink.errors import JournalDamaged, JournalHeld

APPLICATION_ID = 0x726D6C6B
SCHEMA = 2
"""2: an entry may stand for several. A file of an older schema is raised when it is opened."""

# Offsets in the header of an SQLite file, from its published format; both are big-endian, 4 bytes.
_MAGIC = b"SQLite format 3\x00"
_USER_VERSION = slice(60, 64)
_APPLICATION_ID = slice(68, 72)
_HEADER_BYTES = 100


def refuse_foreign(path: Path) -> None:
    """Raise JournalDamaged if ``path`` holds anything but a journal that this version can read; only looks.

    The header is read without SQLite, which would take a file that it does not know for its own.
    """
    if not path.exists():
        return
    if not path.is_file():
        raise JournalDamaged(f"{path} is not a file; name a file for the journal")
    with path.open("rb") as file:
        header = file.read(_HEADER_BYTES)
    if not header:
        return
    if not header.startswith(_MAGIC) or int.from_bytes(header[_APPLICATION_ID], "big") != APPLICATION_ID:
        raise JournalDamaged(
            f"{path} is not a journal of roomlink and was left alone; move it away, name another file, "
            "or restore the journal from a backup"
        )
    schema = int.from_bytes(header[_USER_VERSION], "big")
    if schema > SCHEMA:
        raise JournalDamaged(
            f"{path} was written by a newer roomlink (schema {schema}, this one knows {SCHEMA}) and was left alone; "
            "use the newer version"
        )


class Lock:
    """Keeps ``path`` for this opener alone, through a file beside it; the system lets go when the process ends."""

    def __init__(self, path: Path) -> None:
        """Raises JournalHeld if somebody else has it."""
        name = beside(path, ".lock")
        self._fd = os.open(name, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.read(self._fd, 32).decode("ascii", "replace").strip()
            os.close(self._fd)
            raise JournalHeld(
                f"another service{f' (process {holder})' if holder else ''} holds the journal {path}; "
                "stop it, or give this one a data folder of its own"
            ) from error
        os.ftruncate(self._fd, 0)
        os.write(self._fd, f"{os.getpid()}\n".encode("ascii"))

    def release(self) -> None:
        """Let go. The file stays: taking it away would let two openers lock two files of one name."""
        os.close(self._fd)


def beside(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)


def free_name(path: Path, why: str = "damaged") -> Path:
    """A name beside ``path`` that nothing has, to keep under it what a new one replaces."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    names = (beside(path, f".{why}-{stamp}{extra}") for extra in ("", *(f"-{n}" for n in range(2, 1000))))
    return next(name for name in names if not name.exists() and not beside(name, "-wal").exists())


def discard(path: Path) -> None:
    """Remove an unfinished database file and what SQLite put beside it."""
    for suffix in ("", "-wal", "-shm", "-journal"):
        beside(path, suffix).unlink(missing_ok=True)


def replace(path: Path, new: Path, kept: Path) -> None:
    """Put ``new`` in the place of ``path``, whose files stay as ``kept``; ``path`` is never missing in between."""
    if path.exists():
        _also(path, kept)
    log = beside(path, "-wal")
    if log.exists() and log.stat().st_size:
        _also(log, beside(kept, "-wal"))
    # SQLite would apply a log that it finds beside the new file, whosever it was.
    for suffix in ("-wal", "-shm"):
        beside(path, suffix).unlink(missing_ok=True)
    os.replace(new, path)
    sync_folder(path.parent)


def keep_copy(path: Path, kept: Path) -> None:
    """Copy the journal ``path`` and its log as they are, before SQLite puts the log away."""
    for suffix in ("", "-wal"):
        if beside(path, suffix).exists():
            shutil.copy2(beside(path, suffix), beside(kept, suffix))
    sync_folder(path.parent)


def _also(path: Path, name: Path) -> None:
    try:
        os.link(path, name)
    except OSError:  # some file systems have no second names
        shutil.copy2(path, name)


def sync_folder(folder: Path) -> None:
    """Make new names in ``folder`` survive a power cut, where the system can."""
    fd = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # not every file system can
            os.fsync(fd)
    finally:
        os.close(fd)
