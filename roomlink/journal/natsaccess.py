"""How a node is let in by the servers: a small file, so that no password is seen in a list of processes. TOML:

user = "roomlink"
password = "..."                # or: token = "..."
ca = "/etc/roomlink/nats-ca.pem"      # whom to believe that it is the server; needed for a certificate of our own
cert = "/etc/roomlink/node.pem"       # where the servers ask nodes for a certificate
key = "/etc/roomlink/node.key"
"""

from __future__ import annotations

import ssl
import tomllib
from pathlib import Path
from typing import Any

from roomlink.errors import JournalFailed

LOGIN, FILES = ("user", "password", "token"), ("ca", "cert", "key")
OTHERS_READ = 0o004


def access(path: Path) -> dict[str, Any]:
    """What the file says, for ``nats.connect``. Raises ``JournalFailed`` with what would be right."""
    try:
        if path.stat().st_mode & OTHERS_READ:
            raise JournalFailed(f"everybody on this machine can read {path}: take that away with `chmod 600`")
        said = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise JournalFailed(f'{path} cannot be read: {error}; it takes lines such as user = "roomlink"') from error
    wrong = [name for name, value in said.items() if name not in LOGIN + FILES or not isinstance(value, str)]
    if wrong:
        known = ", ".join(LOGIN + FILES)
        raise JournalFailed(f"{path}: {wrong[0]} is not known or not in quotes; there are {known}")
    if ("cert" in said) != ("key" in said):
        raise JournalFailed(f"{path}: cert and key belong together")
    found = {name: said[name] for name in LOGIN if name in said}
    return found | ({"tls": _tls(said, path)} if any(name in said for name in FILES) else {})


def _tls(said: dict[str, str], path: Path) -> ssl.SSLContext:
    try:
        context = ssl.create_default_context(cafile=said.get("ca"))
        if "cert" in said:
            context.load_cert_chain(said["cert"], said["key"])
    except OSError as error:
        raise JournalFailed(f"{path}: the files of ca, cert or key cannot be used: {error}") from error
    return context
