"""The command line. Exit status 0: all well, 1: findings, 2: usage."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import roomlink
from roomlink import carry_command, serve_command
from roomlink.errors import RoomlinkError, VenueFault
from roomlink.serve_command import FINDINGS, OK, USAGE

CAUTION = (
    "roomlink is not a safety function. Hard-wired protection, local codes, the authority having jurisdiction"
    " and licensed practice come first."
)


def parser() -> argparse.ArgumentParser:
    top = argparse.ArgumentParser(prog="roomlink", description="A soft controller for divisible rooms.", epilog=CAUTION)
    top.add_argument("--version", action="version", version=f"roomlink {roomlink.__version__}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    serve_command.add(commands)

    check = commands.add_parser("check", help="prove a venue's folder sound, in every arrangement of its walls")
    check.add_argument("folder", type=Path, metavar="FOLDER", help="the venue's folder of YAML files")
    check.add_argument("--json", action="store_true", help="everything as JSON")
    check.add_argument("--pictures", type=Path, metavar="DIR", help="draw each distinct grouping into this folder")
    check.add_argument("--seed", type=int, default=0, help="what to take at random where there are too many walls (0)")
    check.add_argument("--prove", action="store_true", help="run every arrangement and every moving wall as well")
    check.set_defaults(run=run_check)

    handover = commands.add_parser(
        "handover", help="write the as-built documents and the test record, or compare two configurations"
    )
    handover.add_argument("folder", type=Path, metavar="FOLDER", help="the venue's folder of YAML files")
    handover.add_argument("--out", type=Path, metavar="DIR", help="write the documents here: index.html and tables")
    handover.add_argument("--journal", type=Path, metavar="FILE", help="journal.db of the stopped service, or a copy")
    handover.add_argument("--date", type=date.fromisoformat, help="date of the documents, YYYY-MM-DD (today)")
    handover.add_argument(
        "--compare", type=Path, metavar="OTHER_FOLDER", help="say what changed since this one, and what that voids"
    )
    handover.add_argument("--json", action="store_true", help="what was written, or the comparison, as JSON")
    handover.set_defaults(run=run_handover)

    rehearsing(commands)
    simulating(commands)
    backing_up(commands)
    carry_command.add(commands)

    schema = commands.add_parser("schema", help="print the JSON Schema of a venue's configuration")
    schema.add_argument("--drivers", action="store_true", help="with the keys of every installed driver's devices")
    schema.set_defaults(run=run_schema)
    return top


def rehearsing(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    rehearse = commands.add_parser("rehearse", help="run a venue's scenarios on virtual time with simulated devices")
    rehearse.add_argument("folder", type=Path, metavar="FOLDER", help="the venue's folder of YAML files")
    rehearse.add_argument("scenarios", nargs="*", metavar="SCENARIO", help="files, or names in FOLDER/rehearsals (all)")
    rehearse.add_argument("--junit", type=Path, metavar="FILE", help="write the results as JUnit XML too")
    rehearse.add_argument("--json", action="store_true", help="the results as JSON")
    rehearse.add_argument(
        "--from-journal", nargs=3, metavar=("JOURNAL", "START", "END"), help="cut a scenario from a journal instead"
    )
    rehearse.add_argument("--out", type=Path, metavar="FILE", help="the scenario to write, with --from-journal")
    rehearse.set_defaults(run=run_rehearse)


def backing_up(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    backup = commands.add_parser("backup", help="one file with everything that a venue is, while it runs")
    backup.add_argument("data", type=Path, metavar="DATA", help="the service's data folder")
    backup.add_argument("--out", type=Path, metavar="FILE", required=True, help="the backup to write")
    backup.add_argument(
        "--folder", type=Path, metavar="FOLDER", help="the venue's folder of YAML files (the one that was served last)"
    )
    backup.add_argument("--json", action="store_true", help="what is in it, as JSON")
    backup.set_defaults(run=run_backup)

    restore = commands.add_parser("restore", help="put a backup back, while the service is stopped")
    restore.add_argument("file", type=Path, metavar="FILE", help="the backup")
    restore.add_argument("--data", type=Path, metavar="DIR", required=True, help="the data folder for the journal")
    restore.add_argument("--folder", type=Path, metavar="FOLDER", help="where to put the configuration, too")
    restore.add_argument("--json", action="store_true", help="what was put where, as JSON")
    restore.set_defaults(run=run_restore)


def simulating(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    simulate = commands.add_parser(
        "simulate", help="run random evenings, faults and crashes included, and hold the service to its rules"
    )
    simulate.add_argument("folder", type=Path, nargs="?", metavar="FOLDER", help="a venue's folder (a random venue)")
    simulate.add_argument("--seed", type=int, required=True, help="what everything random comes from")
    simulate.add_argument("--seeds", type=positive, default=1, help="how many seeds to run, from this one on (1)")
    simulate.add_argument("--hours", type=hours, default=5.0, help="simulated hours of each seed (5)")
    simulate.add_argument("--json", action="store_true", help="everything as JSON")
    simulate.set_defaults(run=run_simulate)


def positive(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(f"{number} is not 1 or more")
    return number


def hours(text: str) -> float:
    number = float(text)
    if not 0.0 < number <= 10_000.0:
        raise argparse.ArgumentTypeError(f"{text} is not above 0 and up to 10000")
    return number


def run_check(args: argparse.Namespace) -> int:
    from roomlink.drivers.registry import Registry
    from roomlink.rehearsal import pictures, report
    from roomlink.rehearsal.arrangements import untold
    from roomlink.rehearsal.commands import proof_data, proof_text, prove_and_keep
    from roomlink.rehearsal.findings import arrangement_findings
    from roomlink.rehearsal.survey import survey
    from roomlink.runtime.device_rules import DriverRules
    from roomlink.venue.check import check
    from roomlink.venue.findings import in_order
    from roomlink.venue.load import load

    tell = report.progress(sys.stderr) if sys.stderr.isatty() else untold
    loaded, surveyed = None, None
    try:
        loaded = load(args.folder, DriverRules(Registry.of()))
        surveyed = survey(loaded, args.seed, tell)
        findings = in_order([*check(loaded), *arrangement_findings(loaded, surveyed)])
    except VenueFault as fault:
        findings = list(fault.findings)
    drawn = None
    if args.pictures is not None and loaded is not None and surveyed is not None:
        try:
            drawn = pictures.save(args.pictures, loaded, surveyed, tell)
        except OSError as error:
            print(f"roomlink: the pictures cannot be written: {error}", file=sys.stderr)
            return FINDINGS
    proved = prove_and_keep(loaded.data, args.folder) if args.prove and loaded is not None else None
    if args.json:
        proof = {} if proved is None else {"proof": proof_data(*proved)}
        print(json.dumps({**report.data(findings, loaded, surveyed), **proof}, indent=2))
    else:
        print(*report.text(findings, loaded, surveyed), sep="\n")
        if drawn is not None:
            print(f"\n{drawn} pictures and {pictures.INDEX} are in {args.pictures}.")
        if proved is not None:
            print("", *proof_text(*proved), sep="\n")
    holds = proved is None or proved[0].failure is None
    return OK if report.ok(findings) and holds else FINDINGS


def _print_findings(findings: Sequence[object], *, as_json: bool, to: Callable[[str], object]) -> None:
    if as_json:
        to(json.dumps([asdict(finding) for finding in findings], indent=2) + "\n")  # type: ignore[call-overload]
        return
    for finding in findings:
        to(f"{finding}\n")


def run_handover(args: argparse.Namespace) -> int:
    from roomlink.drivers.registry import Registry
    from roomlink.rehearsal import handover as made
    from roomlink.rehearsal.handover_compare import as_text, compare
    from roomlink.runtime.device_rules import DriverRules
    from roomlink.venue.load import load

    if args.out is None and args.compare is None:
        print("roomlink: say where to write with --out DIR, or what to compare with --compare FOLDER", file=sys.stderr)
        return USAGE
    registry = Registry.of()
    told: dict[str, object] = {}
    try:
        loaded = load(args.folder, DriverRules(registry))
        changes = None if args.compare is None else compare(load(args.compare, DriverRules(registry)), loaded)
        if args.out is not None:
            day = args.date or datetime.now(ZoneInfo(loaded.spec.timezone)).date()
            journal = None if args.journal is None else made.read_journal(args.journal, loaded.spec.id)
            whole = made.handover(loaded, day.isoformat(), journal=journal, registry=registry)
            found = made.documents(whole, changes)
            made.write(args.out, found)
            told = {"configuration": loaded.digest, "files": list(found), "checks": whole.checks()["summary"]}
    except VenueFault as fault:
        _print_findings(fault.findings, as_json=args.json, to=sys.stdout.write)
        return FINDINGS
    except (RoomlinkError, OSError) as error:
        print(f"roomlink: {error}", file=sys.stderr)
        return FINDINGS
    if args.json:
        print(json.dumps({**told, **({} if changes is None else {"comparison": changes.as_json()})}, indent=2))
    else:
        print(as_text(changes) if changes is not None else f"{args.out / 'index.html'} is written.")
    return FINDINGS if changes is not None and changes.changes else OK


def run_rehearse(args: argparse.Namespace) -> int:
    from roomlink.rehearsal import commands

    if args.from_journal is None:
        return commands.run_rehearse(args.folder, args.scenarios, junit_to=args.junit, as_json=args.json)
    journal, start, end = args.from_journal
    return commands.run_cut(args.folder, Path(journal), start, end, args.out)


def run_backup(args: argparse.Namespace) -> int:
    from roomlink.drivers.registry import Registry
    from roomlink.journal import backup
    from roomlink.rehearsal.arrangements import untold
    from roomlink.rehearsal.report import progress
    from roomlink.runtime.device_rules import DriverRules
    from roomlink.venue.load import load

    tell = progress(sys.stderr) if sys.stderr.isatty() else untold
    folder = args.folder or backup.served_folder(args.data)
    notes: list[str] = []
    try:
        made = backup.make(args.data, args.out, folder, tell)
    except (RoomlinkError, OSError) as error:
        print(f"roomlink: {error}", file=sys.stderr)
        return FINDINGS
    notes += made.notices
    if folder is None:
        notes.append("The configuration is not in it: name its folder with --folder.")
    else:
        try:
            if load(folder, DriverRules(Registry.of())).digest != made.configuration:
                notes.append("The folder was changed since it was last served; it is in the backup as it is now.")
        except VenueFault:
            notes.append("The folder has mistakes that `roomlink check` tells; it is in the backup as it is.")
    if args.json:
        print(json.dumps({**made.as_json(), "notes": notes}, indent=2))
    else:
        whole = f"{args.out}: {made.name}, everything up to entry {made.seq}, in {len(made.parts)} parts."
        print(whole, *notes, sep="\n")
    return OK


def _venue_in(folder: Path | None) -> str | None:
    """Whose configuration lies in a folder; None for one that is not there, or that cannot be read any more."""
    from roomlink.drivers.registry import Registry
    from roomlink.runtime.device_rules import DriverRules
    from roomlink.venue.load import load

    try:
        return None if folder is None or not folder.is_dir() else load(folder, DriverRules(Registry.of())).spec.id
    except VenueFault:
        return None


def run_restore(args: argparse.Namespace) -> int:
    from roomlink.journal.restore import restore
    from roomlink.rehearsal.arrangements import untold
    from roomlink.rehearsal.report import progress

    tell = progress(sys.stderr) if sys.stderr.isatty() else untold
    try:
        done = restore(args.file, args.data, args.folder, tell, _venue_in(args.folder))
    except (RoomlinkError, OSError) as error:
        print(f"roomlink: {error}", file=sys.stderr)
        return FINDINGS
    kept = [str(path) for path in done.kept]
    if args.json:
        print(json.dumps({**done.manifest.as_json(), "configuration_restored": done.folder, "kept": kept}, indent=2))
        return OK
    made = done.manifest
    print(f"{made.name} is restored as after entry {made.seq}, of roomlink {made.version}.")
    if not done.folder:
        print("The configuration was left as it is: --folder puts back the one in the backup.")
    print(*(f"What was there is kept as {name}." for name in kept), sep="\n", end="\n" if kept else "")
    return OK


def run_simulate(args: argparse.Namespace) -> int:
    from roomlink.simulation.report import run_simulate

    return run_simulate(args.folder, args.seed, args.seeds, args.hours, as_json=args.json)


def run_schema(args: argparse.Namespace) -> int:
    from roomlink.venue.schema import schema

    made = schema()
    if args.drivers:
        from roomlink.drivers.registry import Registry
        from roomlink.drivers.schema import with_drivers

        made = with_drivers(made, Registry.of())
    print(json.dumps(made, indent=2))
    return OK


def main(argv: Sequence[str] | None = None) -> int:
    args = parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = args.run
    return run(args)
