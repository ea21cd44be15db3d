"""``journal.natsaccess``: how the servers let a node in, with a real server that asks for a password over TLS."""

from __future__ import annotations

from pathlib import Path

import pytest
import trustme

from roomlink.errors import JournalFailed
from roomlink.journal import natslink
from roomlink.journal.jetstream import JetStreamJournal, Place
from roomlink.journal.natsaccess import access
from tests.contracts.journal import make_entry
from tests.nats_servers import NatsServer


def file(folder: Path, text: str, mode: int = 0o600) -> Path:
    path = folder / "nats.toml"
    path.write_text(text)
    path.chmod(mode)
    return path


def test_a_server_that_asks_for_a_password_over_tls_lets_in_who_has_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And nobody without it, or who does not know its authority."""
    authority = trustme.CA()
    issued = authority.issue_cert("localhost", "127.0.0.1")
    cert, key, ca = (tmp_path / name for name in ("cert.pem", "key.pem", "ca.pem"))
    cert.write_bytes(b"".join(part.bytes() for part in issued.cert_chain_pems))
    key.write_bytes(issued.private_key_pem.bytes())
    authority.cert_pem.write_to_path(ca)
    asks = f'tls {{ cert_file: "{cert}", key_file: "{key}" }}\n'
    asks += 'authorization { user: roomlink, password: "only for this test" }\n'
    server = NatsServer(tmp_path / "nats", more=asks)
    server.start()
    monkeypatch.setattr(natslink, "CONNECT_S", 2.0)
    url = server.url.replace("nats://", "tls://")
    try:
        login = 'user = "roomlink"\npassword = "only for this test"\n'
        for wrong in (f'ca = "{ca}"\n', login, login.replace("only", "not") + f'ca = "{ca}"\n'):
            with pytest.raises(JournalFailed, match="lets this node in"):
                JetStreamJournal(Place((url,), access=access(file(tmp_path, wrong))), "hall")
        journal = JetStreamJournal(Place((url,), access=access(file(tmp_path, login + f'ca = "{ca}"\n'))), "hall")
        journal.append([make_entry(1)])
        assert list(journal.entries()) == [make_entry(1)]
        journal.close()
    finally:
        server.stop()


@pytest.mark.parametrize(
    ("text", "mode", "why"),
    [
        ('user = "x"', 0o644, "chmod 600"),
        ('name = "x"', 0o600, "there are user, password, token, ca, cert, key"),
        ("user = 3", 0o600, "not in quotes"),
        ("user: x", 0o600, "cannot be read"),
        ('cert = "x"', 0o600, "belong together"),
        ('ca = "/nowhere/ca.pem"', 0o600, "cannot be used"),
    ],
)
def test_what_is_wrong_with_the_file_is_told(tmp_path: Path, text: str, mode: int, why: str) -> None:
    """With what would be right."""
    with pytest.raises(JournalFailed, match=why):
        access(file(tmp_path, text, mode))
