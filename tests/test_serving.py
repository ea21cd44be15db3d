"""What whoever starts the service is told: where to sign in, and what is wrong with a port or a certificate."""

from __future__ import annotations

import socket
import ssl
from pathlib import Path

import pytest
import trustme

from roomlink.serving import asked_for, bind, cannot_use, say_code


@pytest.mark.parametrize(
    ("address", "names", "behind_proxy", "shown"),
    [
        ("http://127.0.0.1:8080", (), False, "http://127.0.0.1:8080"),
        ("https://0.0.0.0:8443", ("hall.example", "other.example"), False, "https://hall.example:8443"),
        ("http://127.0.0.1:8080", ("hall.example",), True, "https://hall.example"),
        ("http://127.0.0.1:8080", ("hall.example",), False, "http://127.0.0.1:8080"),
        ("https://[::]:8443", ("[2001:db8::1]",), False, "https://[2001:db8::1]:8443"),
    ],
)
def test_the_code_comes_with_the_address_that_a_browser_can_open(
    address: str, names: tuple[str, ...], behind_proxy: bool, shown: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the name that is not refused there; behind a proxy that of the proxy."""
    say_code("ABCD-EFGH", asked_for(address, names, behind_proxy=behind_proxy))
    assert f"Open {shown}/sign-in and give it" in capsys.readouterr().err


def test_a_port_that_is_taken_is_told_with_what_to_do() -> None:
    """Without a number of the operating system before it."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(OSError, match=rf"^cannot listen on 127\.0\.0\.1 port {port}: .*; stop what") as told:
            bind("127.0.0.1", port)
    assert str(told.value).endswith("name another --port")


def test_a_certificate_that_cannot_be_used_is_told_by_its_files(tmp_path: Path) -> None:
    """One that is missing, and a key that is of another certificate: OpenSSL names neither."""
    issued, other = (trustme.CA().issue_cert("localhost") for _ in range(2))
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    cert.write_bytes(issued.cert_chain_pems[0].bytes())
    assert cannot_use((cert, key), OSError()).startswith(f"there is no file {key}: give the certificate with --cert")
    key.write_bytes(other.private_key_pem.bytes())
    with pytest.raises(ssl.SSLError, match="KEY_VALUES_MISMATCH") as error:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key)
    assert f"{cert} and {key} cannot be used (" in cannot_use((cert, key), error.value)
