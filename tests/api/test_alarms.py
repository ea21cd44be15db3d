"""Alarms over HTTP and sockets, with the demo venue and its simulated equipment in a process of its own."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from websockets.sync.client import ClientConnection, connect

from tests.api.harness import Served
from tests.api.test_equipment import DEMO, until

PICTURE = "device-lost/picture"


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    served = Served(DEMO, None)
    try:
        yield served
    finally:
        served.stop()


@pytest.fixture
def client(served: Served) -> Iterator[httpx.Client]:
    """With the picture rack plugged in and nothing left of what was tried before."""
    with httpx.Client(base_url=f"{served.url}/api/v1") as client:
        until(lambda: all(d["up"] for d in client.get("/devices").json()["devices"].values()))
        yield client
        client.delete(f"/alarms/{PICTURE}/out-of-service")
        client.post(f"/alarms/{PICTURE}/unshelve")
        plugged(client, True)
        client.post(f"/alarms/{PICTURE}/acknowledge")


def plugged(client: httpx.Client, there: bool) -> None:
    client.put("/simulated-devices/picture", json={"plugged": there})
    until(lambda: client.get("/devices").json()["devices"]["picture"]["up"] is there)
    until(lambda: alarm(client).get("stands", False) is not there)


def alarm(client: httpx.Client) -> dict[str, Any]:
    found: list[dict[str, Any]] = client.get("/alarms").json()["alarms"]
    return next((one for one in found if one["alarm"] == PICTURE), {})


def test_an_alarm_is_listed_with_what_it_concerns_until_it_is_acknowledged_and_over(client: httpx.Client) -> None:
    """Who acknowledged it is told; the name works with its slash as it is, or as %2F."""
    plugged(client, False)
    found = alarm(client)
    assert (found["state"], found["priority"], found["device"]) == ("unacknowledged", "low", "picture")
    assert found["zones"] == ["heron", "plover", "tern", "curlew"]
    assert "heron-wall" in found["controllers"]
    done = client.post("/alarms/device-lost%2Fpicture/acknowledge")
    assert (done.status_code, done.json()["state"]) == (200, "acknowledged")
    assert alarm(client)["by"] != ""
    plugged(client, True)
    assert alarm(client) == {}


def test_one_that_was_not_acknowledged_stays_when_it_is_over(client: httpx.Client) -> None:
    """Somebody has to say that it was seen."""
    plugged(client, False)
    plugged(client, True)
    assert alarm(client)["state"] == "returned"
    assert client.post(f"/alarms/{PICTURE}/acknowledge").json()["state"] == "normal"
    assert alarm(client) == {}


def test_an_alarm_is_shelved_for_a_time_and_taken_out_of_service(client: httpx.Client) -> None:
    """With a reason each; a dry run does nothing."""
    plugged(client, False)
    body = {"for": 900, "why": "a fitter is at it"}
    dry = client.post(f"/alarms/{PICTURE}/shelve?dry_run=true", json=body).json()
    assert (dry["events"][0]["cause"], alarm(client)["state"]) == ("shelve", "unacknowledged")
    assert client.post(f"/alarms/{PICTURE}/shelve", json=body).json()["state"] == "shelved"
    assert alarm(client)["until"] > alarm(client)["since"]
    assert client.post(f"/alarms/{PICTURE}/unshelve").json()["state"] == "unacknowledged"
    out = client.post(f"/alarms/{PICTURE}/out-of-service", json={"why": "away for repair"})
    assert (out.json()["state"], alarm(client)["why"]) == ("out-of-service", "away for repair")
    assert client.delete(f"/alarms/{PICTURE}/out-of-service").json()["state"] == "unacknowledged"


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "kind"),
    [
        ("POST", f"{PICTURE}/acknowledge", None, 409, "alarm-state"),
        ("POST", f"{PICTURE}/unshelve", None, 409, "alarm-state"),
        ("DELETE", f"{PICTURE}/out-of-service", None, 409, "alarm-state"),
        ("POST", f"{PICTURE}/shelve", {"for": 900, "why": "x"}, 409, "alarm-state"),
        ("POST", f"{PICTURE}/shelve", {"for": 1, "why": "x"}, 422, "bad-value"),
        ("POST", f"{PICTURE}/shelve", {"for": 900}, 422, "bad-value"),
        ("POST", f"{PICTURE}/out-of-service", {"why": " "}, 422, "bad-value"),
        ("POST", "device-lost/painting/acknowledge", None, 404, "unknown-name"),
        ("POST", "acknowledge", None, 404, "not-found"),
    ],
)
def test_what_cannot_be_done_is_refused(
    client: httpx.Client, method: str, path: str, body: dict[str, Any] | None, status: int, kind: str
) -> None:
    """With a kind that programs know."""
    answer = client.request(method, f"/alarms/{path}", json=body)
    assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{kind}")


def heard(socket: ClientConnection, member: str) -> Any:
    """The next message that has that member: of the controller's face on a panel."""
    while True:
        message = json.loads(socket.recv(timeout=4))
        for part in (message, message.get("controller") or {}):
            if member in part:
                return part[member]


def test_watchers_hear_all_of_it_and_panels_what_concerns_them(served: Served, client: httpx.Client) -> None:
    """The foyer has no picture: its panel hears nothing. No panel is told a name."""
    base = f"ws{served.url[4:]}/api/v1"
    with (
        connect(f"{base}/watch") as watch,
        connect(f"{base}/panels/heron-wall") as heron,
        connect(f"{base}/panels/foyer-wall") as foyer,
    ):
        assert [heard(s, "alarms") for s in (heron, foyer)] == [[], []]
        assert PICTURE not in heard(watch, "alarms")
        plugged(client, False)
        assert heard(watch, "alarms")[PICTURE]["state"] == "unacknowledged"
        (told,) = heard(heron, "alarms")
        assert (told["kind"], told["zones"]) == ("other", ["heron"])
        with pytest.raises(TimeoutError):
            foyer.recv(timeout=0.3)
        client.post(f"/alarms/{PICTURE}/shelve", json={"for": 900, "why": "known"})
        assert heard(heron, "alarms") == []
        assert heard(watch, "alarms")[PICTURE]["why"] == "known"


def test_metrics_count_alarms_by_state_and_priority(served: Served, client: httpx.Client) -> None:
    """And how many there were of late."""
    plugged(client, False)
    text = httpx.get(f"{served.url}/metrics").text
    assert 'roomlink_alarms{priority="low",state="unacknowledged"} 1.0' in text
    assert float(text.partition("\nroomlink_alarms_raised ")[2].split("\n")[0]) >= 1.0
