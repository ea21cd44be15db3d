"""What the HTTP driver does with a real server, beside the contract."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import trustme
from starlette.responses import Response

from roomlink.drivers.http import DRIVER
from roomlink.drivers.http.link import HttpDevice
from roomlink.drivers.port import DeviceFault, PointFault, Value, WireFault
from tests.contracts.driver import until
from tests.drivers.http.peers import POINTS, HttpPeer, drip, flood

VOLUME, MUTE = 'PUT /zones/heron/volume {"level":"{value}","unit":"dB"}', "GET /cgi?mute={value}"


@dataclass
class Talk:
    """A connected device with what it reported; ``serve`` is started by the test."""

    device: HttpDevice
    heard: list[tuple[str, Value]] = field(default_factory=list)


@asynccontextmanager
async def talking(peer: HttpPeer, points: list[dict[str, Any]] | None = None, **keys: Any) -> AsyncIterator[Talk]:
    config = DRIVER.config.model_validate({**peer.config, **keys})
    read = [DRIVER.point.model_validate(point) for point in (POINTS if points is None else points)]
    device = DRIVER.make(config, {DRIVER.point_name(config, point): point for point in read})
    assert isinstance(device, HttpDevice)
    talk = Talk(device)
    try:
        await device.connect(lambda point, value: talk.heard.append((point, value)))
        yield talk
    finally:
        await device.close()


@pytest.fixture
async def peer() -> AsyncIterator[HttpPeer]:
    peer = HttpPeer()
    await peer.start()
    yield peer
    await peer.stop()


async def test_a_value_is_one_request_and_its_success_confirms(peer: HttpPeer) -> None:
    """The server gets method, path and body as the venue wrote them."""
    async with talking(peer) as talk:
        assert await talk.device.send({VOLUME: -20.5, MUTE: "a/b?c&d"}) == {VOLUME, MUTE}
    assert peer.calls == [
        ("PUT", "/zones/heron/volume", {"level": -20.5, "unit": "dB"}),
        ("GET", "/cgi?mute=a/b?c&d", None),
    ]
    assert peer.headers[0]["content-type"] == "application/json"


@pytest.mark.parametrize("status", [301, 307, 400, 403, 404, 409, 422])
async def test_a_refusal_is_the_points_fault(peer: HttpPeer, status: int) -> None:
    """A redirect too: it is not followed."""
    peer.statuses = [status]
    async with talking(peer) as talk:
        with pytest.raises(PointFault, match=str(status)) as caught:
            await talk.device.send({VOLUME: -3.0})
    assert caught.value.point == VOLUME
    assert len(peer.calls) == 1


@pytest.mark.parametrize("status", [401, 500, 503])
async def test_a_device_that_cannot_is_the_devices_fault(peer: HttpPeer, status: int) -> None:
    """It will be tried again; so is one that does not accept us, with the secret read anew."""
    peer.statuses = [status]
    async with talking(peer) as talk:
        with pytest.raises(DeviceFault, match=str(status)):
            await talk.device.send({VOLUME: -3.0})


@pytest.mark.parametrize("status", [408, 429])
async def test_a_request_that_is_put_off_is_made_again(peer: HttpPeer, status: int) -> None:
    """After the time that the device asks for; not for ever."""
    peer.again = "0"
    peer.statuses = [status, status]
    async with talking(peer) as talk:
        assert await talk.device.send({VOLUME: -3.0}) == {VOLUME}
        peer.statuses = [status] * 9
        with pytest.raises(DeviceFault, match=str(status)):
            await talk.device.send({VOLUME: -3.0})
    assert len(peer.calls) == 6


async def test_a_value_that_cannot_be_sent_is_the_points_fault(peer: HttpPeer) -> None:
    """Nothing goes out; nor to a point that is only read."""
    points = [*POINTS, {"report": {"path": "/zones", "member": "zones.0.volume"}}]
    async with talking(peer, points) as talk:
        with pytest.raises(PointFault, match="number"):
            await talk.device.send({VOLUME: float("nan")})
        with pytest.raises(PointFault, match="only read"):
            await talk.device.send({"GET /zones zones.0.volume": 1.0})
    assert peer.calls == []


async def test_a_secret_comes_from_its_file_and_is_never_shown(peer: HttpPeer, tmp_path: Path) -> None:
    """It is read at each connecting."""
    file = tmp_path / "secret"
    file.write_text("Bearer hush\n")
    keys = {"secret_headers": {"Authorization": str(file)}, "headers": {"X-Room": "heron"}}
    async with talking(peer, **keys) as talk:
        await talk.device.send({VOLUME: -3.0})
        assert peer.headers[0]["authorization"] == "Bearer hush"
        assert peer.headers[0]["x-room"] == "heron"
        peer.statuses = [401]
        with pytest.raises(DeviceFault) as caught:
            await talk.device.send({VOLUME: -3.0})
        assert "hush" not in str(caught.value)
    file.write_text("Bearer hüsh\x07")
    with pytest.raises(DeviceFault, match="header") as caught:
        async with talking(peer, **keys):
            pass
    assert "hüsh" not in str(caught.value)


async def test_reports_are_read_at_once_and_again(peer: HttpPeer) -> None:
    """One request serves all points that it reports."""
    peer.report = {"zones": [{"volume": -7, "muted": True}]}
    points: list[dict[str, Any]] = [
        {"report": {"path": "/zones", "member": member}} for member in ("zones.0.volume", "zones.0.muted")
    ]
    async with talking(peer, points, poll="50ms") as talk:
        serve = asyncio.create_task(talk.device.serve())
        assert await until(lambda: peer.reads >= 3, 1)
        assert len(talk.heard) <= 2 * peer.reads
        assert set(talk.heard) == {("GET /zones zones.0.volume", -7), ("GET /zones zones.0.muted", True)}
        serve.cancel()
        await asyncio.gather(serve, return_exceptions=True)


async def test_what_is_read_beside_a_request_to_set_it_is_not_believed(peer: HttpPeer) -> None:
    """It may be older than what was set."""
    async with talking(peer, poll="10s") as talk:
        peer.delay_s = 0.2
        serve = asyncio.create_task(talk.device.serve())
        assert await until(lambda: peer.reads == 1, 1)
        await talk.device.send({VOLUME: -3.0})
        await asyncio.sleep(0.1)
        assert talk.heard == []
        serve.cancel()
        await asyncio.gather(serve, return_exceptions=True)


@pytest.mark.parametrize(
    ("report", "says"),
    [
        (Response(b"\xff{["), "/zones: the answer is not JSON"),
        ({"zones": []}, r"/zones: the answer has no 'zones\.0'"),
        (Response(status_code=404), "404 Not Found to the report /zones"),
        (Response(status_code=302, headers={"location": "/zones"}), "302"),
        (flood(), "bytes"),
        (Response(b"x" * 10, headers={"content-encoding": "gzip"}), "not JSON"),
    ],
    ids=["no JSON", "no member", "not found", "elsewhere", "too much", "packed"],
)
async def test_a_report_that_is_not_there_ends_the_connection(peer: HttpPeer, report: Any, says: str) -> None:
    """An input must not be lost in silence; and no answer fills the memory."""
    peer.report = report
    async with talking(peer) as talk:
        with pytest.raises((DeviceFault, WireFault), match=says):
            await asyncio.wait_for(talk.device.serve(), 3)
        assert talk.heard == []


async def test_a_report_that_is_put_off_is_read_the_next_time(peer: HttpPeer) -> None:
    """Busy is not gone."""
    peer.report = Response(status_code=429)
    async with talking(peer, poll="30ms") as talk:
        serve = asyncio.create_task(talk.device.serve())
        assert await until(lambda: peer.reads >= 2, 1)
        peer.report = {"zones": [{"volume": -7}]}
        assert await until(lambda: talk.heard == [(VOLUME, -7)], 1)
        serve.cancel()
        await asyncio.gather(serve, return_exceptions=True)


@pytest.mark.parametrize("slow", ["late", "drip"])
async def test_an_answer_that_takes_too_long_is_given_up(peer: HttpPeer, slow: str) -> None:
    """Also one whose pieces each come in time."""
    if slow == "late":
        peer.delay_s = 1.0
    else:
        peer.report = drip()
    async with talking(peer, timeout="150ms") as talk:
        with pytest.raises(DeviceFault, match=r"no answer within 0\.15 s"):
            await asyncio.wait_for(talk.device.serve(), 1)
    peer.delay_s = 0.0


async def test_a_device_that_is_gone_is_noticed_without_sending() -> None:
    """Where nothing is read, the driver looks for it."""
    peer = HttpPeer()
    with pytest.raises(DeviceFault, match="cannot be reached"):
        async with talking(peer):
            pass
    await peer.start()
    async with talking(peer, [POINTS[1]], poll="50ms") as talk:
        serve = asyncio.create_task(talk.device.serve())
        await asyncio.sleep(0.12)
        assert not serve.done()
        await peer.stop()
        with pytest.raises(DeviceFault, match="cannot be reached"):
            await asyncio.wait_for(serve, 2)


async def test_over_https_only_a_trusted_device_is_spoken_to(tmp_path: Path) -> None:
    """Trusted by the system, or by the file that the venue names."""
    authority = trustme.CA()
    certificate = authority.issue_cert("127.0.0.1")
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    certificate.private_key_and_cert_chain_pem.write_to_path(str(tmp_path / "server.pem"))
    peer = HttpPeer(ssl_certfile=str(tmp_path / "server.pem"))
    base = peer.config["base"].replace("http:", "https:")
    await peer.start()
    async with talking(peer, base=base, ca_file=str(tmp_path / "ca.pem")) as talk:
        assert await talk.device.send({VOLUME: -3.0}) == {VOLUME}
    async with talking(peer, base=base) as talk:
        with pytest.raises(DeviceFault, match="CERTIFICATE_VERIFY_FAILED"):
            await talk.device.send({VOLUME: -3.0})
    with pytest.raises(DeviceFault, match="cannot be used"):
        async with talking(peer, base=base, ca_file=str(tmp_path / "none.pem")):
            pass
    await peer.stop()


async def test_before_it_is_connected_it_says_so() -> None:
    """And not by some other exception."""
    config = DRIVER.config.model_validate(HttpPeer().config)
    device = DRIVER.make(config, {MUTE: DRIVER.point.model_validate(POINTS[1])})
    with pytest.raises(DeviceFault, match="not connected"):
        await device.send({MUTE: "on"})
