"""The command line of the proof and of rehearsals, without its parsing: what is run, printed and answered."""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO
from zoneinfo import ZoneInfo

import structlog

from roomlink.drivers.registry import Registry
from roomlink.errors import RoomlinkError, VenueFault
from roomlink.journal.copying import consistent_copy
from roomlink.journal.sqlite import SqliteJournal
from roomlink.rehearsal.junit import junit
from roomlink.rehearsal.proof import Progress, Proof, prove
from roomlink.rehearsal.recording import cut, of_counterexample, stamp_of
from roomlink.rehearsal.runner import Result, rehearse
from roomlink.rehearsal.scenario import scenarios_of
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue.load import load

OK, FINDINGS, USAGE = 0, 1, 2
BAR = 32


@contextmanager
def unlogged() -> Iterator[None]:
    """The log of what is rehearsed is nobody's log: what matters is in the results."""
    before = structlog.get_config()
    structlog.configure(logger_factory=structlog.ReturnLoggerFactory(), processors=[_drop])
    try:
        yield
    finally:
        structlog.configure(**before)


def _drop(_logger: object, _name: str, _event: object) -> Any:
    raise structlog.DropEvent


def bar(to: TextIO) -> Progress | None:
    """Shows progress on a terminal, and only there."""
    if not to.isatty():
        return None
    shown = [0.0]

    def show(done: int, of: int) -> None:
        now = time.monotonic()
        if done < of and now - shown[0] < 0.1:
            return
        shown[0] = now
        full = BAR * done // max(1, of)
        to.write(f"\rproving [{'#' * full}{'.' * (BAR - full)}] {done:,} of {of:,} arrangements")
        to.write("\n" if done >= of else "")
        to.flush()

    return show


def prove_and_keep(data: Mapping[str, Any], folder: Path) -> tuple[Proof, Path | None]:
    """Prove a loaded venue's arrangements; a counterexample is kept as a scenario, ready to run, and its path given."""
    proof = prove(data, progress=bar(sys.stderr))
    if proof.failure is None:
        return proof, None
    kept = folder / "rehearsals" / f"broken-{proof.failure.rule}.yaml"
    kept.parent.mkdir(exist_ok=True)
    kept.write_text(of_counterexample(proof.failure, data["venue"]["name"]))
    return proof, kept


def proof_data(proof: Proof, kept: Path | None) -> dict[str, Any]:
    """Plain JSON data of a proof."""
    failure = proof.failure
    return {
        "walls": proof.walls,
        "arrangements": proof.arrangements,
        "of": proof.of,
        "transitions": proof.transitions,
        "commands": proof.commands,
        "holds": failure is None,
        "rule": None if failure is None else failure.rule,
        "counterexample": None if failure is None else str(failure),
        "scenario": None if kept is None else str(kept),
    }


def proof_text(proof: Proof, kept: Path | None) -> list[str]:
    """What came of a proof, in words."""
    if kept is None:
        return [f"proved: {proof}"]
    return [f"not proved: {proof}", "", f"Kept as {kept}: run it with roomlink rehearse."]


def run_rehearse(folder: Path, chosen: Sequence[str], *, junit_to: Path | None = None, as_json: bool = False) -> int:
    """Run the scenarios named (files, or names within the venue's ``rehearsals``), or all of them."""
    known = {path.stem: path for path in scenarios_of(folder)}
    paths = [known.get(one, Path(one)) for one in chosen]
    if not paths and not known:
        print(f"roomlink: {folder / 'rehearsals'} has no scenario; write one, or name a file", file=sys.stderr)
        return FINDINGS
    try:
        with unlogged():
            results = rehearse(folder, paths, told=(lambda result: None) if as_json else _tell)
    except VenueFault as fault:
        print(*fault.findings, sep="\n", file=sys.stderr)
        return FINDINGS
    if as_json:
        print(json.dumps([result.as_data() for result in results], indent=2))
    else:
        failed = sum(not result.passed for result in results)
        print(f"{len(results) - failed} passed, {failed} failed")
    if junit_to is not None:
        junit_to.write_text(junit(results, folder.name))
    return OK if all(result.passed for result in results) else FINDINGS


def _tell(result: Result) -> None:
    print(result, flush=True)


def run_cut(folder: Path, journal: Path, start: str, end: str, out: Path | None) -> int:
    """Cut a scenario from a stored journal (its file or folder)."""
    if out is None:
        print("roomlink: --from-journal needs --out FILE, the scenario to write", file=sys.stderr)
        return USAGE
    path = journal / "journal.db" if journal.is_dir() else journal
    if not path.is_file():
        print(f"roomlink: there is no journal {path}", file=sys.stderr)
        return FINDINGS
    try:
        spec = load(folder, DriverRules(Registry.of())).spec
        zone = ZoneInfo(spec.timezone)
        since, until = stamp_of(start, zone), stamp_of(end, zone)
        with tempfile.TemporaryDirectory() as aside:
            # A copy, as a service may be writing to the journal, and opening it would be refused.
            consistent_copy(path, Path(aside) / path.name)
            stored = SqliteJournal(Path(aside) / path.name, spec.id)
            try:
                entries = cut(stored, since, until, out)
            finally:
                stored.close()
    except RoomlinkError as error:
        print(f"roomlink: {error}", file=sys.stderr)
        return FINDINGS
    print(f"{entries} entries written to {out}")
    return OK
