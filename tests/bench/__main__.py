"""``python -m tests.bench [--json FILE] [NAME ...]``: run these measurements, or all.

With ``--json`` what is found is put into FILE, in the place of what the same measurements found before.
``ROOMLINK_BENCH_QUICK=1`` makes each as small as it can be: it shows that they run, and its figures mean nothing.
"""

from __future__ import annotations

import argparse
import importlib
import pkgutil
import time
from pathlib import Path

from tests import bench
from tests.bench import _figures as figures

NAMES = [module.name for module in pkgutil.iter_modules(bench.__path__) if module.name[0] != "_"]


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Measure, each beside its floor.")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one of {', '.join(NAMES)}; all if none is given")
    parser.add_argument("--json", type=Path, metavar="FILE", help="put what is found into this file")
    given = parser.parse_args()
    if unknown := [name for name in given.names if name not in NAMES]:
        parser.error(f"there is no measurement {', '.join(unknown)}; there is {', '.join(NAMES)}")
    print(", ".join(f"{name} {said}" for name, said in figures.machine().items()))
    for name in given.names or NAMES:
        module = importlib.import_module(f"tests.bench.{name}")
        begun, before = time.monotonic(), figures.load()
        print(f"\n{name}: {(module.__doc__ or '').splitlines()[0]}", flush=True)
        found = module.main()
        for one in found:
            print(f"  {figures.line(one)}", flush=True)
        print(f"  in {time.monotonic() - begun:.0f} s; load average {before:.1f} to {figures.load():.1f}", flush=True)
        if given.json is not None and found:
            figures.stored(name, found, before, given.json)


if __name__ == "__main__":
    main()
