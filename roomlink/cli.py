"""The command line. Exit status 0: all well, 1: findings, 2: usage."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path

import roomlink
from roomlink.errors import RoomlinkError, VenueFault

OK, FINDINGS, USAGE = 0, 1, 2
LOOPBACK = ("127.0.0.1", "localhost", "::1")

CAUTION = (
    "roomlink is not a safety function. Hard-wired protection, local codes, the authority having jurisdiction"
    " and licensed practice come first."
)


def parser() -> argparse.ArgumentParser:
    top = argparse.ArgumentParser(prog="roomlink", description="A soft controller for divisible rooms.", epilog=CAUTION)
    top.add_argument("--version", action="version", version=f"roomlink {roomlink.__version__}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    serve = commands.add_parser("serve", help="run a venue: panels, API, live sockets")
    serve.add_argument("folder", type=Path, metavar="FOLDER", help="the venue's folder of YAML files")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
    serve.add_argument("--port", type=port, default=8080, help="port to listen on; 0 takes a free one (8080)")
    serve.add_argument("--data", type=Path, metavar="DIR", help="folder of the journal; without it nothing is kept")
    serve.add_argument("--open", action="store_true", help="no sign-in; on this machine's own addresses only")
    serve.add_argument("--log", default="info", choices=("debug", "info", "warning", "error"), help="least to log")
    serve.set_defaults(run=run_serve)

    check = commands.add_parser("check", help="prove a venue's folder sound, with file, line and column")
    check.add_argument("folder", type=Path, metavar="FOLDER")
    check.add_argument("--json", action="store_true", help="findings as JSON")
    check.set_defaults(run=run_check)

    schema = commands.add_parser("schema", help="print the JSON Schema of a venue's configuration")
    schema.set_defaults(run=run_schema)
    return top


def port(text: str) -> int:
    number = int(text)
    if not 0 <= number <= 65535:
        raise argparse.ArgumentTypeError(f"{number} is not from 0 to 65535")
    return number


def run_serve(args: argparse.Namespace) -> int:
    # Imported here, so that `check` and `schema` start without the server.
    import uvloop

    from roomlink.runtime import logs
    from roomlink.service import Options, Service

    if args.host not in LOOPBACK:
        print(
            f"roomlink: there is no sign-in yet, so it serves this machine alone: --host {args.host} is refused;"
            f" use one of {', '.join(LOOPBACK)}",
            file=sys.stderr,
        )
        return USAGE
    logs.configure(args.log)
    try:
        uvloop.run(Service(Options(args.folder, args.host, args.port, args.data)).run())
    except VenueFault as fault:
        _print_findings(fault.findings, as_json=False, to=sys.stderr.write)
        return FINDINGS
    except (RoomlinkError, OSError) as error:
        print(f"roomlink: {error}", file=sys.stderr)
        return FINDINGS
    except KeyboardInterrupt:
        pass
    return OK


def run_check(args: argparse.Namespace) -> int:
    from roomlink.drivers.registry import Registry
    from roomlink.runtime.device_rules import DriverRules
    from roomlink.venue.cautions import cautions
    from roomlink.venue.check import check
    from roomlink.venue.load import load

    loaded = None
    try:
        loaded = load(args.folder, DriverRules(Registry.of()))
        findings = check(loaded)
    except VenueFault as fault:
        findings = fault.findings
    _print_findings(findings, as_json=args.json, to=sys.stdout.write)
    if loaded is not None and not args.json:
        if not findings:
            print(f"{args.folder}: nothing found.")
        print("", *cautions(loaded.data), sep="\n")
    return FINDINGS if findings else OK


def _print_findings(findings: Sequence[object], *, as_json: bool, to: Callable[[str], object]) -> None:
    if as_json:
        to(json.dumps([asdict(finding) for finding in findings], indent=2) + "\n")  # type: ignore[call-overload]
        return
    for finding in findings:
        to(f"{finding}\n")


def run_schema(args: argparse.Namespace) -> int:
    from roomlink.venue.schema import schema

    print(json.dumps(schema(), indent=2))
    return OK


def main(argv: Sequence[str] | None = None) -> int:
    args = parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = args.run
    return run(args)
