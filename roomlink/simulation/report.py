"""The command line of the simulation, without its parsing: seeds are run, told, and counted."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from roomlink.drivers.registry import Registry
from roomlink.errors import RoomlinkError, VenueFault
from roomlink.runtime.device_rules import DriverRules
from roomlink.simulation.run import Outcome, evening, simulate
from roomlink.venue.load import load

OK, FINDINGS = 0, 1


def run_simulate(folder: Path | None, seed: int, seeds: int, hours: float, *, as_json: bool = False) -> int:
    """Run ``seeds`` seeds from ``seed`` on, ``hours`` simulated hours each, in random venues or that of ``folder``."""
    data: Mapping[str, Any] | None = None
    if folder is not None:
        try:
            data = load(folder, DriverRules(Registry.of())).data
        except VenueFault as fault:
            print(*fault.findings, sep="\n", file=sys.stderr)
            return FINDINGS
        except RoomlinkError as error:
            print(f"roomlink: {error}", file=sys.stderr)
            return FINDINGS
    began = time.monotonic()
    outcomes: list[Outcome] = []
    for one in range(seed, seed + seeds):
        _progress(len(outcomes), seeds)
        outcomes.append(simulate(evening(one, hours, data)))
        if outcomes[-1].failure is not None and not as_json:
            _progress(None, seeds)
            print(outcomes[-1], flush=True)
    _progress(None, seeds)
    return _tell(outcomes, time.monotonic() - began, as_json=as_json)


def _tell(outcomes: list[Outcome], seconds: float, *, as_json: bool) -> int:
    failed = [outcome for outcome in outcomes if outcome.failure is not None]
    if as_json:
        print(json.dumps([outcome.as_data() for outcome in outcomes], indent=2))
    else:
        hours, steps = sum(o.hours for o in outcomes), sum(o.steps for o in outcomes)
        held = f"{len(outcomes) - len(failed)} of {len(outcomes)} seeds held every rule"
        print(f"{held}: {hours:,.1f} simulated hours, {steps:,} steps, in {seconds:.1f} s")
    return FINDINGS if failed else OK


def _progress(done: int | None, of: int) -> None:
    """On a terminal, and only there; None takes it away."""
    if sys.stderr.isatty():
        sys.stderr.write("\r\033[K" if done is None else f"\rsimulating, {done} of {of} seeds done")
        sys.stderr.flush()
