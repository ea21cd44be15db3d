"""``cli``: what the command line takes, says and answers with."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from pathlib import Path

import pytest

import roomlink
from roomlink.cli import main
from tests.api.harness import HARBOUR, write_venue

Out = pytest.CaptureFixture[str]


def run(*args: str) -> subprocess.CompletedProcess[str]:
    """As a person runs it, in a process of its own that ends by itself."""
    return subprocess.run(
        [sys.executable, "-m", "roomlink", *args], capture_output=True, text=True, timeout=20.0, check=False
    )


def said(done: subprocess.CompletedProcess[str]) -> str:
    """What was said on standard error by a service that did not start; one sentence, no traceback."""
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    return done.stderr


@pytest.fixture
def spoilt(folder: Path) -> Path:
    """The venue's folder with two findings."""
    return write_venue(folder, HARBOUR.replace("home: tern", "home: attic").replace("gap: 300ms", "gap: 300"))


def test_a_sound_folder_is_told_so(folder: Path, capsys: Out) -> None:
    """Status 0, and that this is no safety function."""
    assert main(["check", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "nothing found" in out
    assert "not a safety function" in out


def test_findings_have_file_line_and_column(spoilt: Path, capsys: Out) -> None:
    """All at once, each on a line; status 1."""
    assert main(["check", str(spoilt)]) == 1
    lines = capsys.readouterr().out.splitlines()
    text = (spoilt / "venue.yaml").read_text().splitlines()
    line = next(number for number, written in enumerate(text, 1) if "home: attic" in written)
    (found,) = (one for one in lines if "attic" in one)
    assert f"venue.yaml:{line}:{text[line - 1].index('attic') + 1}" in found
    assert any("gap" in one for one in lines)


def test_findings_can_be_read_by_a_program(spoilt: Path, folder: Path, capsys: Out) -> None:
    """As JSON; without errors and warnings when all is well."""
    assert main(["check", "--json", str(spoilt)]) == 1
    told = json.loads(capsys.readouterr().out)
    assert not told["ok"]
    assert told["counts"]["error"] == len(told["findings"]) >= 2
    write_venue(folder)
    assert main(["check", "--json", str(folder)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["ok"]
    assert {finding["severity"] for finding in told["findings"]} <= {"note"}


def test_a_folder_that_is_not_there_is_a_finding(tmp_path: Path, capsys: Out) -> None:
    """For check and for serve: status 1 and a sentence."""
    assert main(["check", str(tmp_path / "nowhere")]) == 1
    assert "nowhere" in capsys.readouterr().out
    done = run("serve", str(tmp_path / "nowhere"), "--port", "0")
    assert done.returncode == 1
    assert "nowhere" in said(done)


def test_an_unsound_folder_is_not_served(spoilt: Path) -> None:
    """Status 1, with the same findings."""
    done = run("serve", str(spoilt), "--port", "0")
    assert done.returncode == 1
    assert "venue.yaml:" in said(done)
    assert "attic" in done.stderr


def test_the_schema_is_printed(capsys: Out) -> None:
    """As JSON that describes a venue."""
    assert main(["schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert "$schema" in schema or "properties" in schema
    assert "zones" in schema["properties"]


@pytest.mark.parametrize(
    "more", [["--open"], ["--open", "--cert", "c", "--key", "k"], [], ["--behind-proxy"]], ids=" ".join
)
@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "hall.example"])
def test_other_machines_are_not_served_openly_or_in_the_clear(
    folder: Path, capsys: Out, host: str, more: list[str]
) -> None:
    """Not without sign-in, and no password travels without TLS: status 2, and what would be right."""
    assert main(["serve", str(folder), "--host", host, *more]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert f"{host} is refused" in err
    assert "127.0.0.1" in err


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--cert", "c"], "--cert and --key belong together"),
        (["--name", "https://hall.example"], "--name takes a host alone"),
        (["--name", "hall.example:8443"], "--name takes a host alone"),
        (["--key", "k"], "--cert and --key belong together"),
        (["--open", "--behind-proxy"], "leave out one of them"),
        (["--host", "0.0.0.0", "--cert", "c", "--key", "k"], "--name hall.example"),
        (["--open", "--new-engineer"], "leave it out, or --new-engineer"),
    ],
    ids=str,
)
def test_arguments_that_would_let_the_wrong_in_are_refused(
    folder: Path, capsys: Out, more: list[str], says: str
) -> None:
    """Before anything is opened: status 2, and what would be right."""
    assert main(["serve", str(folder), *more]) == 2
    assert says in capsys.readouterr().err


def test_a_certificate_that_cannot_be_used_is_told(folder: Path, tmp_path: Path) -> None:
    """Status 1 and a sentence."""
    cert = tmp_path / "c.pem"
    cert.write_text("no certificate")
    done = run("serve", str(folder), "--port", "0", "--cert", str(cert), "--key", str(cert))
    assert done.returncode == 1
    assert f"{cert} and {cert} cannot be used (" in said(done)


def test_a_port_in_use_is_told(folder: Path) -> None:
    """Status 1 and a sentence that names it."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = run("serve", str(folder), "--port", str(port))
    assert done.returncode == 1
    assert f"port {port}" in said(done)


def test_a_data_folder_that_cannot_be_made_is_told(folder: Path, tmp_path: Path) -> None:
    """Status 1 and a sentence that names it."""
    (tmp_path / "file").write_text("")
    done = run("serve", str(folder), "--port", "0", "--data", str(tmp_path / "file"))
    assert done.returncode == 1
    assert said(done).startswith("roomlink: ")
    assert "file" in done.stderr


@pytest.mark.parametrize(
    "args",
    [[], ["dance"], ["serve"], ["serve", "x", "--port", "many"], ["serve", "x", "--port", "70000"], ["check"]],
    ids=" ".join,
)
def test_wrong_usage_is_status_2(args: list[str], capsys: Out) -> None:
    """With the right one."""
    with pytest.raises(SystemExit) as caught:
        main(args)
    assert caught.value.code == 2
    assert "usage: roomlink" in capsys.readouterr().err


def test_the_version_is_the_packages(capsys: Out) -> None:
    """`roomlink --version`."""
    with pytest.raises(SystemExit) as caught:
        main(["--version"])
    assert caught.value.code == 0
    assert capsys.readouterr().out == f"roomlink {roomlink.__version__}\n"


def test_check_needs_no_server(folder: Path) -> None:
    """It starts without what only serving needs."""
    code = (
        "import sys; from roomlink.cli import main; main(['check', sys.argv[1]]);"
        " print(sorted({'uvicorn', 'starlette', 'uvloop'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
