"""``roomlink carry``: a venue's journal from NATS into a data folder, to back it up, or into it."""

from __future__ import annotations

import argparse
import logging
import sys
from contextlib import closing
from pathlib import Path

from roomlink.errors import BackupRefused, RoomlinkError

OK, FINDINGS = 0, 1


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    carry = commands.add_parser("carry", help="a venue's journal from NATS into a data folder, or the other way")
    carry.add_argument("venue", metavar="VENUE", help="the id of the venue, as in its YAML")
    carry.add_argument("--nats", action="append", required=True, metavar="URL", help="a NATS server; repeatable")
    carry.add_argument("--nats-access", type=Path, metavar="FILE", help="how NATS lets us in: see deploy/nodes.md")
    carry.add_argument("--data", type=Path, metavar="DIR", required=True, help="the data folder on this side")
    carry.add_argument("--into-nats", action="store_true", help="from the data folder into NATS, where nothing may be")
    carry.add_argument("--replicas", type=int, default=1, help="servers that keep each entry: 3 of three (1)")
    carry.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from roomlink.journal.backup import JOURNAL
    from roomlink.journal.carrying import carry
    from roomlink.journal.copying import untold
    from roomlink.journal.jetstream import JetStreamJournal, Place
    from roomlink.journal.natsaccess import access
    from roomlink.journal.sqlite import SqliteJournal
    from roomlink.rehearsal.report import progress

    # The client library closes TLS in a way of which asyncio tells each time, and which is none of anybody's business.
    logging.getLogger("asyncio").setLevel(logging.ERROR)
    tell = progress(sys.stderr) if sys.stderr.isatty() else untold
    path = args.data / JOURNAL
    try:
        if path.exists() != args.into_nats:
            raise BackupRefused(
                f"there is {'no' if args.into_nats else 'already a'} journal {path}: name another --data"
            )
        let_in = {} if args.nats_access is None else access(args.nats_access)
        place = Place(tuple(args.nats), args.replicas, "carry", let_in)
        args.data.mkdir(mode=0o700, parents=True, exist_ok=True)
        with closing(JetStreamJournal(place, args.venue)) as stream, closing(SqliteJournal(path, args.venue)) as file:
            count = carry(file, stream, tell) if args.into_nats else carry(stream, file, tell)
    except (RoomlinkError, OSError) as error:
        print(f"roomlink: {error}", file=sys.stderr)
        return FINDINGS
    print(f"{count} entries of {args.venue} are in {'NATS' if args.into_nats else path}.")
    return OK
