"""``roomlink serve``: its arguments, what of them would be unsafe, and running it."""

from __future__ import annotations

import argparse
import gc
import re
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from roomlink.errors import RoomlinkError, VenueFault

if TYPE_CHECKING:
    from roomlink.service import Service

OK, FINDINGS, USAGE = 0, 1, 2
LOOPBACK = ("127.0.0.1", "localhost", "::1")


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    serve = commands.add_parser("serve", help="run one or more venues: panels, API, live sockets")
    serve.add_argument(
        "folders", nargs="+", type=Path, metavar="FOLDER", help="a venue's folder of YAML files; each gets a port"
    )
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
    serve.add_argument(
        "--port", type=port, default=8080, help="port of the first venue; the next ones follow; 0: free ones (8080)"
    )
    serve.add_argument("--data", type=Path, metavar="DIR", help="folder of the journals; without it nothing is kept")
    serve.add_argument("--open", action="store_true", help="no sign-in; on this machine's own addresses only")
    serve.add_argument(
        "--name", action="append", default=[], metavar="HOST", help="a name by which browsers ask for it; repeatable"
    )
    serve.add_argument("--cert", type=Path, metavar="FILE", help="the certificate (PEM, with its chain) for TLS")
    serve.add_argument("--key", type=Path, metavar="FILE", help="the private key of the certificate (PEM)")
    serve.add_argument("--behind-proxy", action="store_true", help="a proxy on this machine ends TLS")
    serve.add_argument(
        "--new-engineer", action="store_true", help="print a code that makes an engineer, for lost passwords"
    )
    serve.add_argument("--log", default="info", choices=("debug", "info", "warning", "error"), help="least to log")
    nodes = serve.add_argument_group("several machines", "each runs this with the same folders, and one of them writes")
    nodes.add_argument(
        "--nats", action="append", default=[], metavar="URL", help="a NATS server with JetStream; repeatable"
    )
    nodes.add_argument(
        "--nats-access", type=Path, metavar="FILE", help="how NATS lets this node in: user, password, certificates"
    )
    nodes.add_argument("--node", default=socket.gethostname(), metavar="NAME", help="this node (the machine's name)")
    nodes.add_argument("--replicas", type=int, default=1, help="servers that keep each entry: 3 of three (1)")
    nodes.add_argument("--address", default="", metavar="URL", help="where browsers find this node's first venue")
    serve.set_defaults(run=run)


def port(text: str) -> int:
    number = int(text)
    if not 0 <= number <= 65535:
        raise argparse.ArgumentTypeError(f"{number} is not from 0 to 65535")
    return number


def run(args: argparse.Namespace) -> int:
    # Imported here, so that `check` and `schema` start without the server.
    import uvloop

    from roomlink.runtime import logs
    from roomlink.service import run as run_all

    if (wrong := unsafe(args)) is not None:
        print(f"roomlink: {wrong}", file=sys.stderr)
        return USAGE
    logs.configure(args.log)
    try:
        made = services(args)
        # What is loaded now stays: looking for garbage in all of it again and again would hold up whoever presses.
        gc.collect()
        gc.freeze()
        uvloop.run(run_all(made))
    except VenueFault as fault:
        for finding in fault.findings:
            print(finding, file=sys.stderr)
        return FINDINGS
    except (RoomlinkError, OSError) as error:
        print(f"roomlink: {error}", file=sys.stderr)
        return FINDINGS
    except KeyboardInterrupt:
        pass
    return OK


def services(args: argparse.Namespace) -> list[Service]:
    """One a folder, on ports that follow one another. Several venues have a folder each in ``--data``."""
    from roomlink.journal.natsaccess import access
    from roomlink.node import Cluster, Company, NodeService
    from roomlink.service import Options, Service

    found: list[Service] = []
    several = len(args.folders) > 1
    let_in = {} if args.nats_access is None else access(args.nats_access)
    company = Company(Cluster(tuple(args.nats), args.node, args.replicas, access=let_in))
    for place, folder in enumerate(args.folders):
        options = Options(
            folder,
            args.host,
            args.port + place if args.port else 0,
            args.data / folder.resolve().name if several and args.data is not None else args.data,
            open=args.open,
            names=tuple(name.lower() for name in args.name),
            tls=None if args.cert is None else (args.cert, args.key),
            behind_proxy=args.behind_proxy,
            new_engineer=args.new_engineer,
        )
        if args.nats:
            cluster = Cluster(tuple(args.nats), args.node, args.replicas, moved(args.address, place), let_in)
            found.append(NodeService(options, cluster, company, place))
        else:
            found.append(Service(options))
    return found


def moved(address: str, by: int) -> str:
    """An address with its port moved on, as the further venues of a node have it."""
    found = re.fullmatch(r"(.*):(\d+)", address.rstrip("/"))
    return address if found is None or not by else f"{found[1]}:{int(found[2]) + by}"


def unsafe(args: argparse.Namespace) -> str | None:
    """Why these arguments of ``serve`` would let in somebody who should not be, or show passwords on the way."""
    here, own = args.host in LOOPBACK, f"use one of {', '.join(LOOPBACK)}"
    secure = args.cert is not None
    rules = (
        (
            bool(args.nats) and args.data is not None,
            "with --nats the journals lie in NATS, and nothing is kept in --data: leave it out",
        ),
        (
            any("@" in url for url in args.nats),
            "a password in --nats is seen by everybody on this machine: put it into a file for --nats-access",
        ),
        (
            bool(args.nats) and not re.fullmatch(r"[A-Za-z0-9_-]{1,64}", args.node),
            f"--node {args.node} is no name for a node: letters, digits, _ and -",
        ),
        (
            bool(args.address) and not re.fullmatch(r"https?://[A-Za-z0-9.\[\]:-]+", args.address.rstrip("/")),
            f"--address {args.address} is no address such as https://hall-2.example:8080",
        ),
        (
            any(not re.fullmatch(r"[A-Za-z0-9.-]+|\[[0-9A-Fa-f:]+\]", name) for name in args.name),
            "--name takes a host alone, such as hall.example: no scheme, no port",
        ),
        (secure != (args.key is not None), "--cert and --key belong together: give both, or none"),
        (
            args.open and not here,
            f"without sign-in it serves this machine alone: --host {args.host} is refused; {own}, or leave out --open",
        ),
        (
            args.open and args.behind_proxy,
            "--open with --behind-proxy would let everybody in whom the proxy lets through: leave out one of them",
        ),
        (args.open and args.new_engineer, "--open lets everybody in: leave it out, or --new-engineer"),
        (
            args.behind_proxy and not here,
            f"behind a proxy it listens to this machine alone: --host {args.host} is refused; {own}",
        ),
        (
            not here and not secure,
            f"passwords must not travel in the clear: --host {args.host} is refused without --cert and --key; or {own},"
            " with a proxy before it and --behind-proxy",
        ),
        (
            args.host in ("0.0.0.0", "::") and not args.name,
            "say by which name browsers ask for it, such as --name hall.example: others are refused",
        ),
    )
    return next((why for wrong, why in rules if wrong), None)
