"""Backups: one file with the journal, the configuration folder, and a manifest that vouches for both.

The file is a zip archive that any system can look into. It is made while the service runs; of two made of the same
state each is the other, byte for byte. ``restore.py`` puts it back.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path
from typing import IO, Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import orjson

import roomlink
from roomlink.core.apply import apply
from roomlink.core.state import State
from roomlink.errors import BackupRefused
from roomlink.journal import files
from roomlink.journal.copying import Tell, consistent_copy, untold
from roomlink.journal.database import connect
from roomlink.journal.layout import ANY, ENTRIES_BETWEEN
from roomlink.journal.recovery import fold
from roomlink.journal.rows import START, first_of, follows
from roomlink.journal.sqlite import SqliteJournal

FORMAT = "roomlink-backup"
FORMAT_VERSION = 1
MANIFEST, JOURNAL, CONFIGURATION = "manifest.json", "journal.db", "configuration/"
SERVED = "served.json"
"""In the data folder: which configuration folder it was served with."""
DOWNLOADS = ".download-"
"""Begins the names of the folders, in the data folder, where backups to be downloaded are made."""
CHUNK_BYTES = 1 << 20
_ZIP_BEGINS = (1980, 1, 1, 0, 0, 0)
"""The same time for every part, so that it is the content alone that makes two backups differ."""


@dataclass(frozen=True, slots=True)
class Part:
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds. ``seq`` and ``at`` are of the newest entry, ``configuration`` is the digest in force then.

    ``broken`` counts the places where the history in the journal was already damaged when it was backed up; ``notices``
    say what was found then.
    """

    format: str
    format_version: int
    version: str
    schema: int
    venue: str
    name: str
    seq: int
    at: float
    configuration: str
    broken: int
    notices: tuple[str, ...]
    parts: dict[str, Part]

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def make(data: Path, out: Path, folder: Path | None = None, tell: Tell = untold) -> Manifest:
    """Write the backup ``out`` of the data folder ``data``, with the configuration ``folder`` if one is given or known.

    Raises ``BackupRefused``, ``JournalDamaged`` or OSError with nothing written.
    """
    journal = data / JOURNAL
    if not journal.is_file():
        raise BackupRefused(f"there is no {JOURNAL} in {data}; name the folder that `roomlink serve` has as --data")
    if not (where := out.absolute().parent).is_dir():
        raise BackupRefused(f"there is no folder {where} to put the backup into; make it, or name another")
    if out.exists():
        raise BackupRefused(f"{out} exists already and was left alone; name another file")
    files.refuse_foreign(journal)
    folder = folder or served_folder(data)
    if folder is not None and not folder.is_dir():
        raise BackupRefused(f"there is no configuration folder {folder}; name it with --folder")
    with tempfile.TemporaryDirectory(prefix=".backup-", dir=out.absolute().parent) as scratch:
        copy, made = Path(scratch) / JOURNAL, Path(scratch) / "made"
        consistent_copy(journal, copy, tell)
        facts = _facts(copy)
        with os.fdopen(os.open(made, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "w+b") as file:
            with ZipFile(file, "w", ZIP_DEFLATED, compresslevel=1) as archive:
                parts = {name: _add(archive, name, path, tell) for name, path in _sources(copy, folder, data)}
                manifest = Manifest(FORMAT, FORMAT_VERSION, roomlink.__version__, parts=parts, **facts)
                archive.writestr(_info(MANIFEST), orjson.dumps(manifest.as_json(), option=orjson.OPT_INDENT_2))
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(made, out)  # unlike a renaming it never takes the place of a file that came meanwhile
        except OSError:  # some file systems have no second names
            made.rename(out)
    files.sync_folder(out.absolute().parent)
    return manifest


def remember_served(data: Path, folder: Path) -> None:
    """Put down in the data folder which configuration it is served with."""
    (data / SERVED).write_text(orjson.dumps({"folder": str(folder.absolute())}).decode(), encoding="utf-8")


def sweep(data: Path) -> None:
    """Remove what a service that was killed left of downloads; for who holds the journal there."""
    for left in data.glob(f"{DOWNLOADS}*"):
        shutil.rmtree(left, ignore_errors=True)


def served_folder(data: Path) -> Path | None:
    """The configuration folder that the data folder was last served with, if it is known and still there."""
    try:
        folder = Path(orjson.loads((data / SERVED).read_bytes())["folder"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return folder if folder.is_dir() else None


def _sources(copy: Path, folder: Path | None, data: Path) -> Iterator[tuple[str, Path]]:
    yield JOURNAL, copy
    if folder is None:
        return
    # One may lie in the other, or be the other, and each may be told from another place.
    folder, data = folder.resolve(), data.resolve()
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder)
        hidden = any(part.startswith(".") for part in name.parts)
        if data == folder:
            hidden = hidden or str(name) == SERVED or str(name).startswith(JOURNAL)
        elif data.is_relative_to(folder):
            hidden = hidden or path.is_relative_to(data)
        if path.is_file() and not hidden:
            yield CONFIGURATION + name.as_posix(), path


def _info(name: str, mode: int = 0o600) -> ZipInfo:
    info = ZipInfo(name, _ZIP_BEGINS)
    info.compress_type, info.external_attr = ZIP_DEFLATED, mode << 16
    return info


def _add(archive: ZipFile, name: str, path: Path, tell: Tell) -> Part:
    total = sha256()
    done, of = 0, path.stat().st_size
    # Who may read a file of the configuration is part of it, as secrets may lie there; the journal is nobody else's.
    info = _info(name) if name == JOURNAL else _info(name, stat.S_IMODE(path.stat().st_mode))
    with path.open("rb") as source, archive.open(info, "w", force_zip64=of > 1 << 30) as part:
        for chunk in chunks(source):
            part.write(chunk)
            total.update(chunk)
            done += len(chunk)
            tell(f"packing {name}", done, of)
    return Part(done, total.hexdigest())


def chunks(source: IO[bytes]) -> Iterator[bytes]:
    while chunk := source.read(CHUNK_BYTES):
        yield chunk


def _facts(copy: Path) -> dict[str, Any]:
    """What the manifest says of the journal, which is opened and so put in order."""
    venue = venue_of(copy)
    if venue is None:
        raise BackupRefused("the journal is damaged so that it does not say of which venue it is; restart the service")
    with closing(SqliteJournal(copy, venue)) as journal:
        state, seq, at = fold(journal, empty=State, apply=apply)
        notices = tuple(journal.notices)
    return {
        "schema": files.SCHEMA,
        "venue": venue,
        "name": state.spec.name,
        "seq": seq,
        "at": at,
        "configuration": state.digest,
        "broken": broken(copy),
        "notices": notices,
    }


def venue_of(path: Path) -> str | None:
    """Whose journal ``path`` is; None if it does not say."""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as db:
            found = db.execute("SELECT value FROM meta WHERE key = 'venue'").fetchone()
    except (sqlite3.Error, UnicodeDecodeError):
        return None
    return found[0] if found and isinstance(found[0], str) else None


def broken(path: Path) -> int:
    """In how many places the chain over all entries of a closed journal is broken."""
    count, seq, total = 0, 0, START
    with closing(connect(path, read_only=True)) as db:
        for row in db.execute(ENTRIES_BETWEEN, (0, ANY)):
            if first_of((row[0], row[2])) != seq + 1 or not follows(row, seq + 1, total):
                count += 1
            seq, total = row[0], row[3] if isinstance(row[3], bytes) else b""
    return count
