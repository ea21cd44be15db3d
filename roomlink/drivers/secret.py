"""Secrets of devices: in files of their own, never in the venue's YAML, never in a message."""

from __future__ import annotations

from pathlib import Path

from roomlink.drivers.port import DeviceFault

SECRET_BYTES_MAX = 1024


def read_secret(path: str) -> str:
    """The first line of a file. Read anew for each connection, so that a changed password needs no restart.

    Raises DeviceFault, which names the file and nothing of what is in it.
    """
    file = Path(path)
    try:
        # A pipe or a device would block the event loop.
        if not file.is_file():
            raise DeviceFault(f"there is no password file {path}")
        with file.open("rb") as stream:
            data = stream.read(SECRET_BYTES_MAX + 1)
        text = data.decode()
    except (OSError, UnicodeDecodeError) as error:
        raise DeviceFault(f"the password file {path} cannot be read ({type(error).__name__})") from None
    line = text.split("\n", 1)[0].rstrip("\r")
    if not line or len(data) > SECRET_BYTES_MAX:
        raise DeviceFault(f"the first line of {path} must be the password, in at most {SECRET_BYTES_MAX} bytes")
    return line
