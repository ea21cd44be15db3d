"""What lies in ``deploy/``: held against what the service really takes, says and tells."""

from __future__ import annotations

import configparser
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import trustme
from prometheus_client.parser import text_string_to_metric_families
from ruamel.yaml import YAML

from roomlink import limits
from roomlink.cli import parser
from roomlink.runtime.metrics import Metrics
from tests.api.harness import Served, write_venue

DEPLOY = Path(__file__).resolve().parent.parent / "deploy"
UNIT = DEPLOY / "roomlink.service"


class Unit(configparser.RawConfigParser):
    """A unit file: names keep their capitals, and one that is said again adds to itself."""

    def __init__(self) -> None:
        super().__init__(strict=False, delimiters=("=",), comment_prefixes=("#",), interpolation=None)

    def optionxform(self, optionstr: str) -> str:
        return optionstr


@pytest.fixture
def service() -> configparser.SectionProxy:
    unit = Unit()
    unit.read_string(UNIT.read_text())
    return unit["Service"]


def test_the_unit_starts_what_there_is(service: configparser.SectionProxy) -> None:
    """Its options are options of `serve`, and its data lie where systemd lets it write."""
    _, *words = service["ExecStart"].split()
    given = parser().parse_args(words)
    assert given.data == Path("/var/lib") / service["StateDirectory"]
    assert not given.open
    names = re.findall(r"server_name (\S+);", (DEPLOY / "nginx.conf").read_text())
    assert (given.behind_proxy, set(given.name)) == (True, set(names))
    assert service["ExecReload"] == "/bin/kill -HUP $MAINPID"


def test_the_unit_waits_to_be_told_and_watches(service: configparser.SectionProxy) -> None:
    """Ready when the service says so; killed and started again when it falls silent, but not for a slow moment."""
    assert (service["Type"], service["NotifyAccess"], service["Restart"]) == ("notify", "main", "always")
    assert "AF_UNIX" in service["RestrictAddressFamilies"].split()
    assert int(service["WatchdogSec"].removesuffix("s")) / 2 > 10 * limits.LAG_S_MAX


def test_the_unit_gives_the_service_nothing_that_it_does_not_need(service: configparser.SectionProxy) -> None:
    """No root, no capability, nothing to write to but its own folder; descriptors for everybody who only knocks."""
    assert (service["DynamicUser"], service["NoNewPrivileges"]) == ("yes", "yes")
    assert (service["ProtectSystem"], service["ProtectHome"], service["PrivateDevices"]) == ("strict", "yes", "yes")
    assert service["CapabilityBoundingSet"] == ""
    assert int(service["LimitNOFILE"]) > 2 * limits.UNFINISHED_REQUESTS_MAX


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not installed")
def test_systemd_finds_the_unit_well_hardened(tmp_path: Path) -> None:
    """By its own measure: at most 2 of 10; and it knows every word in it."""
    here = tmp_path / "roomlink.service"
    here.write_text(UNIT.read_text().replace("/opt/roomlink/bin/roomlink", "/bin/true"))
    verified = subprocess.run(["systemd-analyze", "verify", here], capture_output=True, text=True, timeout=30.0)
    assert "roomlink" not in verified.stderr
    command = ["systemd-analyze", "security", "--offline=true", "--threshold=20", str(here)]
    judged = subprocess.run(command, capture_output=True, text=True, timeout=30.0)
    assert judged.returncode == 0, judged.stdout[-500:] + judged.stderr


def rules() -> list[dict[str, Any]]:
    data = YAML(typ="safe").load((DEPLOY / "prometheus.yaml").read_text())
    return [rule for group in data["groups"] for rule in group["rules"]]


def exported() -> set[str]:
    """Every name that a scrape gives, and ``up``, which Prometheus makes itself."""
    families = text_string_to_metric_families(Metrics().text().decode())
    found = {"up"}
    for family in families:
        found |= {family.name, *(sample.name for sample in family.samples)}
        if family.type == "histogram":
            found |= {f"{family.name}_{part}" for part in ("bucket", "sum", "count")}
        if family.type == "counter":
            found.add(f"{family.name}_total")
    return found


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: str(rule["alert"]))
def test_each_rule_asks_for_figures_that_there_are(rule: dict[str, Any]) -> None:
    """By their names; and it says to people what is wrong and where to look."""
    words = set(re.findall(r"[a-z][a-z_]+(?=[{\[ ]|$)", re.sub(r'"[^"]*"|\([a-z, ]+\)', "", rule["expr"])))
    figures = {word for word in words if "_" in word or word == "up"} - {"histogram_quantile"}
    assert figures
    assert figures <= exported()
    assert set(rule["annotations"]) == {"summary", "description"}
    assert rule["labels"]["severity"] in ("critical", "warning", "info")


@pytest.mark.parametrize(("writing", "told"), [(0, "RoomlinkNobodyWrites"), (1, None), (2, "RoomlinkSeveralWrite")])
def test_it_is_told_when_no_node_writes_or_more_than_one_does(writing: int, told: str | None) -> None:
    """By what three nodes say of one venue, added up; a venue beside it, with one that writes, does not hide it."""
    nodes = [Metrics() for _ in range(3)]
    for place, node in enumerate(nodes):
        node.writes("hall", lambda place=place: place < writing)  # type: ignore[misc]  # a default is not inferred
        node.writes("annex", lambda place=place: place == 0)  # type: ignore[misc]
    sums: dict[str, float] = {}
    for node in nodes:
        for family in text_string_to_metric_families(node.text().decode()):
            for sample in (one for one in family.samples if one.name == "roomlink_writes"):
                sums[sample.labels["venue"]] = sums.get(sample.labels["venue"], 0.0) + sample.value
    found = set()
    for rule in rules():
        asks = re.fullmatch(r'sum by \(venue\) \(roomlink_writes\{job="roomlink"\}\) (==|>) (\d)', rule["expr"])
        for venue, count in sums.items() if asks else ():
            if {"==": count == int(asks[2]), ">": count > int(asks[2])}[asks[1]]:  # type: ignore[index]
                found.add((rule["alert"], venue))
    assert found == ({(told, "hall")} if told else set())


def test_figures_are_named_as_prometheus_asks() -> None:
    """One prefix, base units, and a help text for each."""
    for family in text_string_to_metric_families(Metrics().text().decode()):
        assert family.documentation
        if not family.name.startswith("process_"):
            assert re.fullmatch(r"roomlink_[a-z_]+", family.name)
            assert family.type != "histogram" or family.name.endswith("_seconds")


def test_the_container_runs_what_there_is(tmp_path: Path) -> None:
    """Not as root, with the checkout's own files, and asked whether it is ready; two stages, the last without tools."""
    lines = re.sub(r"\\\n", " ", (DEPLOY / "Containerfile").read_text()).splitlines()
    words = [line.split(maxsplit=1) for line in lines if line and not line.startswith("#")]
    stages = [rest for word, rest in words if word == "FROM"]
    assert stages == ["python:3.11-slim AS build", "python:3.11-slim"]
    assert [rest for word, rest in words if word == "USER"] == ["10001"]
    for rest in (rest for word, rest in words if word == "COPY" and not rest.startswith("--from")):
        for source in rest.split()[:-1]:
            assert (DEPLOY.parent / source).exists(), source
    entry = next(rest for word, rest in words if word == "ENTRYPOINT")
    given = parser().parse_args([*json.loads(entry)[1:], "--name", "hall.example"])
    assert given.data == Path("/data")
    served = [rest for word, rest in words if word == "EXPOSE"]
    assert [str(given.port)] == served
    # What the entry point says is taken as it is: it listens to others, and so with a certificate.
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    issued = trustme.CA().issue_cert("hall.example")
    cert.write_bytes(b"".join(part.bytes() for part in issued.cert_chain_pems))
    key.write_bytes(issued.private_key_pem.bytes())
    assert (given.cert, given.key) == (Path("/tls/cert.pem"), Path("/tls/key.pem"))
    options = ["--host", given.host, "--cert", str(cert), "--key", str(key), "--name", *given.name]
    service = Served(write_venue(tmp_path / "venue"), tmp_path / "data", *options, sign_in=True)
    try:
        check = next(rest for word, rest in words if word == "HEALTHCHECK")
        script = json.loads(check[check.index("CMD") + 3 :])[2].replace(str(given.port), service.url.rpartition(":")[2])
        assert subprocess.run([sys.executable, "-c", script], timeout=10.0).returncode == 0
    finally:
        service.stop()
    assert subprocess.run([sys.executable, "-c", script], stderr=subprocess.DEVNULL, timeout=10.0).returncode != 0


def test_the_operators_index_leads_to_what_is_there() -> None:
    """Every file of the folder is named in it, and every name leads somewhere."""
    text = (DEPLOY / "README.md").read_text()
    linked = set(re.findall(r"\]\(([^)#:]+)\)", text))
    assert linked == {path.name for path in DEPLOY.iterdir()} - {"README.md"}
