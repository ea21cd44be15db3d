"""``service`` and its disk: full, hanging, damaged, backed up and restored while people use it."""

from __future__ import annotations

import asyncio
import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from roomlink import service as service_module
from roomlink import serving
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.port import Journal
from roomlink.runtime import duties
from roomlink.service import Options, Service
from roomlink.testing.faults import FaultyJournal
from tests.api.harness import HARBOUR, WITHIN_S, Panel, Served, write_venue
from tests.test_service import logged

Serve = Callable[..., Served]


@contextmanager
def full(served: Served, data: Path) -> Iterator[None]:
    """While inside, there is no more room for the journal: on a small file system, or by a bound for files."""
    if data.is_mount():
        filler = data / "filler"
        with filler.open("wb", buffering=0) as file:
            try:
                while True:
                    file.write(b"x" * 4096)
            except OSError:
                pass
        yield
        filler.unlink()
        return
    _, hard = resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (4096, hard))
    yield
    resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (hard, hard))


@pytest.fixture(params=["mounted", "bounded"])
def data(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    """A data folder; where it may be mounted one on a file system of 1 MB."""
    place = tmp_path / "data"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "none", str(place)]
    mounted = request.param == "mounted" and subprocess.run(mount, capture_output=True, check=False).returncode == 0
    yield place
    if mounted:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def ready(served: Served) -> httpx.Response:
    return httpx.get(served.url + "/readyz", timeout=WITHIN_S)


async def until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(WITHIN_S):
        while not await asyncio.to_thread(true):  # noqa: ASYNC110 - another process sets no event of ours
            await asyncio.sleep(0.05)


async def test_a_full_disk_refuses_orders_tells_panels_and_comes_right_by_itself(serve: Serve, data: Path) -> None:
    """Nothing jumps, releases are not refused, and afterwards the alarm is on record and over."""
    served = serve(data=data)
    async with served.panel() as panel:
        assert "trouble" not in panel.heard[0]
        assert (await panel.act("volume", "set", value=-20))["type"] == "ok"
        before = served.get("/state")
        with full(served, data):
            problem = None
            for value in range(-60, 0):  # what the log has room for is still taken
                answer = await panel.act("volume", "set", value=value)
                if answer["type"] == "problem":
                    problem = answer["problem"]
                    break
                before = served.get("/state")
            assert problem is not None
            assert (problem["status"], problem["type"]) == (503, "/problems/journal-failed")
            assert "could not be written" in problem["detail"]
            trouble = await panel.until("trouble")
            assert "orders are refused" in trouble["why"]
            assert ready(served).status_code == 503
            after = served.get("/state")
            assert after["zones"] == before["zones"]
            async with served.panel("plover-wall") as late:
                assert late.heard[0]["trouble"] == trouble["why"]
        assert (await panel.until("trouble"))["why"] == ""
        await until(lambda: ready(served).status_code == 200)
        assert (await panel.act("volume", "set", value=-33))["type"] == "ok"
    events = [event for entry in served.get("/events?limit=1000")["events"] for event in entry["events"]]
    raised = [event for event in events if "alarm" in event["type"] and event.get("alarm") == "journal"]
    assert raised, "the alarm is on record"
    last = served.get("/state")["seq"]
    served.signal(signal.SIGTERM)
    assert await asyncio.to_thread(served.wait) == 0
    again = serve(data=data)
    assert again.get("/zones/heron")["controls"]["volume"]["value"] == -33.0
    assert again.get("/state")["seq"] >= last


class Watched(FaultyJournal):
    closed = False

    def close(self) -> None:
        self.closed = True
        super().close()


class Hanging(Service):
    """A service whose disk does not answer any more when told."""

    def __init__(self, options: Options) -> None:
        super().__init__(options)
        self.disk = Watched(MemoryJournal())

    def _journal(self) -> Journal:
        return self.disk


async def test_a_disk_that_hangs_does_not_keep_it_from_stopping(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Within a bound; what hangs is left to the system, and its journal is not closed under it."""
    monkeypatch.setattr(service_module, "DISK_S", 0.3)
    monkeypatch.setattr(duties, "STOP_S", 0.3)
    monkeypatch.setattr(serving, "SHUTDOWN_S", 1)
    served = Hanging(Options(folder, port=0, open=True))
    running = asyncio.create_task(served.run())
    await until(lambda: served._server is not None and served._server.started)
    served.disk.pause()
    assert served._server is not None
    url = f"http://127.0.0.1:{served._server.servers[0].sockets[0].getsockname()[1]}/api/v1/zones/heron/actions"
    async with httpx.AsyncClient() as client:
        order = asyncio.create_task(client.post(url, json={"control": "volume", "do": "set", "value": -20}))
        await until(lambda: served.disk.appends > 1)
        began = time.monotonic()
        served.stop()
        async with asyncio.timeout(2 * WITHIN_S):
            await running
        assert 0.3 <= time.monotonic() - began < WITHIN_S
        assert not served.disk.closed
        await asyncio.gather(order, return_exceptions=True)
    served.disk.go_on()


def alarms(served: Served) -> dict[str, Any]:
    found: dict[str, Any] = {alarm["alarm"]: alarm for alarm in served.get("/alarms")["alarms"]}
    return found


async def test_a_refused_reload_is_an_alarm_until_one_is_taken(serve: Serve, folder: Path) -> None:
    """So that somebody learns of it who does not read logs."""
    served = serve()
    write_venue(folder, HARBOUR.replace("home: tern", "home: attic"))
    served.signal(signal.SIGHUP)
    await until(lambda: "configuration" in alarms(served))
    text = alarms(served)["configuration"]["text"]
    assert "was refused, and the one before goes on" in text
    assert "attic" in text
    write_venue(folder, HARBOUR)
    served.signal(signal.SIGHUP)
    await until(lambda: alarms(served).get("configuration", {}).get("active") is not True)


async def test_a_damaged_log_is_an_alarm_after_the_start(serve: Serve, tmp_path: Path) -> None:
    """With what was lost, what is kept and what to do; the next whole start ends it."""
    served = serve()
    for value in range(8):
        served.call("POST", "/zones/heron/actions", {"control": "volume", "do": "set", "value": -value})
    served.signal(signal.SIGKILL)
    await asyncio.to_thread(served.wait)
    log = tmp_path / "data" / "journal.db-wal"
    content = bytearray(log.read_bytes())
    content[len(content) // 2] ^= 0xFF
    log.write_bytes(content)
    served = serve()
    assert await asyncio.to_thread(logged, served, "are no longer in journal.db")
    text = alarms(served)["journal-found"]["text"]
    assert "restore a newer backup" in text
    assert list((tmp_path / "data").glob("journal.db.damaged-*-wal"))
    served.signal(signal.SIGTERM)
    await asyncio.to_thread(served.wait)
    served = serve()
    assert alarms(served).get("journal-found", {}).get("active") is not True


def roomlink(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "roomlink", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)


async def test_a_backup_of_a_running_service_brings_everything_back(serve: Serve, folder: Path, tmp_path: Path) -> None:
    """By the command and as a download; panels that were away notice that it is another journal."""
    served = serve()
    async with served.panel() as panel:
        journal = panel.heard[0]["journal"]
        await panel.act("volume", "set", value=-20)
        made = await asyncio.to_thread(roomlink, "backup", tmp_path / "data", "--out", tmp_path / "b.zip")
        assert (made.returncode, made.stderr) == (0, "")
        assert "Harbour Hall, everything up to entry" in made.stdout
        assert "not in it" not in made.stdout
        async with httpx.AsyncClient() as client:
            answer = (await client.get(served.url + "/api/v1/backup")).raise_for_status()
        (tmp_path / "download.zip").write_bytes(answer.content)
        assert answer.headers["content-type"] == "application/zip"
        await until(lambda: not list((tmp_path / "data").glob(".download-*")))
        seq = (await panel.act("volume", "set", value=-50))["seq"]
        held = await asyncio.to_thread(roomlink, "restore", tmp_path / "b.zip", "--data", tmp_path / "data")
        assert held.returncode == 1
        assert "holds the journal" in held.stderr
    write_venue(folder, HARBOUR.replace("Harbour Hall", "Harbour House"))
    later = await asyncio.to_thread(roomlink, "backup", tmp_path / "data", "--out", tmp_path / "later.zip", "--json")
    said = json.loads(later.stdout)
    assert said["notes"] == ["The folder was changed since it was last served; it is in the backup as it is now."]
    assert sorted(said["parts"]) == ["configuration/venue.yaml", "journal.db"]
    served.signal(signal.SIGTERM)
    await asyncio.to_thread(served.wait)
    write_venue(folder, "changed: beyond repair")
    for file in ("b.zip", "download.zip"):
        back = await asyncio.to_thread(
            roomlink, "restore", tmp_path / file, "--data", tmp_path / "data", "--folder", folder
        )
        assert back.returncode == 0, back.stderr
        assert back.stdout.count("is kept as") == 2
        assert (folder / "venue.yaml").read_text() == HARBOUR
    served = serve()
    assert served.get("/zones/heron")["controls"]["volume"]["value"] == -20.0
    async with served.socket(f"/panels/heron-wall?after={seq}&journal={journal}") as socket:
        welcome = await Panel(socket).next()
    assert welcome["resumed"] is False
    assert welcome["journal"] != journal


def test_what_cannot_be_restored_says_why_and_touches_nothing(tmp_path: Path) -> None:
    """Status 1, one sentence, no traceback."""
    (tmp_path / "b.zip").write_bytes(os.urandom(2000))
    back = roomlink("restore", tmp_path / "b.zip", "--data", tmp_path / "data", "--json")
    assert (back.returncode, back.stdout) == (1, "")
    assert "is no backup, or it was cut short" in back.stderr
    assert "Traceback" not in back.stderr
    assert not (tmp_path / "data").exists()
