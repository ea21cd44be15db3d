"""Putting a backup back: everything is proved before anything is touched, and nothing is overwritten."""

from __future__ import annotations

import os
import sqlite3
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from zipfile import BadZipFile, ZipFile

import orjson

from roomlink.errors import BackupRefused, JournalDamaged
from roomlink.journal import files
from roomlink.journal.backup import (
    CONFIGURATION,
    FORMAT,
    FORMAT_VERSION,
    JOURNAL,
    MANIFEST,
    Manifest,
    Part,
    broken,
    chunks,
    venue_of,
)
from roomlink.journal.copying import Tell, untold
from roomlink.journal.sqlite import SqliteJournal

MANIFEST_BYTES_MAX = 16 << 20
AGAIN = "nothing was touched; fetch the file again, or take another backup"


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back; ``kept`` names what was there before."""

    manifest: Manifest
    folder: bool
    kept: tuple[Path, ...]


def restore(
    backup: Path, data: Path, folder: Path | None = None, tell: Tell = untold, folder_is: str | None = None
) -> Restored:
    """Put the journal of ``backup`` into the data folder, and its configuration into ``folder`` if that is given.

    What was there is kept beside it; ``folder_is`` is the venue that lies in ``folder`` now, if that is known. Raises
    ``BackupRefused`` with nothing touched for a file that is damaged, cut short or no backup, and where another venue's
    journal or configuration lies; ``JournalHeld`` while a service runs there.
    """
    with _opened(backup) as archive:
        manifest = _manifest(backup, archive)
        _prove(backup, archive, manifest, tell)
        inside = [name for name in manifest.parts if name.startswith(CONFIGURATION)]
        if folder is not None and not inside:
            raise BackupRefused(f"{backup} holds no configuration; leave --folder away, and bring the folder yourself")
        _refuse_other_venue(data / JOURNAL, manifest)
        if folder_is not in (None, manifest.venue):
            raise BackupRefused(
                f"the backup is of the venue {manifest.venue!r}, and {folder} is the configuration of {folder_is!r}:"
                " nothing was touched; name another --folder"
            )
        if folder is not None and data.resolve().is_relative_to(folder.resolve()):
            raise BackupRefused(
                f"the data folder {data} lies in {folder}, which is put aside as a whole: nothing was touched; name"
                " another --folder, and move what is in it"
            )
        # Password hashes are in it: as little for others to read as where a service makes it.
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = files.Lock(data / JOURNAL)
        try:
            with ExitStack() as scratches:
                fresh = _scratch(scratches, data) / JOURNAL
                _unpack(archive, JOURNAL, fresh, tell)
                _prove_journal(fresh, manifest)
                if folder is not None:
                    folder = folder.absolute()
                    folder.parent.mkdir(parents=True, exist_ok=True)
                    configuration = _scratch(scratches, folder.parent) / "configuration"
                    for name in inside:
                        _unpack(archive, name, configuration / name.removeprefix(CONFIGURATION), tell)
                # All of it lies where it belongs: from here on only names change.
                kept = _put_journal(fresh, data / JOURNAL)
                if folder is not None:
                    kept = _put_folder(configuration, folder) + kept
        finally:
            lock.release()
    return Restored(manifest, folder is not None, tuple(kept))


@contextmanager
def _opened(backup: Path) -> Iterator[ZipFile]:
    try:
        archive = ZipFile(backup)
    except FileNotFoundError:
        raise BackupRefused(f"there is no file {backup}") from None
    except (BadZipFile, OSError, ValueError) as error:
        raise BackupRefused(f"{backup} is no backup, or it was cut short ({error}): {AGAIN}") from None
    with archive:
        yield archive


def _manifest(backup: Path, archive: ZipFile) -> Manifest:
    try:
        info = archive.getinfo(MANIFEST)
        if info.file_size > MANIFEST_BYTES_MAX:
            raise ValueError("its manifest is too large")
        said = orjson.loads(archive.read(info))
        if said["format"] != FORMAT:
            raise ValueError("its manifest is of another kind")
        if said["format_version"] > FORMAT_VERSION or said["schema"] > files.SCHEMA:
            raise BackupRefused(
                f"{backup} was made by a newer roomlink ({said['version']}): nothing was touched; use that version"
            )
        said["notices"] = tuple(said["notices"])
        parts = {name: Part(**part) for name, part in said["parts"].items()}
        manifest = Manifest(**{**said, "parts": parts})
        if not all(isinstance(part.bytes, int) for part in parts.values()):
            raise ValueError("its manifest gives a size that is no number")
        if JOURNAL not in parts or sorted([*parts, MANIFEST]) != sorted(archive.namelist()):
            raise ValueError("its parts are not those that its manifest lists")
        if wrong := [name for name in parts if name != JOURNAL and not _is_safe(name)]:
            raise ValueError(f"{wrong[0]!r} lies outside of the configuration")
    except (KeyError, TypeError, ValueError, AttributeError, BadZipFile, zlib.error, OSError) as error:
        raise BackupRefused(f"{backup} is no whole backup of roomlink ({error}): {AGAIN}") from None
    return manifest


def _is_safe(name: str) -> bool:
    # By each step, also an empty one: what follows two slashes would be a path from the root.
    steps = name.removeprefix(CONFIGURATION).split("/")
    strange = {"", ".", ".."}.intersection(steps) or {"\\", "\0"}.intersection(name)
    return name.startswith(CONFIGURATION) and not strange


def _prove(backup: Path, archive: ZipFile, manifest: Manifest, tell: Tell) -> None:
    """Read every part once, and compare it with the manifest."""
    of = sum(part.bytes for part in manifest.parts.values())
    done = 0
    for name, part in manifest.parts.items():
        total, size = sha256(), 0
        try:
            with archive.open(name) as source:
                for chunk in chunks(source):
                    total.update(chunk)
                    size += len(chunk)
                    if size > part.bytes:
                        break
                    tell("checking the backup", min(done + size, of), of)
        except (BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError) as error:
            raise BackupRefused(f"{backup} is damaged in {name} ({error}): {AGAIN}") from None
        if (size, total.hexdigest()) != (part.bytes, part.sha256):
            raise BackupRefused(f"{backup} is damaged: {name} is not what was packed; {AGAIN}")
        done += size


def _refuse_other_venue(journal: Path, manifest: Manifest) -> None:
    there = venue_of(journal) if journal.is_file() else None
    if there is not None and there != manifest.venue:
        raise BackupRefused(
            f"the backup is of the venue {manifest.venue!r}, and {journal.parent} has the journal of {there!r}: nothing"
            " was touched; name another data folder"
        )


def _scratch(scratches: ExitStack, place: Path) -> Path:
    """A folder in ``place``, so that what is made in it needs only another name to lie there."""
    return Path(scratches.enter_context(tempfile.TemporaryDirectory(prefix=".restore-", dir=place)))


def _unpack(archive: ZipFile, name: str, to: Path, tell: Tell) -> None:
    of = archive.getinfo(name).file_size
    done = 0
    to.parent.mkdir(parents=True, exist_ok=True)
    mode = archive.getinfo(name).external_attr >> 16 & 0o777
    with archive.open(name) as source, to.open("wb") as file:
        os.fchmod(file.fileno(), mode or 0o600)
        for chunk in chunks(source):
            file.write(chunk)
            done += len(chunk)
            tell(f"unpacking {name}", done, of)
        file.flush()
        os.fsync(file.fileno())


def _prove_journal(fresh: Path, manifest: Manifest) -> None:
    """The chain over all entries, and the end that the manifest names; then it becomes a journal of its own."""
    try:
        found = broken(fresh)
        with closing(SqliteJournal(fresh, manifest.venue)) as journal:
            seq = journal.last_seq
    except (JournalDamaged, sqlite3.Error) as error:
        raise BackupRefused(f"the journal in the backup cannot be used ({error}): {AGAIN}") from None
    if (seq, found) != (manifest.seq, manifest.broken):
        raise BackupRefused(f"the journal in the backup does not hang together as it should: {AGAIN}")
    # Panels that know a position must see that it is another journal: what came after the backup is not in it.
    with closing(sqlite3.connect(fresh)) as db, db:
        db.execute("DELETE FROM meta WHERE key = 'identity'")
    with closing(sqlite3.connect(fresh)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _put_folder(fresh: Path, folder: Path) -> list[Path]:
    """The configuration as it was backed up; what was there keeps its content under another name."""
    kept: list[Path] = []
    if folder.exists():
        kept.append(files.free_name(folder, "before-restore"))
        folder.rename(kept[0])
    fresh.rename(folder)
    files.sync_folder(folder.parent)
    return kept


def _put_journal(fresh: Path, journal: Path) -> list[Path]:
    there = journal.exists() or files.beside(journal, "-wal").exists()
    kept = files.free_name(journal, "before-restore")
    files.replace(journal, fresh, kept)
    # What was acknowledged in the old one says nothing of this one.
    files.beside(journal, ".head").unlink(missing_ok=True)
    return [kept] if there else []
