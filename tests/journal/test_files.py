"""A journal's file is recognised, held by one, and replaced without ever being lost."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from roomlink.errors import JournalDamaged, OurFault
from roomlink.journal import files


def header(application: int, schema: int) -> bytes:
    """The first bytes of an SQLite file, by its published format."""
    return (
        b"SQLite format 3\x00".ljust(60, b"\x01") + schema.to_bytes(4) + bytes(4) + application.to_bytes(4) + bytes(28)
    )


def test_our_own_header_and_no_file_at_all_pass(tmp_path: Path) -> None:
    """So does an empty file, in which nothing can be lost."""
    files.refuse_foreign(tmp_path / "none")
    (tmp_path / "empty").touch()
    files.refuse_foreign(tmp_path / "empty")
    (tmp_path / "ours").write_bytes(header(files.APPLICATION_ID, files.SCHEMA))
    files.refuse_foreign(tmp_path / "ours")


@pytest.mark.parametrize(
    ("application", "schema", "match"),
    [(0, 1, "not a journal of roomlink"), (files.APPLICATION_ID, files.SCHEMA + 1, "use the newer version")],
)
def test_other_headers_are_refused(tmp_path: Path, application: int, schema: int, match: str) -> None:
    """By the application's mark and the schema's number."""
    path = tmp_path / "journal.db"
    path.write_bytes(header(application, schema))
    with pytest.raises(JournalDamaged, match=match):
        files.refuse_foreign(path)


def test_a_lock_is_for_one_until_released(tmp_path: Path) -> None:
    """The file of the lock stays, which is no hindrance."""
    path = tmp_path / "journal.db"
    lock = files.Lock(path)
    with pytest.raises(OurFault, match="another service"):
        files.Lock(path)
    lock.release()
    assert (tmp_path / "journal.db.lock").read_text() == f"{os.getpid()}\n"
    files.Lock(path).release()


def test_a_replaced_file_stays_under_its_other_name(tmp_path: Path) -> None:
    """With its log; the log is gone from beside the new file, which it would spoil."""
    path, new = tmp_path / "journal.db", tmp_path / "journal.db.new"
    path.write_bytes(b"old")
    files.beside(path, "-wal").write_bytes(b"log")
    files.beside(path, "-shm").write_bytes(b"index")
    new.write_bytes(b"new")
    kept = files.free_name(path)
    files.replace(path, new, kept)
    found = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    assert found == {"journal.db": b"new", kept.name: b"old", f"{kept.name}-wal": b"log"}


def test_without_second_names_the_old_file_is_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some file systems have no hard links."""

    def refuse(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "link", refuse)
    path, new = tmp_path / "journal.db", tmp_path / "new"
    path.write_bytes(b"old")
    new.write_bytes(b"new")
    files.replace(path, new, tmp_path / "kept")
    assert (path.read_bytes(), (tmp_path / "kept").read_bytes()) == (b"new", b"old")


def test_a_name_to_keep_under_is_never_taken_twice(tmp_path: Path) -> None:
    """Two damages within a second do not overwrite one another."""
    names = set()
    for _ in range(5):
        name = files.free_name(tmp_path / "journal.db")
        name.touch()
        names.add(name)
    assert len(names) == 5
