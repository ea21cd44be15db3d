"""The shape of the code, held by reading it: import direction, banned calls in the core, sizes, addresses."""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "roomlink"
MODULES = sorted(PACKAGE.rglob("*.py"))

ORDER = (
    ("errors", "limits"),
    ("core",),
    ("venue", "journal", "drivers", "diary"),
    ("runtime",),
    ("testing",),
    ("rehearsal", "api"),
    ("simulation",),
    ("serving",),
    ("service",),
    ("node",),
    ("serve_command", "carry_command"),
    ("cli",),
    ("__main__",),
)
"""Each layer may import itself (its own part of it) and the layers before it."""
RANK = {part: rank for rank, parts in enumerate(ORDER) for part in parts}

CORE_STDLIB = {
    "__future__", "bisect", "collections", "dataclasses", "datetime", "functools", "hashlib", "heapq", "itertools",
    "json", "math", "statistics", "typing", "zoneinfo",
}  # fmt: skip
BANNED_IN_CORE = {"open", "print", "input", "exec", "eval", "now", "today", "utcnow", "time", "monotonic", "random"}

HOMES = {
    "starlette": ("api/", "simulation/clients.py"),
    "apscheduler": ("runtime/",),
    "sqlite3": ("journal/sqlite.py", "journal/"),
    "uvicorn": ("serving.py", "service.py", "api/"),
    "asyncio": ("runtime/", "api/", "drivers/", "service.py", "node.py", "cli.py", "testing/", "simulation/",
                "journal/natslink.py", "journal/jetstream.py"),
    "nats": ("journal/", "runtime/cluster/"),
}  # fmt: skip
"""Where alone a library may be imported."""

LINES_MAX = 400
FUNCTION_LINES_MAX = 60


def part(path: Path) -> str:
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{name.name}" for name in node.names)


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_imports_go_one_way(path: Path) -> None:
    """A module imports only its own part of the package and the layers before it."""
    own = part(path)
    if own == "__init__":
        return
    for name in imports(path):
        if name.startswith("roomlink."):
            other = name.split(".")[1]
            if other in ("__version__", own):
                continue
            assert other in RANK, f"{name}: give {other} a place in ORDER"
            assert RANK[other] < RANK[own], f"{named(path)} imports {name}"


@pytest.mark.parametrize("path", sorted((PACKAGE / "core").glob("*.py")), ids=named)
def test_the_core_imports_only_itself_and_the_allowed_standard_library(path: Path) -> None:
    """The core needs nothing that could do input or output, tell the time or throw dice."""
    for name in imports(path):
        top = name.split(".")[0]
        assert top in CORE_STDLIB or name.split(".")[:2] in (
            ["roomlink", "core"],
            ["roomlink", "errors"],
            ["roomlink", "limits"],
        ), f"{named(path)} imports {name}"


@pytest.mark.parametrize("path", sorted((PACKAGE / "core").glob("*.py")), ids=named)
def test_the_core_calls_nothing_that_is_not_pure(path: Path) -> None:
    """No clock, no files, no randomness in the core: time is an input."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Call):
            called = node.func
            name = (
                called.id if isinstance(called, ast.Name) else called.attr if isinstance(called, ast.Attribute) else ""
            )
            assert name not in BANNED_IN_CORE, f"{named(path)}:{node.lineno} calls {name}"
        assert not isinstance(node, ast.AsyncFunctionDef | ast.Await), f"{named(path)}:{getattr(node, 'lineno', 0)}"


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_libraries_stay_where_they_belong(path: Path) -> None:
    """Frameworks and databases are used in their one place."""
    inside = str(path.relative_to(PACKAGE))
    for name in imports(path):
        homes = HOMES.get(name.split(".")[0])
        assert homes is None or inside.startswith(homes), f"{named(path)} imports {name}"


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_modules_and_functions_fit_a_reader(path: Path) -> None:
    """A module is read in one sitting, a function on one screen."""
    text = path.read_text()
    assert len(text.splitlines()) <= LINES_MAX
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno is not None:
            assert node.end_lineno - node.lineno < FUNCTION_LINES_MAX, f"{named(path)}: {node.name}"


def test_every_module_is_imported_somewhere() -> None:
    """No dead modules: each is reached from another one, a test or the command line."""
    texts = "\n".join(p.read_text() for p in [*MODULES, *(ROOT / "tests").rglob("*.py")])
    for path in MODULES:
        if path.stem in ("__init__", "__main__"):
            continue
        dotted = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        package, _, stem = dotted.rpartition(".")
        found = re.search(rf"from {re.escape(dotted)} import|import {re.escape(dotted)}\b", texts)
        listed = re.search(rf"from {re.escape(package)} import \(?[^)]*?\b{stem}\b", texts)
        assert found or listed, f"{named(path)} is imported nowhere"


def test_nothing_committed_names_a_registry_or_a_machine_path() -> None:
    """A clone works anywhere: no registry hosts, no lock files, no paths of one machine."""
    files = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\n")
    # Spelt in pieces, so that this file does not find itself.
    pattern = re.compile("index" + "-url|registry" + r"\.npm|pypi\." + "org|/(work|root|home)" + "/")
    for name in filter(None, files):
        assert not name.endswith((".lock", "package-lock.json")), name
        path = ROOT / name
        if path.suffix in (".png", ".db") or not path.is_file():
            continue
        found = pattern.search(path.read_text(errors="replace"))
        assert not found, f"{name}: {found and found[0]}"
