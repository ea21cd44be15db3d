"""``journal.backup`` and ``journal.restore``: one file holds everything; what is no whole backup touches nothing."""

from __future__ import annotations

import json
import os
import random
import stat
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pytest

from roomlink.core.events import AlarmRaised
from roomlink.errors import BackupRefused, JournalDamaged, JournalHeld
from roomlink.journal import backup
from roomlink.journal.restore import restore
from roomlink.journal.sqlite import SqliteJournal
from tests.contracts.journal import make_entries, make_entry
from tests.contracts.journal import make_snapshot as of_contract

VENUE = "tidewater"


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder with a journal of 30 entries, which nobody has open."""
    with closing(SqliteJournal(tmp_path / "data" / "journal.db", VENUE)) as journal:
        journal.append(make_entries(1, 30))
    return tmp_path / "data"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A configuration folder with a page of its own, and things that are nobody's business."""
    found = tmp_path / "venue"
    (found / "panels").mkdir(parents=True)
    (found / "venue.yaml").write_text("venue: {id: tidewater}\n")
    (found / "panels" / "bar.html").write_text("<p>Größe</p>")
    (found / ".git").mkdir()
    (found / ".git" / "config").write_text("nobody's business")
    return found


@pytest.fixture
def made(tmp_path: Path, data: Path, folder: Path) -> Path:
    backup.make(data, tmp_path / "backup.zip", folder)
    return tmp_path / "backup.zip"


def everything(place: Path) -> dict[str, bytes]:
    """All files below a folder, but for who held a journal last and what reading one leaves beside it."""
    passing = (".lock", ".db-shm", ".db-wal")
    files = (path for path in sorted(place.rglob("*")) if path.is_file() and path.suffix not in passing)
    return {str(path.relative_to(place)): path.read_bytes() for path in files}


def test_a_backup_restores_everything_elsewhere(tmp_path: Path, data: Path, folder: Path, made: Path) -> None:
    """Entries, where they end, and the folder; positions that panels know of mean nothing in the restored journal."""
    with closing(SqliteJournal(data / "journal.db", VENUE)) as journal:
        identity = journal.identity
    done = restore(made, tmp_path / "new" / "data", tmp_path / "new" / "venue")
    assert (done.kept, done.folder, done.manifest.seq, done.manifest.venue) == ((), True, 30, VENUE)
    assert everything(tmp_path / "new" / "venue") == {
        name: content for name, content in everything(folder).items() if not name.startswith(".")
    }
    with closing(SqliteJournal(tmp_path / "new" / "data" / "journal.db", VENUE)) as journal:
        assert journal.notices == []
        assert list(journal.entries()) == make_entries(1, 30)
        assert journal.identity != identity
        journal.append([make_entry(31)])


def test_two_backups_of_one_state_are_the_same_byte_for_byte(
    tmp_path: Path, data: Path, folder: Path, made: Path
) -> None:
    """And one is not for everybody to read."""
    os.utime(folder / "venue.yaml", (1, 1))
    backup.make(data, tmp_path / "again.zip", folder)
    assert (tmp_path / "again.zip").read_bytes() == made.read_bytes()
    assert stat.S_IMODE(made.stat().st_mode) == 0o600


def test_what_others_may_read_is_no_more_after_a_restore_than_before(tmp_path: Path, data: Path, folder: Path) -> None:
    """Hashes of passwords lie in the journal, and perhaps a secret in the configuration."""
    (folder / "secret").write_text("whsec_...")
    (folder / "secret").chmod(0o600)
    (folder / "venue.yaml").chmod(0o644)
    backup.make(data, tmp_path / "b.zip", folder)
    new = tmp_path / "new"
    restore(tmp_path / "b.zip", new / "data", new / "venue")
    modes = {name: stat.S_IMODE((new / name).stat().st_mode) for name in ("data", "data/journal.db", "venue/secret")}
    assert modes == {"data": 0o700, "data/journal.db": 0o600, "venue/secret": 0o600}
    assert stat.S_IMODE((new / "venue" / "venue.yaml").stat().st_mode) == 0o644


def test_the_configuration_of_another_venue_is_not_put_aside(tmp_path: Path, made: Path) -> None:
    """A folder that was named by mistake stays where it is, and the sentence says what to do."""
    before = everything(tmp_path)
    with pytest.raises(BackupRefused, match=r"and .*of 'first': nothing was touched; name another"):
        restore(made, tmp_path / "new", tmp_path / "venue", folder_is="first")
    assert everything(tmp_path) == before
    assert restore(made, tmp_path / "new", tmp_path / "venue", folder_is=VENUE).folder


def test_a_backup_into_a_folder_that_is_not_there_says_so(tmp_path: Path, data: Path) -> None:
    """And not what of its own doing failed."""
    with pytest.raises(BackupRefused, match=r"there is no folder .*nowhere to put the backup into; make"):
        backup.make(data, tmp_path / "nowhere" / "b.zip")


def test_a_backup_is_made_while_the_journal_is_written(tmp_path: Path, data: Path) -> None:
    """It ends although entries never cease, and holds a whole beginning of them."""
    with closing(SqliteJournal(data / "journal.db", VENUE)) as journal:
        journal.append(make_entries(31, 4000))
        goes_on = threading.Event()

        def write() -> None:
            seq = 4000
            while not goes_on.is_set():
                seq += 1
                journal.append([make_entry(seq)])

        writing = threading.Thread(target=write)
        writing.start()
        told: list[tuple[int, int]] = []
        try:
            found = backup.make(data, tmp_path / "b.zip", tell=lambda what, done, of: told.append((done, of)))
        finally:
            goes_on.set()
            writing.join()
        assert 4000 <= found.seq <= journal.last_seq
        assert told[-1][0] == told[-1][1]
    restore(tmp_path / "b.zip", tmp_path / "new")
    with closing(SqliteJournal(tmp_path / "new" / "journal.db", VENUE)) as journal:
        assert list(journal.entries()) == make_entries(1, found.seq)


def test_what_was_there_is_kept(tmp_path: Path, data: Path, folder: Path, made: Path) -> None:
    """Journal and folder, under names that say when; entries after the backup are in the old journal."""
    with closing(SqliteJournal(data / "journal.db", VENUE)) as journal:
        journal.append([make_entry(31)])
    (folder / "venue.yaml").write_text("changed")
    done = restore(made, data, folder)
    old_folder, old_journal = done.kept
    assert (old_folder / "venue.yaml").read_text() == "changed"
    assert "venue: {id" in (folder / "venue.yaml").read_text()
    with closing(SqliteJournal(old_journal, VENUE)) as journal:
        assert journal.last_seq == 31
    with closing(SqliteJournal(data / "journal.db", VENUE)) as journal:
        assert (journal.last_seq, journal.notices) == (30, [])


def test_a_damaged_journal_gives_way_and_is_kept(tmp_path: Path, data: Path, made: Path) -> None:
    """That is what a backup is for, also where the file does not even say whose it is."""
    (data / "journal.db").write_bytes(b"\xff" * 5000)
    done = restore(made, data)
    assert done.kept[0].read_bytes() == b"\xff" * 5000
    with closing(SqliteJournal(data / "journal.db", VENUE)) as journal:
        assert journal.last_seq == 30


def refused(tmp_path: Path, file: Path, match: str, kind: type[Exception] = BackupRefused) -> None:
    """Restoring ``file`` over what there is says why not, and changes no byte."""
    before = everything(tmp_path)
    with pytest.raises(kind, match=match):
        restore(file, tmp_path / "data", tmp_path / "venue")
    assert everything(tmp_path) == before


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_a_backup_that_was_cut_short_touches_nothing(tmp_path: Path, made: Path, share: float) -> None:
    """As a copy that was broken off, or a stick that was pulled out."""
    os.truncate(made, int(made.stat().st_size * share))
    refused(tmp_path, made, "no backup, or it was cut short .*: nothing was touched; fetch the file again")


@pytest.mark.parametrize("seed", range(25))
def test_a_damaged_backup_touches_nothing_or_restores_everything(tmp_path: Path, made: Path, seed: int) -> None:
    """One byte anywhere. Where it changes nothing that counts, everything is there."""
    dice = random.Random(seed)
    content = bytearray(made.read_bytes())
    content[dice.randrange(len(content))] ^= 1 << dice.randrange(8)
    made.write_bytes(content)
    before = everything(tmp_path)
    why = ""
    try:
        restore(made, tmp_path / "data", tmp_path / "venue")
    except BackupRefused as error:
        why = str(error)
    if why:
        assert "nothing was touched" in why
        assert everything(tmp_path) == before
    else:
        with closing(SqliteJournal(tmp_path / "data" / "journal.db", VENUE)) as journal:
            assert list(journal.entries()) == make_entries(1, 30)
        assert everything(tmp_path / "venue").keys() == {"venue.yaml", "panels/bar.html"}


def test_what_is_no_backup_is_refused(tmp_path: Path, data: Path, made: Path) -> None:
    """A foreign archive, a journal as it lies, and a name that nobody has."""
    foreign = tmp_path / "photos.zip"
    with ZipFile(foreign, "w") as archive:
        archive.writestr("manifest.json", "{}")
    refused(tmp_path, foreign, "is no whole backup of roomlink")
    refused(tmp_path, data / "journal.db", "is no backup, or it was cut short")
    refused(tmp_path, tmp_path / "nothing.zip", "there is no file")


def rewritten(made: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The backup with its parts changed by somebody who knows zip archives."""
    with ZipFile(made) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    with ZipFile(made, "w", ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return made


def with_manifest(made: Path, **members: object) -> Path:
    def change(parts: dict[str, bytes]) -> None:
        parts["manifest.json"] = json.dumps({**json.loads(parts["manifest.json"]), **members}).encode()

    return rewritten(made, change)


def test_a_backup_of_a_newer_version_is_refused(tmp_path: Path, made: Path) -> None:
    """With the version to use."""
    with_manifest(made, format_version=99, version="9.9.0")
    refused(tmp_path, made, r"newer roomlink \(9\.9\.0\): nothing was touched; use that version")


def test_a_part_that_was_exchanged_is_found(tmp_path: Path, made: Path) -> None:
    """The archive is whole, and its manifest knows better; a part too many is found, too."""
    rewritten(made, lambda parts: parts.update({"configuration/venue.yaml": b"venue: {id: harbour}"}))
    refused(tmp_path, made, "configuration/venue.yaml is not what was packed")
    rewritten(made, lambda parts: parts.update({"configuration/more.yaml": b"x"}))
    refused(tmp_path, made, "its parts are not those that its manifest lists")


@pytest.mark.parametrize(
    "name",
    [
        "configuration/../../evil",
        "/etc/evil",
        "configuration/",
        "evil",
        "configuration/a\\b",
        "configuration//tmp/evil",
        "configuration/./evil",
    ],
)
def test_nothing_is_written_outside_of_the_folder(tmp_path: Path, made: Path, name: str) -> None:
    """Whatever an archive calls its parts."""
    part = {"bytes": 1, "sha256": "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"}

    def change(parts: dict[str, bytes]) -> None:
        said = json.loads(parts["manifest.json"])
        said["parts"][name] = part
        parts |= {"manifest.json": json.dumps(said).encode(), name: b"x"}

    rewritten(made, change)
    refused(tmp_path, made, "lies outside of the configuration")


def test_a_data_folder_within_the_configuration_is_not_put_aside_with_it(tmp_path: Path, made: Path) -> None:
    """It would be gone from where the service looks for it, with the half of the restore that was done."""
    (tmp_path / "data").rename(tmp_path / "venue" / "data")
    before = everything(tmp_path)
    with pytest.raises(BackupRefused, match=r"lies in .*nothing was touched; name another --folder"):
        restore(made, tmp_path / "venue" / "data", tmp_path / "venue")
    assert everything(tmp_path) == before
    assert restore(made, tmp_path / "venue" / "data").folder is False


def test_a_journal_that_cannot_be_put_leaves_the_configuration_as_it_was(
    tmp_path: Path, data: Path, made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The names change last, the journal's first: a half of a restore would be worse than none."""

    def full(*given: object) -> None:
        raise OSError("no space left")

    (tmp_path / "venue" / "venue.yaml").write_text("venue: {id: tidewater, name: Newer}\n")
    monkeypatch.setattr("roomlink.journal.files.replace", full)
    refused(tmp_path, made, "no space left", OSError)


def test_a_size_that_is_no_number_is_refused(tmp_path: Path, made: Path) -> None:
    """Like whatever else a manifest cannot say."""
    with ZipFile(made) as archive:
        parts = json.loads(archive.read("manifest.json"))["parts"]
    parts["journal.db"]["bytes"] = "many"
    with_manifest(made, parts=parts)
    refused(tmp_path, made, "a size that is no number")


@pytest.mark.parametrize("nested", ["venue/data", "data/venue", "both"])
def test_a_configuration_is_packed_without_the_data_wherever_that_lies(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, data: Path, folder: Path, nested: str
) -> None:
    """One within the other, each told from another place, or one folder for both: no journal that is being written."""
    if nested == "venue/data":
        data = data.rename(folder / "data")
    elif nested == "data/venue":
        folder = folder.rename(data / "venue")
    else:
        for file in data.iterdir():
            file.rename(folder / file.name)
        data = folder
    backup.remember_served(data, folder)
    monkeypatch.chdir(tmp_path)
    parts = backup.make(data.relative_to(tmp_path), Path("b.zip"), folder).parts
    assert set(parts) == {"journal.db", "configuration/venue.yaml", "configuration/panels/bar.html"}


def test_another_venues_journal_is_left_alone(tmp_path: Path, made: Path) -> None:
    """The sentence names both."""
    (tmp_path / "data" / "journal.db").unlink()
    SqliteJournal(tmp_path / "data" / "journal.db", "harbour").close()
    refused(tmp_path, made, "of the venue 'tidewater', and .* has the journal of 'harbour': nothing was touched")


def test_a_data_folder_in_use_is_left_alone(tmp_path: Path, data: Path, made: Path) -> None:
    """Stop the service first."""
    with closing(SqliteJournal(data / "journal.db", VENUE)):
        refused(tmp_path, made, "holds the journal .*stop it", JournalHeld)


def test_a_backup_without_a_folder_says_so(tmp_path: Path, data: Path, folder: Path) -> None:
    """It is made where nobody knows the folder, and then restores the journal alone."""
    backup.make(data, tmp_path / "b.zip")
    refused(tmp_path, tmp_path / "b.zip", "holds no configuration; leave --folder away")
    assert restore(tmp_path / "b.zip", data).folder is False


def test_the_folder_that_was_served_is_known(tmp_path: Path, data: Path, folder: Path) -> None:
    """Until it is gone."""
    backup.remember_served(data, folder)
    assert backup.served_folder(data) == folder
    assert "configuration/panels/bar.html" in backup.make(data, tmp_path / "b.zip").parts
    folder.rename(tmp_path / "elsewhere")
    assert backup.served_folder(data) is None


def test_what_cannot_be_backed_up_is_told(tmp_path: Path, data: Path, made: Path) -> None:
    """Nothing is overwritten, and nothing half made is left."""
    before = everything(tmp_path)
    for place, out, match in ((data, made, "exists already"), (tmp_path, tmp_path / "x.zip", "there is no journal.db")):
        with pytest.raises(BackupRefused, match=match):
            backup.make(place, out)
    with pytest.raises(BackupRefused, match="there is no configuration folder"):
        backup.make(data, tmp_path / "x.zip", tmp_path / "nowhere")
    assert everything(tmp_path) == before
    (data / "journal.db").write_bytes(b"hello")
    with pytest.raises(JournalDamaged, match="is not a journal of roomlink"):
        backup.make(data, tmp_path / "x.zip")


def test_a_history_with_a_hole_is_backed_up_as_it_is(tmp_path: Path, data: Path) -> None:
    """The state is whole, so it must not be the one venue without a backup."""
    with closing(SqliteJournal(data / "journal.db", VENUE)) as journal:
        journal.save(of_contract(30))
        journal._writer.execute("DELETE FROM entries WHERE seq = 7")
    found = backup.make(data, tmp_path / "b.zip")
    assert (found.broken, found.seq) == (1, 30)
    restore(tmp_path / "b.zip", tmp_path / "new")
    with closing(SqliteJournal(tmp_path / "new" / "journal.db", VENUE)) as journal:
        assert journal.last_seq == 30
        snapshot = journal.snapshot_before()
        assert snapshot is not None
        assert isinstance(snapshot.events[1], AlarmRaised)
