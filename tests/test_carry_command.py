"""``roomlink carry``: from NATS into a data folder and back, with a real server."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from roomlink.cli import main
from roomlink.journal import backup
from roomlink.journal.jetstream import JetStreamJournal, Place
from roomlink.journal.sqlite import SqliteJournal
from tests.contracts.journal import make_entries, make_entry, make_snapshot
from tests.nats_servers import NatsServer


def test_a_journal_goes_out_of_nats_and_into_it_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whole, with its newest snapshot; what comes out can be backed up. Nothing is ever written over."""
    server, other = NatsServer(tmp_path / "one"), NatsServer(tmp_path / "other")
    server.start()
    other.start()
    try:
        with closing(JetStreamJournal(Place((server.url,)), "hall")) as journal:
            journal.append(make_entries(1, 700))
            journal.save(make_snapshot(650))
        data = tmp_path / "data"
        assert main(["carry", "hall", "--nats", server.url, "--data", str(data)]) == 0
        assert "700 entries of hall" in capsys.readouterr().out
        with closing(SqliteJournal(data / backup.JOURNAL, "hall")) as file:
            assert list(file.entries()) == make_entries(1, 700)
            assert file.snapshot_before() == make_snapshot(650)
        assert main(["carry", "hall", "--nats", server.url, "--data", str(data)]) == 1
        assert "already a journal" in capsys.readouterr().err
        assert main(["carry", "hall", "--nats", other.url, "--data", str(data), "--into-nats"]) == 0
        with closing(JetStreamJournal(Place((other.url,)), "hall")) as journal:
            assert list(journal.entries()) == make_entries(1, 700)
            assert journal.snapshot_before() == make_snapshot(650)
            journal.append([make_entry(701)])
        assert main(["carry", "hall", "--nats", other.url, "--data", str(data), "--into-nats"]) == 1
        assert "it must be empty" in capsys.readouterr().err
        assert main(["carry", "hall", "--nats", other.url, "--data", str(tmp_path / "none"), "--into-nats"]) == 1
        assert "there is no journal" in capsys.readouterr().err
    finally:
        server.stop()
        other.stop()
