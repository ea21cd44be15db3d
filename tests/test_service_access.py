"""``service``, with sign-in: the first start, TLS, and a proxy that ends it."""

from __future__ import annotations

import asyncio
import re
import shutil
import signal
import socket
import ssl
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest
import trustme
from websockets.exceptions import ConnectionClosed

from tests.api.harness import WITHIN_S, Panel, Served, dial

Serve = Callable[..., Served]

NGINX = shutil.which("nginx") or "/usr/sbin/nginx"
DEPLOY = Path(__file__).parent.parent / "deploy"
PASSWORD = "four words in a row"


def code_of(served: Served) -> str:
    """The code that the service printed on standard error."""
    end = time.monotonic() + WITHIN_S
    while time.monotonic() < end:
        found = re.search(r"code to make an engineer: ([A-Z0-9-]+)", "".join(served.log))
        if found:
            return found[1]
        time.sleep(0.01)
    raise AssertionError("no code was printed")


async def make_engineer(client: httpx.AsyncClient, served: Served) -> None:
    body = {"code": await asyncio.to_thread(code_of, served), "name": "alex", "password": PASSWORD}
    answer = await client.post("/api/v1/engineers", json=body)
    assert answer.status_code == 200, answer.text


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def certificate(authority: trustme.CA, tmp_path: Path) -> tuple[Path, Path]:
    """The files of a certificate for localhost, and its key."""
    return written(authority, tmp_path)


def written(authority: trustme.CA, folder: Path, *names: str) -> tuple[Path, Path]:
    issued = authority.issue_cert("localhost", "127.0.0.1", *names)
    cert, key = folder / "cert.pem", folder / "key.pem"
    cert.write_bytes(b"".join(part.bytes() for part in issued.cert_chain_pems))
    key.write_bytes(issued.private_key_pem.bytes())
    return cert, key


def trusting(authority: trustme.CA) -> ssl.SSLContext:
    context = ssl.create_default_context()
    authority.configure_trust(context)
    return context


def serial(address: tuple[str, int], context: ssl.SSLContext) -> str:
    """The number of the certificate that is shown there."""
    with (
        socket.create_connection(address, WITHIN_S) as plain,
        context.wrap_socket(plain, server_hostname="localhost") as secure,
    ):
        shown = secure.getpeercert()
        assert shown is not None
        return str(shown["serialNumber"])


# The first start


async def test_the_first_start_asks_for_a_code_that_only_the_terminal_has(serve: Serve) -> None:
    """On standard error; standard output has the address alone. After a restart everybody is still known.

    Where passwords are lost whoever may start the service has a code again, with --new-engineer.
    """
    served = serve(sign_in=True)
    async with httpx.AsyncClient(base_url=served.url) as client:
        assert (await client.get("/api/v1/venue")).status_code == 401
        assert (await client.get("/plan")).headers["location"] == "/sign-in?next=/plan"
        await make_engineer(client, served)
        assert (await client.get("/api/v1/venue")).status_code == 200
        served.signal(signal.SIGTERM)
        assert await asyncio.to_thread(served.wait) == 0
        assert served.said == [served.url + "\n"]
        again = serve("--new-engineer", sign_in=True)
        client.base_url = httpx.URL(again.url)
        known = (await client.get("/api/v1/session")).json()
        assert (known["who"], known["first"]) == ("alex", True)
        await make_engineer(client, again)
        assert (await client.get("/api/v1/people")).json()["people"].keys() == {"alex"}
        again.signal(signal.SIGTERM)
        await asyncio.to_thread(again.wait)
    third = serve(sign_in=True)
    assert "code to make an engineer" not in "".join(third.log)
    assert PASSWORD not in "".join([*served.log, *again.log])


# TLS


async def test_it_speaks_tls_itself(serve: Serve, authority: trustme.CA, certificate: tuple[Path, Path]) -> None:
    """With a certificate of its own: HSTS, cookies for TLS alone, sockets too; a new certificate is taken on SIGHUP."""
    cert, key = certificate
    served = serve("--cert", str(cert), "--key", str(key), "--name", "localhost", sign_in=True)
    assert served.url.startswith("https://127.0.0.1:")
    context = trusting(authority)
    async with httpx.AsyncClient(base_url=served.url, verify=context) as client:
        await make_engineer(client, served)
        answer = await client.get("/api/v1/venue")
        assert answer.headers["strict-transport-security"] == "max-age=31536000"
        assert list(client.cookies) == ["__Host-roomlink-session"]
        cookies = {"Cookie": f"__Host-roomlink-session={client.cookies['__Host-roomlink-session']}"}
        url = served.url.replace("https", "http", 1)
        async with dial(
            url.replace("http://", "http" + "s://"), "/watch", ssl=context, additional_headers=cookies
        ) as ws:
            assert (await Panel(ws).next())["type"] == "welcome"
        answer = await client.post("/api/v1/motion/stop", headers={"Origin": url})
        assert answer.json()["type"] == "/problems/foreign-origin"
        address = ("127.0.0.1", int(served.url.rpartition(":")[2]))
        before = serial(address, context)
        written(authority, cert.parent)
        served.signal(signal.SIGHUP)
        end = time.monotonic() + WITHIN_S
        while serial(address, context) == before:
            assert time.monotonic() < end
            await asyncio.sleep(0.02)
        key.write_text("spoilt")
        served.signal(signal.SIGHUP)
        while not any("certificate not taken" in line for line in served.log):
            assert time.monotonic() < end + WITHIN_S
            await asyncio.sleep(0.02)
        assert (await client.get("/api/v1/venue")).status_code == 200


# Behind a proxy


class Proxied:
    """A real nginx with the configuration that is shipped, on free ports."""

    def __init__(self, folder: Path, service: Served, cert: Path, key: Path) -> None:
        self.ports = [free_port(), free_port()]
        text = (DEPLOY / "nginx.conf").read_text()
        for old, new in (
            ("127.0.0.1:8080", service.url.removeprefix("http://")),
            ("listen 443 ssl", f"listen 127.0.0.1:{self.ports[0]} ssl"),
            ("listen [::]:443 ssl;\n", "\n"),
            ("listen 80;", f"listen 127.0.0.1:{self.ports[1]};"),
            ("listen [::]:80;\n", "\n"),
            ("/etc/ssl/roomlink/cert.pem", str(cert)),
            ("/etc/ssl/roomlink/key.pem", str(key)),
            ("hall.example", "localhost"),
        ):
            assert old in text, old
            text = text.replace(old, new)
        (folder / "site.conf").write_text(text)
        main = (
            f"daemon off; pid {folder}/nginx.pid; error_log {folder}/error.log; events {{}}\n"
            f"http {{ access_log {folder}/access.log; client_body_temp_path {folder}/body;"
            f" proxy_temp_path {folder}/proxy; fastcgi_temp_path {folder}/f; uwsgi_temp_path {folder}/u;"
            f" scgi_temp_path {folder}/s; include {folder}/site.conf; }}\n"
        )
        (folder / "nginx.conf").write_text(main)
        self.url = f"https://localhost:{self.ports[0]}"
        self.process = subprocess.Popen(
            [NGINX, "-p", str(folder), "-c", str(folder / "nginx.conf"), "-e", str(folder / "error.log")],
            stderr=subprocess.PIPE,
        )
        end = time.monotonic() + WITHIN_S
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.ports[0]), 1.0).close()
                return
            except OSError:
                assert self.process.poll() is None, (folder / "error.log").read_text()
                assert time.monotonic() < end
                time.sleep(0.02)

    def stop(self) -> None:
        self.process.terminate()
        self.process.communicate(timeout=WITHIN_S)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port: int = taken.getsockname()[1]
        return port


@pytest.fixture
def proxied(serve: Serve, certificate: tuple[Path, Path], tmp_path: Path) -> Iterator[tuple[Served, Proxied]]:
    assert Path(NGINX).exists(), "nginx is needed; .ci/tools installs it"
    served = serve("--behind-proxy", "--name", "localhost", sign_in=True)
    (tmp_path / "nginx").mkdir()
    proxy = Proxied(tmp_path / "nginx", served, *certificate)
    yield served, proxy
    proxy.stop()


async def test_the_proxy_s_configuration_works_as_it_is_shipped(
    proxied: tuple[Served, Proxied], authority: trustme.CA, tmp_path: Path
) -> None:
    """Sign-in and a live socket through it; plain HTTP leads to TLS; the journal has the browser's own address."""
    served, proxy = proxied
    context = trusting(authority)
    async with httpx.AsyncClient(base_url=proxy.url, verify=context) as client:
        await make_engineer(client, served)
        assert list(client.cookies) == ["__Host-roomlink-session"]
        cookies = {"Cookie": f"__Host-roomlink-session={client.cookies['__Host-roomlink-session']}"}
        options = {"ssl": context, "additional_headers": {**cookies, "Origin": proxy.url}}
        async with dial(proxy.url, "/panels/heron-wall", **options) as ws:
            panel = Panel(ws)
            assert (await panel.next())["type"] == "welcome"
            assert (await panel.act("volume", "set", value=-20))["type"] == "ok"
            # What a browser says of whom it was sent for is not believed, the proxy is.
            said = {"X-Forwarded-For": "192.0.2.99", "X-Forwarded-Proto": "http"}
            events = (await client.get("/api/v1/events", headers=said)).json()["events"]
            assert events[-1]["where"] == "127.0.0.1"
            assert (await client.delete("/api/v1/session", headers={"Origin": proxy.url})).status_code == 200
            assert (await panel.until("bye"))["again"] is False
            with pytest.raises(ConnectionClosed):
                await panel.next()
        plain = await client.get(f"http://localhost:{proxy.ports[1]}/plan")
    assert (plain.status_code, plain.headers["location"]) == (301, "https://localhost/plan")
    assert "four words" not in (tmp_path / "nginx" / "access.log").read_text()


def test_behind_a_proxy_nothing_comes_in_the_clear(serve: Serve) -> None:
    """What the proxy says came without TLS from another machine is refused; HSTS over TLS."""
    served = serve("--behind-proxy", "--name", "hall.example", sign_in=True)
    said = {"X-Forwarded-For": "192.0.2.7", "X-Forwarded-Proto": "http", "Host": "hall.example"}
    answer = httpx.get(served.url + "/api/v1/session", headers=said)
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/needs-tls")
    answer = httpx.get(served.url + "/api/v1/session", headers={**said, "X-Forwarded-Proto": "https"})
    assert answer.status_code == 200
    assert "strict-transport-security" in answer.headers
