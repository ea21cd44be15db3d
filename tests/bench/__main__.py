"""``python -m tests.bench [NAME ...]``: run these measurements, or all."""

from __future__ import annotations

import importlib
import pkgutil
import sys

from tests import bench

NAMES = [module.name for module in pkgutil.iter_modules(bench.__path__) if not module.name.startswith("_")]

chosen = sys.argv[1:] or NAMES
unknown = [name for name in chosen if name not in NAMES]
if unknown:
    sys.exit(f"there is no measurement {', '.join(unknown)}; there is {', '.join(NAMES)}")
for name in chosen:
    module = importlib.import_module(f"tests.bench.{name}")
    if hasattr(module, "main"):
        print(f"\n{name}: {(module.__doc__ or '').splitlines()[0]}")
        module.main()
